/** The names of both images where no stick carries them: in the fade, or while only one image is on the wall. */
import {html, nothing, type TemplateResult} from 'lit';

import type {Slot} from '../map/examination';
import {BenchElement} from '../ui/bench_element';
import {fullName} from '../ui/image_names';
import {t} from '../ui/texts';

export class NamesElement extends BenchElement {
  protected override render(): TemplateResult {
    const {state, data} = this.examination;
    const hasBoth = this.examination.shown('a') !== null && this.examination.shown('b') !== null;
    if (data.images.length === 0) return html`<div class="wall-empty empty"><p>${t('page.no_images')}</p><p>${t('page.no_images_do')}</p></div>`;
    if (state.mode === 'wipe' && hasBoth) return html`${nothing}`;
    return html`<div class="wall-names">${this.name('a', hasBoth ? 1 - state.fade : null)}${this.name('b', hasBoth ? state.fade : null)}</div>`;
  }

  private name(slot: Slot, part: number | null): TemplateResult | typeof nothing {
    const image = this.examination.shown(slot);
    if (!image) return nothing;
    const share = part === null ? '' : ` · ${String(Math.round(part * 100))}\u202f%`;
    return html`<p class="stick-name" data-slot=${slot}><b>${slot}</b><span>${fullName(this.examination.data, image)}${share}</span></p>`;
  }
}

customElements.define('mahl-names', NamesElement);
