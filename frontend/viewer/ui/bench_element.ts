/** Base of the elements on the bench: light DOM, so that the page's own style sheets and forms hold inside them. */
import {LitElement} from 'lit';

import type {AnnotationsApi} from '../api/client';
import type {Drawing} from '../draw/drawing';
import type {Examination, ExaminationEvents} from '../map/examination';
import type {ExaminationMap} from '../map/examination_map';

/** All that the parts of the page share. */
export interface Bench {
  examination: Examination;
  wall: ExaminationMap;
  drawing: Drawing;
  annotations: AnnotationsApi;
}

export abstract class BenchElement extends LitElement {
  protected bench!: Bench;
  /** What the element redraws itself for. */
  protected readonly follows: readonly (keyof ExaminationEvents)[] = ['change'];
  private isAttached = false;

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  /** Give the element its bench; what the server had written inside goes. */
  attach(bench: Bench): void {
    this.replaceChildren();
    this.bench = bench;
    this.isAttached = true;
    for (const kind of this.follows) bench.examination.on(kind, () => { this.requestUpdate(); });
    this.attached();
    this.requestUpdate();
  }

  protected attached(): void {
    // Elements that listen to more than the examination override this.
  }

  protected override shouldUpdate(): boolean {
    return this.isAttached;
  }

  protected get examination(): Examination {
    return this.bench.examination;
  }
}
