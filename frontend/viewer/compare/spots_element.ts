/** This spot in every image: a table of states and modalities whose cells are live crops; the chooser itself compares. */
import {html, type TemplateResult} from 'lit';

import {isOpen, type ImageData, type OpenImage, type StateRow} from '../api/contract';
import type {Slot} from '../map/examination';
import {TilePainter} from '../map/tile_painter';
import {BenchElement} from '../ui/bench_element';
import {fitCanvas} from '../ui/canvas';
import {formatDate, formatNumber} from '../ui/numbers';
import {fullName} from '../ui/image_names';
import {t} from '../ui/texts';
import {CELL, cropWidth_mm, isInSight} from './spot_size';

const LONG_PRESS_MS = 500;

export class SpotsElement extends BenchElement {
  private gives: Slot = 'b';
  private focusedId: string | null = null;
  private readonly painter = new TilePainter();
  private isPainting = false;
  private pressTimer = 0;
  private wasLongPress = false;

  protected override attached(): void {
    this.examination.on('pointer', () => { this.paintSoon(); });
    this.examination.on('sight', () => { this.paintSoon(); });
    this.examination.on('full', () => { this.paintSoon(); });
  }

  protected override render(): TemplateResult {
    const {data} = this.examination;
    const columns = data.modalities.filter(({code}) => data.images.some(({modality}) => modality === code));
    return html`
      <div class="ledge-head"><h2 class="head">${t('spots.title')}</h2><p class="second spots-size"></p>
        <button type="button" class="text-key spots-gives" @click=${this.swapGives}>${t(this.gives === 'b' ? 'spots.gives_b' : 'spots.gives_a')}</button></div>
      <div class="spots-scroll" tabindex="-1"><table class="spots" role="grid" aria-label=${t('spots.title')} @keydown=${this.onKey}>
        <thead><tr role="row"><td></td>${columns.map(({label}) => html`<th scope="col" role="columnheader">${label}</th>`)}</tr></thead>
        <tbody>${data.states.map((state) => html`<tr role="row">
          <th scope="row" role="rowheader">${state.label}<span>${yearOf(state.date)}</span></th>
          ${columns.map(({code}) => this.cell(state, code))}</tr>`)}</tbody>
      </table></div>`;
  }

  private cell(state: StateRow, modality: string): TemplateResult {
    const images = this.examination.data.images.filter(
      (image) => image.campaign_id === state.campaign_id && image.modality === modality,
    );
    if (images.length === 0) return html`<td role="gridcell"><span class="spot-none">–<span class="visually-hidden">${t('spots.not_made')}</span></span></td>`;
    return html`<td role="gridcell"><div class="spot-cell">${images.map((image) => this.anySpot(image))}</div></td>`;
  }

  private anySpot(image: ImageData): TemplateResult {
    if (isOpen(image)) return this.spot(image);
    return image.is_closed ? this.closed(image) : html`<span class="spot-none second" title=${fullName(this.examination.data, image)}>${t('spots.not_published')}</span>`;
  }

  private spot(image: OpenImage): TemplateResult {
    const {state, data} = this.examination;
    const slots = (['a', 'b'] as const).filter((slot) => state[slot] === image.id);
    const name = fullName(data, image);
    return html`<button type="button" class="spot" data-image=${image.id} data-slot=${slots.join('')}
      tabindex=${this.isTabStop(image) ? 0 : -1} title=${t('spots.press', {name})}
      aria-label=${slots.length > 0 ? t('spots.shown_as', {name, slot: slots.join(', ')}) : name} aria-pressed=${slots.length > 0}
      @click=${(event: MouseEvent) => { this.press(image, event.shiftKey); }}
      @focus=${() => { this.focusedId = image.id; this.requestUpdate(); }}
      @pointerdown=${(event: PointerEvent) => { this.startLongPress(event, image); }}
      @pointerup=${this.endLongPress} @pointerleave=${this.endLongPress} @pointercancel=${this.endLongPress}>
      <canvas aria-hidden="true"></canvas><span class="spot-elsewhere">${t('spots.elsewhere')}</span>${slots.map((slot) => html`<b class="spot-slot" aria-hidden="true">${slot}</b>`)}
      <span class="spot-name" aria-hidden="true">${image.short_label}</span></button>`;
  }

  private closed(image: ImageData): TemplateResult {
    const until = image.closed_until ? t('spots.opens', {date: formatDate(image.closed_until)}) : t('spots.closed');
    return html`<div class="spot-closed shut" title=${until}>
      <span aria-hidden="true">${image.closed_until ? yearOf(image.closed_until) : t('spots.closed_short')}</span>
      <span class="visually-hidden">${fullName(this.examination.data, image)}: ${until}</span></div>`;
  }

