/** The map from frame millimetres to the pixels of one image; twin of `maps.py` for single places. */
import {PIXEL_CENTRE} from '../frame/frames';
import type {PlaceMm, PlacePx} from '../frame/units';
import {DisplacementGrid} from './displacement';
import {finiteList, finiteRows, knownFields, literal, MapFormatError, wholeNumber} from './map_fields';

export {MapFormatError} from './map_fields';

const MAP_TYPE = 'mahlstick-map';
const MAP_VERSION = 1;
export const INVERSION_TOLERANCE_PX = 0.01;
const AIM_PX = 1e-6;
const MOST_STEPS = 40;

type Matrix = readonly [number, number, number, number, number, number, number, number, number];
type Jacobian = readonly [a: number, b: number, c: number, d: number];

export class FrameMap {
  private readonly inverse: Matrix;

  private constructor(
    private readonly projective: Matrix,
    readonly displacement: DisplacementGrid | null,
    readonly image_size_px: readonly [number, number] | null,
    readonly support_mm: readonly PlaceMm[] | null,
  ) {
    this.inverse = inverted(projective);
  }

  /** Read a map document strictly; a MapFormatError names a wrong field. */
  static fromJson(document: unknown): FrameMap {
    const names = ['type', 'version', 'from', 'to', 'pixel_centre', 'image_size_px', 'projective', 'displacement'];
    const fields = knownFields(document, 'map', {required: names, optional: ['support_mm']});
    const expected = {type: MAP_TYPE, version: MAP_VERSION, from: 'frame-mm', to: 'image-px', pixel_centre: PIXEL_CENTRE};
    for (const [name, value] of Object.entries(expected)) literal(fields[name], `map.${name}`, value);
    const size = fields.image_size_px === null ? null : finiteList(fields.image_size_px, 'image_size_px', 2);
    const size_px = size && ([wholeNumber(size[0], 'image_size_px[0]', 1), wholeNumber(size[1], 'image_size_px[1]', 1)] as const);
    const rows = finiteRows(fields.projective, 'projective', {rows: 3, columns: 3});
    const displacement = fields.displacement === null ? null : DisplacementGrid.fromJson(fields.displacement);
    const support = fields.support_mm === undefined ? null : finiteRows(fields.support_mm, 'support_mm', {columns: 2});
    if (support && support.length < 3) throw new MapFormatError('support_mm.length', String(support.length), 'a whole number from 3 up');
    const middle_px: PlacePx | null = size_px ? [size_px[0] / 2, size_px[1] / 2] : null;
    return new FrameMap(normalised(rows.flat(), middle_px), displacement, size_px, support as unknown as PlaceMm[] | null);
  }

  /** Return the image pixel of a frame place, null beyond the horizon of a perspective map. */
  pxFromMm(place_mm: PlaceMm): PlacePx | null {
    const plane_px = applied(this.projective, place_mm);
    if (!plane_px || !this.displacement) return plane_px;
    const {shift_px} = this.displacement.at(place_mm);
    return [plane_px[0] + shift_px[0], plane_px[1] + shift_px[1]];
  }

  /** Return the frame place of an image pixel to 0.01 px or better, null where there is none. */
  mmFromPx(place_px: PlacePx): PlaceMm | null {
    const start_mm = applied(this.inverse, place_px);
    if (!start_mm || !this.displacement) return start_mm;
    let place_mm: PlaceMm = start_mm;
    let miss = this.miss_px(place_px, place_mm);
    let share = 1;
    for (let step = 0; step < MOST_STEPS && miss && miss.length_px > AIM_PX; step += 1) {
      const [a, b, c, d] = this.jacobian_px_per_mm(place_mm);
      const determinant = a * d - b * c;
      if (determinant === 0 || !Number.isFinite(determinant)) return null;
      const trial_mm: PlaceMm = [
        place_mm[0] + (share * (d * miss.x_px - b * miss.y_px)) / determinant,
        place_mm[1] + (share * (a * miss.y_px - c * miss.x_px)) / determinant,
      ];
      const trial = this.miss_px(place_px, trial_mm);
      // A step that does not lessen the miss, or goes over the horizon, is halved.
      if (trial && trial.length_px < miss.length_px) {
        place_mm = trial_mm;
        miss = trial;
        share = Math.min(2 * share, 1);
      } else {
        share /= 2;
      }
    }
    return miss && miss.length_px <= INVERSION_TOLERANCE_PX ? place_mm : null;
  }

  /** Return the sides of a pixel on the face, mm per px along image x and image y. */
  pitchAt_mm(place_mm: PlaceMm): readonly [number, number] {
    const [a, b, c, d] = this.jacobian_px_per_mm(place_mm);
    const determinant = Math.abs(a * d - b * c);
    return [Math.hypot(d, c) / determinant, Math.hypot(b, a) / determinant];
  }

