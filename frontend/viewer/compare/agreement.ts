/** How well two images agree at a place, from the local uncertainty of their registrations. */
import type {ImageData, PointMm, UncertaintyGridData} from '../api/contract';

/** Return the uncertainty (95 %, mm) at a place, bilinear between nodes; null outside the grid or where nothing was measured. */
export function uncertaintyAt_mm(grid: UncertaintyGridData, [x_mm, y_mm]: PointMm): number | null {
  const column = (x_mm - grid.x0_mm) / grid.step_mm;
  const row = (y_mm - grid.y0_mm) / grid.step_mm;
  if (column < 0 || row < 0 || column > grid.columns - 1 || row > grid.rows - 1) return null;
  const left = Math.min(Math.floor(column), Math.max(0, grid.columns - 2));
  const top = Math.min(Math.floor(row), Math.max(0, grid.rows - 2));
  const across = column - left;
  const down = row - top;
  let sum = 0;
  for (const [c, r, weight] of [
    [left, top, (1 - across) * (1 - down)],
    [left + 1, top, across * (1 - down)],
    [left, top + 1, (1 - across) * down],
    [left + 1, top + 1, across * down],
  ] as const) {
    if (weight === 0) continue;
    const value = grid.u95_mm[r * grid.columns + c] ?? null;
    if (value === null) return null;
    sum += value * weight;
  }
  return sum;
}

/**
 * Return within how many millimetres a and b agree at a place, at 95 %: both uncertainties in quadrature, since the two
 * registrations were measured apart. Null when one of them says nothing there.
 */
export function agreementAt_mm(a: ImageData | null, b: ImageData | null, place_mm: PointMm): number | null {
  if (!a || !b) return null;
  if (a.id === b.id) return 0;
  const parts = [a, b].map((image) => {
    const grid = image.registration?.uncertainty;
    return grid ? uncertaintyAt_mm(grid, place_mm) : null;
  });
  const [first = null, second = null] = parts;
  return first === null || second === null ? null : Math.hypot(first, second);
}
