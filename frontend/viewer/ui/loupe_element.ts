/** The loupe: what lies under the finger, three times as large, away from the hand, with the letter of its image. */
import {html, type TemplateResult} from 'lit';
import {createRef, ref} from 'lit/directives/ref.js';

import type {OpenImage, PointMm} from '../api/contract';
import {TilePainter} from '../map/tile_painter';
import {imageUnder} from '../map/image_under';
import {toneFilter} from '../tone/tone_filter';
import {BenchElement} from './bench_element';
import {fitCanvas} from './canvas';

const DIAMETER = 152;
const MAGNIFICATION = 3;
const AWAY = 96;

export class LoupeElement extends BenchElement {
  private readonly canvas = createRef<HTMLCanvasElement>();
  private readonly painter = new TilePainter();
  private place_mm: PointMm | null = null;

  protected override render(): TemplateResult {
    return html`<div class="loupe" aria-hidden="true" ?hidden=${this.place_mm === null}><span class="loupe-picture"><canvas ${ref(this.canvas)}></canvas></span><span class="loupe-cross"></span><b class="loupe-slot"></b></div>
      <span class="finger-ring" aria-hidden="true" ?hidden=${this.place_mm === null}></span>`;
  }

  aim(place_mm: PointMm | null): void {
    this.place_mm = place_mm;
    this.requestUpdate();
  }

  protected override updated(): void {
    const {place_mm} = this;
    const canvas = this.canvas.value;
    if (!place_mm || !canvas) return;
    const under = imageUnder(this.bench, place_mm);
    const letter = this.querySelector('.loupe-slot');
    if (letter) letter.textContent = under?.slot ?? '';
    this.stand(place_mm);
    canvas.style.filter = under ? toneFilter(under.slot, this.examination.toneOf(under.slot)) : '';
    if (under) this.paint(canvas, {image: under.image, place_mm});
  }

  /** Above the finger; at the upper edge beside it, on the side with more room. */
  private stand(place_mm: PointMm): void {
    const [x, y] = this.bench.wall.pixelFromMm(place_mm);
    const {width} = this.bench.wall.placing;
    const half = DIAMETER / 2;
    const isHigh = y < AWAY + half + 8;
    const left = isHigh ? (x < width / 2 ? x + AWAY : x - AWAY) : Math.min(width - half - 8, Math.max(half + 8, x));
    const top = isHigh ? Math.max(half + 8, y) : y - AWAY;
    const loupe = this.querySelector<HTMLElement>('.loupe');
    const ring = this.querySelector<HTMLElement>('.finger-ring');
    if (loupe) loupe.style.transform = `translate(${(left - half).toFixed(1)}px, ${(top - half).toFixed(1)}px)`;
    if (ring) ring.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`;
  }

  private paint(canvas: HTMLCanvasElement, {image, place_mm}: {image: OpenImage; place_mm: PointMm}): void {
    const context = fitCanvas(canvas, DIAMETER, DIAMETER);
    if (!context) return;
    const {mm_per_css_px, rotation_rad} = this.examination.sight;
    const ratio = canvas.width / DIAMETER;
    const missing = this.painter.paint(context, {
      centre_mm: place_mm,
      mm_per_px: mm_per_css_px / MAGNIFICATION / ratio,
      rotation_rad,
      isMirrored: this.examination.state.isMirrored,
    }, this.bench.wall.stores.of(image));
    if (missing.length > 0) void Promise.all(missing.map((load) => load())).then(() => { if (this.place_mm === place_mm) this.requestUpdate(); });
  }
}

customElements.define('mahl-loupe', LoupeElement);