  /** Return whether nothing measured holds the map at a place. */
  isExtrapolated(place_mm: PlaceMm): boolean {
    if (this.displacement && !this.displacement.covers(place_mm)) return true;
    return this.support_mm !== null && !isInside(place_mm, this.support_mm);
  }

  isMirrored(): boolean {
    return determinantOf(this.projective) < 0;
  }

  /** Return the derivatives `[dx/dx, dx/dy, dy/dx, dy/dy]` of the pixel, px per mm; NaN beyond the horizon. */
  jacobian_px_per_mm(place_mm: PlaceMm): Jacobian {
    const m = this.projective;
    const depth = m[6] * place_mm[0] + m[7] * place_mm[1] + m[8];
    const [x_px, y_px] = applied(m, place_mm) ?? [NaN, NaN];
    const slopes = this.displacement?.at(place_mm).slopes_px_per_mm ?? [0, 0, 0, 0];
    return [
      (m[0] - x_px * m[6]) / depth + slopes[0],
      (m[1] - x_px * m[7]) / depth + slopes[1],
      (m[3] - y_px * m[6]) / depth + slopes[2],
      (m[4] - y_px * m[7]) / depth + slopes[3],
    ];
  }

  private miss_px(wanted_px: PlacePx, place_mm: PlaceMm): {x_px: number; y_px: number; length_px: number} | null {
    const reached_px = this.pxFromMm(place_mm);
    if (!reached_px) return null;
    const x_px = wanted_px[0] - reached_px[0];
    const y_px = wanted_px[1] - reached_px[1];
    return {x_px, y_px, length_px: Math.hypot(x_px, y_px)};
  }
}

function applied(m: Matrix, [x, y]: readonly [number, number]): readonly [number, number] | null {
  const depth = m[6] * x + m[7] * y + m[8];
  if (!(depth > 0)) return null;
  return [(m[0] * x + m[1] * y + m[2]) / depth, (m[3] * x + m[4] * y + m[5]) / depth];
}

function determinantOf(m: Matrix): number {
  return m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
}

function inverted(m: Matrix): Matrix {
  const determinant = determinantOf(m);
  const cofactors: Matrix = [
    m[4] * m[8] - m[5] * m[7], m[2] * m[7] - m[1] * m[8], m[1] * m[5] - m[2] * m[4],
    m[5] * m[6] - m[3] * m[8], m[0] * m[8] - m[2] * m[6], m[2] * m[3] - m[0] * m[5],
    m[3] * m[7] - m[4] * m[6], m[1] * m[6] - m[0] * m[7], m[0] * m[4] - m[1] * m[3],
  ];
  return cofactors.map((value) => value / determinant) as unknown as Matrix;
}

/** Return the matrix scaled so that its depth is above zero in the picture; refuse one without inverse. */
function normalised(values: readonly number[], visible_px: PlacePx | null): Matrix {
  const m = values as unknown as Matrix;
  const rowSizes = [0, 3, 6].map((start) => Math.hypot(...values.slice(start, start + 3)));
  const volume = Math.abs(determinantOf(balanced(m, rowSizes)));
  if (!(volume > 1e-13)) throw new MapFormatError('projective', 'without inverse', 'a matrix whose rows are independent');
  const largest = Math.max(...values.map(Math.abs));
  const size = Math.abs(m[8]) > 1e-12 * largest ? Math.abs(m[8]) : (rowSizes[2] ?? 1);
  const scaled = values.map((value) => value / size) as unknown as Matrix;
  const inverse = inverted(scaled);
  const sign = visible_px ? inverse[6] * visible_px[0] + inverse[7] * visible_px[1] + inverse[8] : scaled[8];
  return sign >= 0 ? scaled : (scaled.map((value) => -value) as unknown as Matrix);
}

/** Return rows, then columns, brought to unit length, so that large translations hide no collapse. */
function balanced(m: Matrix, rowSizes: readonly number[]): Matrix {
  const rows = m.map((value, index) => value / (rowSizes[Math.floor(index / 3)] ?? 1));
  const columnSizes = [0, 1, 2].map((column) => Math.hypot(rows[column] ?? 0, rows[column + 3] ?? 0, rows[column + 6] ?? 0));
  return rows.map((value, index) => value / (columnSizes[index % 3] ?? 1)) as unknown as Matrix;
}

/** Even-odd rule; places on the outline may fall to either side. */
function isInside([x, y]: PlaceMm, outline: readonly PlaceMm[]): boolean {
  let inside = false;
  outline.forEach(([x1, y1], index) => {
    const [x2, y2] = outline[(index + 1) % outline.length] ?? [x1, y1];
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) inside = !inside;
  });
  return inside;
}
