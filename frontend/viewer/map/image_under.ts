/** Which of the two images one is really looking at in a place. */
import type {OpenImage, PointMm} from '../api/contract';
import {padDirection} from '../compare/stick';
import type {Examination, Slot} from './examination';

/** In the wipe it is the side of the stick that decides; in the fade the image that is shown more. */
export function imageUnder({examination}: {examination: Examination}, [x_mm, y_mm]: PointMm): {slot: Slot; image: OpenImage} | null {
  const a = examination.shown('a');
  const b = examination.shown('b');
  if (!a || !b) return a ? {slot: 'a', image: a} : b ? {slot: 'b', image: b} : null;
  const {mode, fade, stick} = examination.state;
  const [dx, dy] = padDirection(stick.angle_deg);
  const isOnB = mode === 'fade' ? fade >= 0.5 : (x_mm - stick.x_mm) * -dy + (y_mm - stick.y_mm) * dx >= 0;
  return isOnB ? {slot: 'b', image: b} : {slot: 'a', image: a};
}
