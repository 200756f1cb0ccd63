/** The readout: where the pointer is on the work, in pixels of both images, and how well they agree there. */
import {html, nothing, type TemplateResult} from 'lit';

import type {OpenImage, PointMm} from '../api/contract';
import {BenchElement} from '../ui/bench_element';
import {formatNumber, withUnit} from '../ui/numbers';
import {t} from '../ui/texts';
import {masterPixel} from './master_pixel';
import {zoomForPitch, pitchAtZoom_mm} from './tile_grid';

const GAP = 18;
const QUIET_MS = 500;

export class ReadoutElement extends BenchElement {
  protected override readonly follows = ['change', 'pointer', 'sight'] as const;
  private spoken = '';
  private timer = 0;

  protected override render(): TemplateResult {
    const {examination} = this;
    const place_mm = examination.spot_mm;
    return html`
      <div class="readout-plate" ?hidden=${examination.pointer_mm === null} aria-hidden="true">
        <p class="readout-place">${placeText(place_mm, examination.sight.mm_per_css_px)}</p>
        ${this.pixels(place_mm)}
        ${this.agreement(place_mm)}
        ${this.sharpness()}
      </div>
      <p class="visually-hidden" role="status">${this.spoken}</p>`;
  }

  /** Say the place to readers once the hand rests, not at every step of it. */
  say(sentence: string): void {
    this.spoken = sentence;
    this.requestUpdate();
  }

  sayPlace(): void {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => {
      const {examination} = this;
      const place_mm = examination.pointer_mm ?? examination.sight.centre_mm;
      this.say(`${placeText(place_mm, examination.sight.mm_per_css_px)}. ${agreementText(examination.agreement_mm(place_mm))}`);
    }, QUIET_MS);
  }

  private pixels(place_mm: PointMm): TemplateResult | typeof nothing {
    const parts = (['a', 'b'] as const).flatMap((slot) => {
      const image = this.examination.shown(slot);
      const pixel = image ? masterPixel(image, place_mm) : null;
      if (!pixel) return [];
      const [x, y] = pixel;
      return [html`<span><b>${slot}</b> ${formatNumber(x, 1)}, ${formatNumber(y, 1)} px</span>`];
    });
    return parts.length === 0 ? nothing : html`<p class="readout-pixels">${parts}</p>`;
  }

  private agreement(place_mm: PointMm): TemplateResult | typeof nothing {
    if (!this.examination.shown('a') || !this.examination.shown('b')) return nothing;
    return html`<p>${agreementText(this.examination.agreement_mm(place_mm))}</p>`;
  }

  /** While finer tiles are under way or did not come, say how sharp the picture is and how sharp it can be here. */
  private sharpness(): TemplateResult | typeof nothing {
    const images = (['a', 'b'] as const).map((slot) => this.examination.shown(slot)).filter((image) => image !== null);
    const failed = images.some((image) => this.bench.wall.stores.of(image).failures > 0);
    if (!failed) return nothing;
    const reach = Math.min(...images.map((image) => this.reach_mm(image)));
    return html`<p>${t('readout.tiles_missing', {pitch: withUnit(reach, 'mm', 2)})}</p>`;
  }

  private reach_mm(image: OpenImage): number {
    return pitchAtZoom_mm(image.grid, zoomForPitch(image.grid, this.examination.sight.mm_per_css_px));
  }

  protected override updated(): void {
    const plate = this.querySelector<HTMLElement>('.readout-plate');
    const pointer_mm = this.examination.pointer_mm;
    if (!plate || !pointer_mm) return;
    const {wall} = this.bench;
    const [x, y] = wall.pixelFromMm(pointer_mm);
    const {width, height} = wall.placing;
    const left = x + GAP + plate.offsetWidth > width ? x - GAP - plate.offsetWidth : x + GAP;
    const top = y + GAP + plate.offsetHeight > height ? y - GAP - plate.offsetHeight : y + GAP;
    plate.style.transform = `translate(${Math.max(0, left).toFixed(0)}px, ${Math.max(0, top).toFixed(0)}px)`;
  }
}

/** Decimals follow the scale: a place is never told finer than the screen shows it. */
export function placeText([x_mm, y_mm]: PointMm, mm_per_css_px: number): string {
  const decimals = Math.min(3, Math.max(1, Math.ceil(-Math.log10(mm_per_css_px)) + 1));
  return t('readout.place', {x: formatNumber(x_mm, decimals), y: formatNumber(y_mm, decimals)});
}

export function agreementText(agreement_mm: number | null): string {
  if (agreement_mm === null) return t('readout.agreement_unknown');
  if (agreement_mm === 0) return t('readout.same_image');
  return t('readout.agreement', {agreement: withUnit(agreement_mm, 'mm', agreement_mm < 0.1 ? 2 : agreement_mm < 1 ? 2 : 1)});
}

customElements.define('mahl-readout', ReadoutElement);
