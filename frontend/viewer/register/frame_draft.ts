/** What is being said about a frame: a corner, the far end of the top edge, its measured length, the outline. */
import type {PointMm, PointPx} from '../api/contract';

export type Step = 'corner' | 'edge' | 'outline';

export class FrameDraft {
  step: Step = 'corner';
  corner_px: PointPx | null = null;
  edge_end_px: PointPx | null = null;
  edge_length_mm: number | null = null;
  outline_px: PointPx[] = [];
  private readonly listeners = new Set<() => void>();

  on(listener: () => void): void {
    this.listeners.add(listener);
  }

  press(place_px: PointPx): void {
    if (this.step === 'corner') {
      this.corner_px = place_px;
      this.step = 'edge';
    } else if (this.step === 'edge') this.edge_end_px = place_px;
    else this.outline_px = [...this.outline_px, place_px];
    this.tell();
  }

  choose(step: Step): void {
    this.step = step;
    this.tell();
  }

  /** Places in the order in which they can be caught: corner, edge end, then the outline. */
  places(): PointPx[] {
    return [...(this.corner_px ? [this.corner_px] : []), ...(this.edge_end_px ? [this.edge_end_px] : []), ...this.outline_px];
  }

  move(index: number, place_px: PointPx): void {
    const before = (this.corner_px ? 1 : 0) + (this.edge_end_px ? 1 : 0);
    if (index >= before) this.outline_px = this.outline_px.map((corner, at) => (at === index - before ? place_px : corner));
    else if (index === 0 && this.corner_px) this.corner_px = place_px;
    else this.edge_end_px = place_px;
    this.tell();
  }

  measureEdge(length_mm: number | null): void {
    this.edge_length_mm = length_mm !== null && length_mm > 0 ? length_mm : null;
    this.tell();
  }

  takeBackOutline(): void {
    this.outline_px = this.outline_px.slice(0, -1);
    this.tell();
  }

  /** Frame millimetres per pixel of the image; null until corner, edge and length are there. */
  get mm_per_px(): number | null {
    const {corner_px: from, edge_end_px: to, edge_length_mm: length_mm} = this;
    if (!from || !to || length_mm === null) return null;
    const edge_px = Math.hypot(to[0] - from[0], to[1] - from[1]);
    return edge_px > 0 ? length_mm / edge_px : null;
  }

  /** Return a place of the image in the frame that corner and edge define; null until they do. */
  mmFromPx(place_px: PointPx): PointMm | null {
    const {corner_px: from, edge_end_px: to, mm_per_px} = this;
    if (!from || !to || mm_per_px === null) return null;
    const edge_px = Math.hypot(to[0] - from[0], to[1] - from[1]);
    const [cos, sin] = [(to[0] - from[0]) / edge_px, (to[1] - from[1]) / edge_px];
    const [x, y] = [place_px[0] - from[0], place_px[1] - from[1]];
    return [(x * cos + y * sin) * mm_per_px, (y * cos - x * sin) * mm_per_px];
  }

  outline_mm(): PointMm[] {
    if (this.outline_px.length < 3) return [];
    return this.outline_px.flatMap((place_px) => {
      const place_mm = this.mmFromPx(place_px);
      return place_mm ? [[Math.round(place_mm[0] * 1000) / 1000, Math.round(place_mm[1] * 1000) / 1000] as const] : [];
    });
  }

  private tell(): void {
    for (const listener of this.listeners) listener();
  }
}

/** Return by how much a measured pitch departs from a stated one, as a part of the stated; null when none is stated. */
export function departure(mm_per_px: number | null, stated_um_per_px: number | null): number | null {
  return mm_per_px === null || stated_um_per_px === null ? null : (mm_per_px * 1000) / stated_um_per_px - 1;
}
