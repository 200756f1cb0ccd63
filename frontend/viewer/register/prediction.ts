/** Where the other half of a point is to be expected: an affine map through the points set so far, by least squares. */
import type {PointMm} from '../api/contract';
import type {SetPoint, Side} from './point_set';

const NEEDED = 3;

/** Return the expected place on the other side; null with fewer than three points, or with all on one line. */
export function expectedPlace(points: readonly SetPoint[], place: PointMm, from: Side): PointMm | null {
  if (points.length < NEEDED) return null;
  const pairs = points.map(({x_mm, y_mm, x_px, y_px}) =>
    from === 'work' ? {from: [x_mm, y_mm] as const, to: [x_px, y_px] as const} : {from: [x_px, y_px] as const, to: [x_mm, y_mm] as const});
  const x = solved(pairs.map((pair) => ({at: pair.from, value: pair.to[0]})), place);
  const y = solved(pairs.map((pair) => ({at: pair.from, value: pair.to[1]})), place);
  return x === null || y === null ? null : [x, y];
}

/** Return the value of the least-squares plane at a place, computed about the mean so that far places lose no figures. */
function solved(samples: readonly {at: PointMm; value: number}[], [x, y]: PointMm): number | null {
  const count = samples.length;
  const mean = (pick: (sample: {at: PointMm; value: number}) => number): number => samples.reduce((sum, sample) => sum + pick(sample), 0) / count;
  const [mx, my, mv] = [mean(({at}) => at[0]), mean(({at}) => at[1]), mean(({value}) => value)];
  let [xx, xy, yy, xv, yv] = [0, 0, 0, 0, 0];
  for (const {at, value} of samples) {
    const [dx, dy, dv] = [at[0] - mx, at[1] - my, value - mv];
    xx += dx * dx;
    xy += dx * dy;
    yy += dy * dy;
    xv += dx * dv;
    yv += dy * dv;
  }
  const determinant = xx * yy - xy * xy;
  if (determinant <= 1e-9 * (xx + yy) ** 2) return null;
  const slope_x = (xv * yy - yv * xy) / determinant;
  const slope_y = (yv * xx - xv * xy) / determinant;
  return mv + slope_x * (x - mx) + slope_y * (y - my);
}
