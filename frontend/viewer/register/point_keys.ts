/** The ledge of the control-point page: close-ups of both places, what comes next, and the kind of map. */
import {html, LitElement, nothing, type TemplateResult} from 'lit';

import {isOpen, type PointMm} from '../api/contract';
import {TilePainter} from '../map/tile_painter';
import {fitCanvas} from '../ui/canvas';
import {icon} from '../ui/icons';
import {t} from '../ui/texts';
import {drawCross} from './point_drawing';
import {placeOn, type PointBench} from './point_bench';
import type {PointKind, Side} from './point_set';
import {rawContent, workContent} from './pictures';

export const MODELS = ['similarity', 'affine', 'projective', 'smooth'] as const;
export type Model = (typeof MODELS)[number];

const CLOSE_UP = {width: 176, height: 132} as const;
/** CSS pixels for each pixel of the image. */
const MAGNIFICATION = 4;

export class PointKeysElement extends LitElement {
  model: Model = 'affine';
  private bench!: PointBench;
  private isAttached = false;
  private readonly painters: Record<Side, TilePainter> = {work: new TilePainter(), image: new TilePainter()};

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  attach(bench: PointBench): void {
    this.replaceChildren();
    this.isAttached = true;
    this.bench = bench;
    bench.watch(() => { this.requestUpdate(); });
    bench.set.on(() => { this.requestUpdate(); });
    this.requestUpdate();
  }

  /** Nothing is drawn before there is a bench; what the server wrote inside stays until then. */
  protected override shouldUpdate(): boolean {
    return this.isAttached;
  }

  protected override render(): TemplateResult {
    const {set} = this.bench;
    const isWaiting = set.pending.mm !== null || set.pending.px !== null;
    return html`
      <div class="ledge-group close-ups"><div class="ledge-head"><h2 class="head">${t('points.close_up')}</h2><p class="second">${t('points.close_up_scale')}</p></div>
        <div class="close-up-pair"><canvas data-side="work" role="img" aria-label=${t('points.close_up_work')}></canvas><canvas data-side="image" role="img" aria-label=${t('points.close_up_image')}></canvas></div></div>
      <div class="ledge-group"><div class="ledge-head"><h2 class="head">${t('points.next')}</h2></div>
        <div class="compare-modes" role="group" aria-label=${t('points.next')}>${(['control', 'check'] as PointKind[]).map((kind) => html`
          <button type="button" class="key key-stack" aria-pressed=${set.nextKind === kind} @click=${() => { set.setNextKind(kind); }}>
            ${icon(kind === 'control' ? 'point' : 'hole')}<span>${t(`points.${kind}`)}</span></button>`)}</div>
        <p class="ledge-line second">${this.hint()}${isWaiting ? html` <button type="button" class="text-key" @click=${() => { set.dropPending(); }}>${t('points.drop_half')}</button>` : nothing}</p></div>
      <div class="ledge-group"><div class="ledge-head"><h2 class="head">${t('points.model')}</h2></div>
        <div class="model-keys" role="group" aria-label=${t('points.model')}>${MODELS.map((model) => html`
          <button type="button" class="key" aria-pressed=${this.model === model} @click=${() => { this.model = model; this.requestUpdate(); }}>${t(`model.${model}`)}</button>`)}</div>
        <p class="ledge-line second">${t(`model.${this.model}_help`)}</p></div>`;
  }

  private hint(): string {
    const {pending} = this.bench.set;
    if (pending.mm) return t('points.now_image');
    if (pending.px) return t('points.now_work');
    return t('points.press_first');
  }

  protected override updated(): void {
    for (const canvas of this.querySelectorAll<HTMLCanvasElement>('.close-up-pair canvas')) this.paint(canvas, canvas.dataset.side === 'work' ? 'work' : 'image');
  }

  private paint(canvas: HTMLCanvasElement, side: Side): void {
    const context = fitCanvas(canvas, CLOSE_UP.width, CLOSE_UP.height);
    const place = this.placeLookedAt(side);
    const content = side === 'work' ? workContent(this.bench.data.frame, this.bench.reference) : rawContent(this.bench.data.image);
    if (!context || !place) return;
    if (content?.store && isOpen(content.store.image)) {
      const ratio = canvas.width / CLOSE_UP.width;
      const missing = this.painters[side].paint(context, {
        centre_mm: place, mm_per_px: content.pitch / MAGNIFICATION / ratio, rotation_rad: 0, isMirrored: false,
      }, content.store);
      if (missing.length > 0) void Promise.all(missing.map((load) => load())).then(() => { this.requestUpdate(); });
      context.setTransform(ratio, 0, 0, ratio, 0, 0);
    }
    drawCross(context, [CLOSE_UP.width / 2, CLOSE_UP.height / 2], 30);
  }

  /** The place under the hand on its own side; on the other the half already set, the chosen point, or the middle. */
  private placeLookedAt(side: Side): PointMm {
    const {looking, set, views} = this.bench;
    if (looking?.side === side) return looking.place;
    const pending = side === 'work' ? set.pending.mm : set.pending.px;
    if (pending) return pending;
    const chosen = set.points.find(({label}) => label === set.chosen);
    return chosen ? placeOn(side, chosen) : views[side].placing.centre_mm;
  }
}

customElements.define('mahl-point-keys', PointKeysElement);
