/** How much of the painting a cell of the table of spots shows. */

import type {PointMm} from '../api/contract';

/** CSS pixels of a cell's picture. */
export const CELL = {width: 52, height: 33} as const;

const STEPS = [1, 1.5, 2, 3, 4, 6, 8, 10];
/** A cell looks at a wider place than the same pixels on the wall, or it would show too little to choose by. */
const WIDER = 2.2;

/** Return a round width that shows about 2.2 times what the same pixels of the wall show. */
export function cropWidth_mm(mm_per_css_px: number): number {
  const wanted_mm = mm_per_css_px * CELL.width * WIDER;
  const decade = 10 ** Math.floor(Math.log10(wanted_mm));
  const step = STEPS.find((value) => value * decade >= wanted_mm * (1 - 1e-9)) ?? 10;
  return step * decade;
}

/** Return whether a crop shows anything of an image that lies within an outline. */
export function isInSight(outline_mm: readonly PointMm[], {centre_mm, width_mm}: {centre_mm: PointMm; width_mm: number}): boolean {
  const half = [width_mm / 2, (width_mm * CELL.height) / CELL.width / 2] as const;
  return ([0, 1] as const).every((axis) => {
    const along = outline_mm.map((corner) => corner[axis]);
    return Math.max(...along) >= centre_mm[axis] - half[axis] && Math.min(...along) <= centre_mm[axis] + half[axis];
  });
}