  private isTabStop(image: OpenImage): boolean {
    const wanted = this.focusedId ?? this.examination.state.b ?? this.examination.state.a ?? this.examination.openImages()[0]?.id;
    return image.id === wanted;
  }

  private readonly swapGives = (): void => {
    this.gives = this.gives === 'b' ? 'a' : 'b';
    this.requestUpdate();
  };

  private press(image: OpenImage, isShifted: boolean): void {
    if (this.wasLongPress) {
      this.wasLongPress = false;
      return;
    }
    const slot = isShifted ? other(this.gives) : this.gives;
    this.give(image, slot);
  }

  private give(image: OpenImage, slot: Slot): void {
    this.examination.change(slot === 'a' ? {a: image.id} : {b: image.id});
  }

  private startLongPress(event: PointerEvent, image: OpenImage): void {
    if (event.pointerType === 'mouse') return;
    this.pressTimer = window.setTimeout(() => {
      this.wasLongPress = true;
      this.give(image, other(this.gives));
    }, LONG_PRESS_MS);
  }

  private readonly endLongPress = (): void => {
    window.clearTimeout(this.pressTimer);
  };

  /** Arrows walk from picture to picture, whatever lies between. */
  private readonly onKey = (event: KeyboardEvent): void => {
    const spots = [...this.querySelectorAll<HTMLElement>('.spot')];
    const here = spots.findIndex((spot) => spot === document.activeElement);
    if (here < 0) return;
    const target = nextSpot(spots, here, event.key);
    if (!target) return;
    event.preventDefault();
    target.focus();
  };

  protected override updated(): void {
    this.paintSoon();
  }

  private paintSoon(): void {
    if (this.isPainting) return;
    this.isPainting = true;
    requestAnimationFrame(() => {
      this.isPainting = false;
      this.paint();
    });
  }

  private paint(): void {
    const {examination} = this;
    const {mm_per_css_px, rotation_rad} = examination.sight;
    const width_mm = cropWidth_mm(mm_per_css_px);
    const size = this.querySelector('.spots-size');
    if (size) size.textContent = sizeText(width_mm, examination.pointer_mm !== null);
    for (const canvas of this.querySelectorAll<HTMLCanvasElement>('.spot canvas')) {
      const image = examination.image(canvas.closest<HTMLElement>('.spot')?.dataset.image ?? null);
      if (!image || !isOpen(image)) continue;
      const isThere = !image.footprint_mm || isInSight(image.footprint_mm, {centre_mm: examination.spot_mm, width_mm});
      canvas.closest('.spot')?.classList.toggle('is-elsewhere', !isThere);
      const context = fitCanvas(canvas, CELL.width, CELL.height);
      if (!context) continue;
      const ratio = canvas.width / CELL.width;
      const missing = this.painter.paint(context, {
        centre_mm: examination.spot_mm,
        mm_per_px: width_mm / CELL.width / ratio,
        rotation_rad,
        isMirrored: examination.state.isMirrored,
      }, this.bench.wall.stores.of(image));
      if (missing.length > 0 && this.bench.wall.isFirstViewFull) void Promise.all(missing.map((load) => load())).then(() => { this.paintSoon(); });
    }
  }
}

function sizeText(width_mm: number, isPointer: boolean): string {
  const decimals = width_mm < 8 ? 1 : 0;
  const size = {width: formatNumber(width_mm, decimals), height: formatNumber((width_mm * CELL.height) / CELL.width, decimals)};
  return t(isPointer ? 'spots.round_pointer' : 'spots.round_centre', size);
}

function other(slot: Slot): Slot {
  return slot === 'a' ? 'b' : 'a';
}

function yearOf(date: string): string {
  return /^\d{4}-\d{2}-\d{2}$/.test(date) ? date.slice(0, 4) : date;
}

/** Return the neighbour in the direction of the arrow: nearest by place on the page. */
function nextSpot(spots: HTMLElement[], here: number, key: string): HTMLElement | null {
  const from = spots[here]?.getBoundingClientRect();
  const sides: Record<string, readonly [number, number]> = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};
  const side = sides[key];
  if (!from || !side) return null;
  const distance = (spot: HTMLElement): number => {
    const box = spot.getBoundingClientRect();
    const along = (box.x - from.x) * side[0] + (box.y - from.y) * side[1];
    const aside = Math.abs((box.x - from.x) * side[1]) + Math.abs((box.y - from.y) * side[0]);
    return along > 4 ? along + 3 * aside : Infinity;
  };
  const best = spots.reduce((found, spot) => (distance(spot) < distance(found) ? spot : found));
  return distance(best) === Infinity ? null : best;
}

customElements.define('mahl-spots', SpotsElement);
