/** What hand and keys do to the stick. */
import type {PointMm} from '../api/contract';
import {padDirection, slid, turned, type Stick} from './stick';

/** Left and right slide by 1 mm, with Shift by 10; up and down turn by 1 degree. Null: the key means nothing here. */
export function moveByKey(stick: Stick, {key, shiftKey}: {key: string; shiftKey: boolean}): Stick | null {
  const step_mm = shiftKey ? 10 : 1;
  switch (key) {
    case 'ArrowLeft': return slid(stick, -step_mm);
    case 'ArrowRight': return slid(stick, step_mm);
    case 'ArrowUp': return turned(stick, 1);
    case 'ArrowDown': return turned(stick, -1);
    default: return null;
  }
}

/** The stick follows the pad; what the hand does along the rod changes nothing, since the line stays the same. */
export function movedByDrag(stick: Stick, from_mm: PointMm, to_mm: PointMm): Stick {
  const [dx, dy] = padDirection(stick.angle_deg);
  const across = (to_mm[0] - from_mm[0]) * -dy + (to_mm[1] - from_mm[1]) * dx;
  return slid(stick, across);
}
