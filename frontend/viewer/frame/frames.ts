/**
 * The pixel-centre convention and pixel grids laid on the millimetre frame; twin of `frames.py`.
 * Pixel (0, 0) covers [0, 1) x [0, 1), its centre is (0.5, 0.5). Only this module converts to sample indices.
 */
import type {PlaceMm, PlacePx} from './units';

export const PIXEL_CENTRE = 0.5;

export function sampleIndexFromPx(position_px: number): number {
  return position_px - PIXEL_CENTRE;
}

export function pxFromSampleIndex(index: number): number {
  return index + PIXEL_CENTRE;
}

/** Return column and row of the pixel that covers a place. */
export function pixelContaining([x_px, y_px]: PlacePx): readonly [column: number, row: number] {
  return [Math.floor(x_px), Math.floor(y_px)];
}

export interface GridDocument {
  readonly x0_mm: number;
  readonly y0_mm: number;
  readonly pitch_mm: number;
  readonly width_px: number;
  readonly height_px: number;
}

/** A grid of square pixels parallel to the axes of the frame; (x0, y0) is the outer corner of pixel (0, 0). */
export class CanvasGrid implements GridDocument {
  readonly x0_mm: number;
  readonly y0_mm: number;
  readonly pitch_mm: number;
  readonly width_px: number;
  readonly height_px: number;

  constructor({x0_mm, y0_mm, pitch_mm, width_px, height_px}: GridDocument) {
    if (![x0_mm, y0_mm].every(Number.isFinite)) throw new RangeError(`A grid needs a finite origin, got ${String(x0_mm)}, ${String(y0_mm)} mm.`);
    if (!(pitch_mm > 0 && Number.isFinite(pitch_mm))) throw new RangeError(`A grid needs a pitch above zero, got ${String(pitch_mm)} mm.`);
    if (![width_px, height_px].every((side) => Number.isInteger(side) && side >= 1)) {
      throw new RangeError(`A grid needs whole sides from 1 px up, got ${String(width_px)} x ${String(height_px)}.`);
    }
    this.x0_mm = x0_mm;
    this.y0_mm = y0_mm;
    this.pitch_mm = pitch_mm;
    this.width_px = width_px;
    this.height_px = height_px;
  }

  get extent_mm(): readonly [x_min: number, y_min: number, x_max: number, y_max: number] {
    return [this.x0_mm, this.y0_mm, this.x0_mm + this.width_px * this.pitch_mm, this.y0_mm + this.height_px * this.pitch_mm];
  }

  mmFromPx([x_px, y_px]: PlacePx): PlaceMm {
    return [this.x0_mm + x_px * this.pitch_mm, this.y0_mm + y_px * this.pitch_mm];
  }

  pxFromMm([x_mm, y_mm]: PlaceMm): PlacePx {
    return [(x_mm - this.x0_mm) / this.pitch_mm, (y_mm - this.y0_mm) / this.pitch_mm];
  }

  /** Return the grid of the picture halved a number of times, sizes rounded up. */
  zoomed(halvings: number): CanvasGrid {
    if (!Number.isInteger(halvings) || halvings < 0) throw new RangeError(`halvings must be 0 or more, got ${String(halvings)}`);
    const factor = 2 ** halvings;
    return new CanvasGrid({
      x0_mm: this.x0_mm,
      y0_mm: this.y0_mm,
      pitch_mm: this.pitch_mm * factor,
      width_px: Math.ceil(this.width_px / factor),
      height_px: Math.ceil(this.height_px / factor),
    });
  }
}
