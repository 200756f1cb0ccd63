/** Questions to polygons of the frame. */
import type {PlaceMm} from './units';

/** Even-odd rule; places on the outline may fall to either side. */
export function isInside([x_mm, y_mm]: PlaceMm, outline_mm: readonly PlaceMm[]): boolean {
  let isIn = false;
  outline_mm.forEach(([x1, y1], index) => {
    const [x2, y2] = outline_mm[(index + 1) % outline_mm.length] ?? [x1, y1];
    if (y1 > y_mm !== y2 > y_mm && x_mm < ((x2 - x1) * (y_mm - y1)) / (y2 - y1) + x1) isIn = !isIn;
  });
  return isIn;
}
