/** Finding the edge of a shape that lies under the hand. */
import type {ScreenPoint} from '../compare/stick';

/** Return the index of the corner that begins the nearest edge within reach; null when none is. */
export function edgeNear(
  corners: readonly ScreenPoint[], at: ScreenPoint, {isClosed, reach}: {isClosed: boolean; reach: number},
): number | null {
  let best: number | null = null;
  let least = reach;
  const last = isClosed ? corners.length : corners.length - 1;
  for (let index = 0; index < last; index += 1) {
    const from = corners[index];
    const to = corners[(index + 1) % corners.length];
    if (!from || !to) continue;
    const distance = distanceToEdge(at, from, to);
    if (distance > least) continue;
    least = distance;
    best = index;
  }
  return best;
}

function distanceToEdge(at: ScreenPoint, from: ScreenPoint, to: ScreenPoint): number {
  const [dx, dy] = [to[0] - from[0], to[1] - from[1]];
  const square = dx * dx + dy * dy;
  const part = square === 0 ? 0 : Math.min(1, Math.max(0, ((at[0] - from[0]) * dx + (at[1] - from[1]) * dy) / square));
  return Math.hypot(at[0] - from[0] - part * dx, at[1] - from[1] - part * dy);
}
