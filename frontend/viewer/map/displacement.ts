/**
 * Smooth displacement on a regular grid: interpolating bicubic spline with not-a-knot ends; twin of `displacement.py`,
 * which explains the coefficients and the fading extrapolation.
 */
import type {PlaceMm, PlacePx} from '../frame/units';
import {finiteList, finiteNumber, knownFields, positiveNumber, wholeNumber} from './map_fields';

export const MINIMUM_NODES = 4;

type Weights = readonly [number, number, number, number];

interface Taps {
  readonly cell: number;
  readonly values: Weights;
  readonly slopes: Weights;
}

/** What a place gets and how that changes: `[dx/dx, dx/dy, dy/dx, dy/dy]` in px per mm. */
export interface LocalDisplacement {
  readonly shift_px: PlacePx;
  readonly slopes_px_per_mm: Weights;
}

/** Return the n + 2 uniform cubic B-spline coefficients that interpolate n values at unit spacing. */
export function splineCoefficients(values: readonly number[]): number[] {
  const count = values.length;
  const at = (index: number): number => values[index] ?? 0;
  const coefficients = new Array<number>(count + 2).fill(0);
  const get = (index: number): number => coefficients[index] ?? 0;
  coefficients[2] = (8 * at(1) - at(0) - at(2)) / 6;
  coefficients[count - 1] = (8 * at(count - 2) - at(count - 1) - at(count - 3)) / 6;
  const inner = count - 4;
  // Thomas algorithm for the (1, 4, 1) system of the coefficients in between.
  const ratios: number[] = [];
  const sums: number[] = [];
  for (let row = 0; row < inner; row += 1) {
    let right = 6 * at(row + 2);
    if (row === 0) right -= get(2);
    if (row === inner - 1) right -= get(count - 1);
    const pivot = 4 - (ratios[row - 1] ?? 0);
    ratios.push(1 / pivot);
    sums.push((right - (sums[row - 1] ?? 0)) / pivot);
  }
  for (let row = inner - 1; row >= 0; row -= 1) {
    const next = row === inner - 1 ? 0 : get(row + 4);
    coefficients[row + 3] = (sums[row] ?? 0) - (ratios[row] ?? 0) * next;
  }
  coefficients[1] = 6 * at(1) - 4 * get(2) - get(3);
  coefficients[0] = 6 * at(0) - 4 * get(1) - get(2);
  coefficients[count] = 6 * at(count - 2) - 4 * get(count - 1) - get(count - 2);
  coefficients[count + 1] = 6 * at(count - 1) - 4 * get(count) - get(count - 1);
  return coefficients;
}

function axisTaps(position: number, nodeCount: number): Taps {
  const inside = Math.min(Math.max(position, 0), nodeCount - 1);
  const cell = Math.min(Math.floor(inside), nodeCount - 2);
  const part = inside - cell;
  const rest = 1 - part;
  const values: Weights = [
    rest ** 3 / 6,
    2 / 3 - part ** 2 + 0.5 * part ** 3,
    2 / 3 - rest ** 2 + 0.5 * rest ** 3,
    part ** 3 / 6,
  ];
  const slopes: Weights = [-0.5 * rest ** 2, 1.5 * part ** 2 - 2 * part, 2 * rest - 1.5 * rest ** 2, 0.5 * part ** 2];
  const beyond = position - inside;
  if (beyond === 0) return {cell, values, slopes};
  const fade = 1 / (1 + Math.abs(beyond));
  const added = beyond * fade;
  return {
    cell,
    values: combined(values, slopes, added),
    slopes: combined([0, 0, 0, 0], slopes, fade * fade),
  };
}

function combined(a: Weights, b: Weights, factor: number): Weights {
  return [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2], a[3] + factor * b[3]];
}

export class DisplacementGrid {
  private readonly planes: readonly [Float64Array, Float64Array];

  constructor(
    readonly origin_mm: PlaceMm,
    readonly step_mm: number,
    readonly columns: number,
    readonly rows: number,
    values_px: {readonly dx_px: readonly number[]; readonly dy_px: readonly number[]},
  ) {
    this.planes = [this.prepared(values_px.dx_px), this.prepared(values_px.dy_px)];
  }

  static fromJson(document: unknown): DisplacementGrid {
    const names = ['x0_mm', 'y0_mm', 'step_mm', 'columns', 'rows', 'dx_px', 'dy_px'];
    const fields = knownFields(document, 'displacement', {required: names});
    const columns = wholeNumber(fields.columns, 'displacement.columns', MINIMUM_NODES);
    const rows = wholeNumber(fields.rows, 'displacement.rows', MINIMUM_NODES);
    const origin_mm: PlaceMm = [finiteNumber(fields.x0_mm, 'displacement.x0_mm'), finiteNumber(fields.y0_mm, 'displacement.y0_mm')];
    return new DisplacementGrid(origin_mm, positiveNumber(fields.step_mm, 'displacement.step_mm'), columns, rows, {
      dx_px: finiteList(fields.dx_px, 'displacement.dx_px', rows * columns),
      dy_px: finiteList(fields.dy_px, 'displacement.dy_px', rows * columns),
    });
  }

  covers([x_mm, y_mm]: PlaceMm): boolean {
    const [x0_mm, y0_mm] = this.origin_mm;
    return x_mm >= x0_mm && y_mm >= y0_mm && x_mm <= x0_mm + (this.columns - 1) * this.step_mm && y_mm <= y0_mm + (this.rows - 1) * this.step_mm;
  }

  at([x_mm, y_mm]: PlaceMm): LocalDisplacement {
    const across = axisTaps((x_mm - this.origin_mm[0]) / this.step_mm, this.columns);
    const down = axisTaps((y_mm - this.origin_mm[1]) / this.step_mm, this.rows);
    const [dx, dy] = this.planes;
    const sum = (plane: Float64Array, xWeights: Weights, yWeights: Weights): number => this.gathered(plane, {across, down, xWeights, yWeights});
    return {
      shift_px: [sum(dx, across.values, down.values), sum(dy, across.values, down.values)],
      slopes_px_per_mm: [
        sum(dx, across.slopes, down.values) / this.step_mm,
        sum(dx, across.values, down.slopes) / this.step_mm,
        sum(dy, across.slopes, down.values) / this.step_mm,
        sum(dy, across.values, down.slopes) / this.step_mm,
      ],
    };
  }

  private gathered(
    plane: Float64Array, {across, down, xWeights, yWeights}: {across: Taps; down: Taps; xWeights: Weights; yWeights: Weights},
  ): number {
    const width = this.columns + 2;
    let total = 0;
    yWeights.forEach((yWeight, row) => {
      const start = (down.cell + row) * width + across.cell;
      let line = 0;
      xWeights.forEach((xWeight, column) => { line += xWeight * (plane[start + column] ?? 0); });
      total += yWeight * line;
    });
    return total;
  }

  /** Return coefficients with one border more than there are nodes, row by row. */
  private prepared(values_px: readonly number[]): Float64Array {
    const width = this.columns + 2;
    const result = new Float64Array(width * (this.rows + 2));
    const byColumn: number[][] = [];
    for (let column = 0; column < this.columns; column += 1) {
      const values = Array.from({length: this.rows}, (_, row) => values_px[row * this.columns + column] ?? 0);
      byColumn.push(splineCoefficients(values));
    }
    for (let row = 0; row < this.rows + 2; row += 1) {
      result.set(splineCoefficients(byColumn.map((column) => column[row] ?? 0)), row * width);
    }
    return result;
  }
}
