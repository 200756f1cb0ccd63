/** The stick: a graduated rod across the painting at any angle; side b lies to its right when its pad points up. */
import type {PointMm} from '../api/contract';

export interface Stick {
  x_mm: number;
  y_mm: number;
  /** Direction of the pad on the painting, anticlockwise from the right: 90 is upright. */
  angle_deg: number;
}

export type ScreenPoint = readonly [x: number, y: number];

/** The stick as it lies on the screen: a place on its line and the direction of its pad. */
export interface ScreenStick {
  at: ScreenPoint;
  direction: ScreenPoint;
}

/** Return the angle in [0, 360), rounded to a tenth of a degree. */
export function normalAngle_deg(angle_deg: number): number {
  const rounded = Math.round((((angle_deg % 360) + 360) % 360) * 10) / 10;
  return rounded === 360 ? 0 : rounded;
}

/** Return the unit vector of the pad in the frame, whose y points down. */
export function padDirection(angle_deg: number): PointMm {
  const radians = (angle_deg * Math.PI) / 180;
  return [Math.cos(radians), -Math.sin(radians)];
}

export function turned(stick: Stick, by_deg: number): Stick {
  return {...stick, angle_deg: normalAngle_deg(stick.angle_deg + by_deg)};
}

/** Slide the stick square to itself; positive goes towards b. */
export function slid(stick: Stick, by_mm: number): Stick {
  const [dx, dy] = padDirection(stick.angle_deg);
  return {...stick, x_mm: stick.x_mm - dy * by_mm, y_mm: stick.y_mm + dx * by_mm};
}

/** Return the angle that lets the pad point from one place to another. */
export function angleTowards_deg(from_mm: PointMm, to_mm: PointMm): number {
  return normalAngle_deg((Math.atan2(from_mm[1] - to_mm[1], to_mm[0] - from_mm[0]) * 180) / Math.PI);
}

export function onScreen(stick: Stick, pixelFromMm: (point_mm: PointMm) => ScreenPoint): ScreenStick {
  const [dx, dy] = padDirection(stick.angle_deg);
  const at = pixelFromMm([stick.x_mm, stick.y_mm]);
  const ahead = pixelFromMm([stick.x_mm + dx * 100, stick.y_mm + dy * 100]);
  const length = Math.hypot(ahead[0] - at[0], ahead[1] - at[1]) || 1;
  return {at, direction: [(ahead[0] - at[0]) / length, (ahead[1] - at[1]) / length]};
}

/** Return where b lies, seen from the stick; a mirrored view swaps the sides on the screen. */
export function sideOfB({direction}: ScreenStick, isMirrored: boolean): ScreenPoint {
  return isMirrored ? [direction[1], -direction[0]] : [-direction[1], direction[0]];
}

/** Cut the rectangle of the view along the stick; return the corners on the given side, none when it has no part there. */
export function halfOfView(
  {at}: ScreenStick, {width, height, side}: {width: number; height: number; side: ScreenPoint},
): ScreenPoint[] {
  const corners: ScreenPoint[] = [[0, 0], [width, 0], [width, height], [0, height]];
  const depth = ([x, y]: ScreenPoint): number => (x - at[0]) * side[0] + (y - at[1]) * side[1];
  const kept: ScreenPoint[] = [];
  corners.forEach((corner, index) => {
    const next = corners[(index + 1) % corners.length] ?? corner;
    const here = depth(corner);
    const there = depth(next);
    if (here >= 0) kept.push(corner);
    if ((here < 0) !== (there < 0)) {
      const part = here / (here - there);
      kept.push([corner[0] + part * (next[0] - corner[0]), corner[1] + part * (next[1] - corner[1])]);
    }
  });
  return kept;
}

/** Return both ends of the stick's line inside the view, foot first; null when it passes by outside. */
export function endsInView(
  {at, direction}: ScreenStick, {width, height}: {width: number; height: number},
): [foot: ScreenPoint, pad: ScreenPoint] | null {
  let from = -Infinity;
  let to = Infinity;
  const limits = [[at[0], direction[0], width], [at[1], direction[1], height]] as const;
  for (const [start, step, size] of limits) {
    if (Math.abs(step) < 1e-9) {
      if (start < 0 || start > size) return null;
      continue;
    }
    const first = -start / step;
    const second = (size - start) / step;
    from = Math.max(from, Math.min(first, second));
    to = Math.min(to, Math.max(first, second));
  }
  if (from >= to) return null;
  const along = (distance: number): ScreenPoint => [at[0] + direction[0] * distance, at[1] + direction[1] * distance];
  return [along(from), along(to)];
}

export function clipPath(corners: readonly ScreenPoint[]): string {
  if (corners.length < 3) return 'inset(50%)';
  return `polygon(${corners.map(([x, y]) => `${x.toFixed(2)}px ${y.toFixed(2)}px`).join(', ')})`;
}
