import {describe, expect, it} from 'vitest';

import {angleTowards_deg, clipPath, endsInView, halfOfView, onScreen, sideOfB, slid, turned, type ScreenPoint} from './stick';
import {movedByDrag, moveByKey} from './stick_moves';

const upright = {x_mm: 100, y_mm: 50, angle_deg: 90};

/** Twice the area of a polygon. */
function doubleArea(corners: ScreenPoint[]): number {
  return Math.abs(corners.reduce((sum, [x, y], index) => {
    const [nx, ny] = corners[(index + 1) % corners.length] ?? [0, 0];
    return sum + x * ny - nx * y;
  }, 0));
}

describe('the stick', () => {
  it('slides towards b, to the right when it stands upright', () => {
    expect(slid(upright, 3)).toEqual({x_mm: 103, y_mm: 50, angle_deg: 90});
  });

  it('slides by one millimetre with an arrow and by ten with Shift', () => {
    expect(moveByKey(upright, {key: 'ArrowRight', shiftKey: false})?.x_mm).toBeCloseTo(101, 9);
    expect(moveByKey(upright, {key: 'ArrowLeft', shiftKey: true})?.x_mm).toBeCloseTo(90, 9);
  });

  it('turns by one degree and comes round after 360', () => {
    expect(moveByKey({...upright, angle_deg: 359.5}, {key: 'ArrowUp', shiftKey: false})?.angle_deg).toBe(0.5);
    expect(turned({...upright, angle_deg: 0}, -1).angle_deg).toBe(359);
  });

  it('leaves other keys to the page', () => {
    expect(moveByKey(upright, {key: 'a', shiftKey: false})).toBeNull();
  });

  it('follows the pad only square to itself', () => {
    const moved = movedByDrag(upright, [0, 0], [7, 40]);
    expect(moved.x_mm).toBeCloseTo(107, 9);
    expect(moved.y_mm).toBeCloseTo(50, 9);
  });

  it('points from the foot to the pad', () => {
    expect(angleTowards_deg([0, 10], [0, 0])).toBe(90);
    expect(angleTowards_deg([0, 0], [10, 0])).toBe(0);
  });

  it('cuts the view in two parts that together are the view', () => {
    const stick = onScreen({x_mm: 30, y_mm: 20, angle_deg: 63}, ([x, y]) => [x * 2, y * 2]);
    const side = sideOfB(stick, false);
    const view = {width: 200, height: 120};
    const b = halfOfView(stick, {...view, side});
    const a = halfOfView(stick, {...view, side: [-side[0], -side[1]]});
    expect(doubleArea(a) + doubleArea(b)).toBeCloseTo(2 * 200 * 120, 6);
    expect(doubleArea(a)).toBeGreaterThan(0);
  });

  it('gives all of the view to a when it has passed beyond the right edge', () => {
    const stick = onScreen({x_mm: 300, y_mm: 0, angle_deg: 90}, ([x, y]) => [x, y]);
    expect(halfOfView(stick, {width: 200, height: 100, side: sideOfB(stick, false)})).toEqual([]);
    expect(clipPath([])).toBe('inset(50%)');
    expect(endsInView(stick, {width: 200, height: 100})).toBeNull();
  });

  it('runs from its foot at the lower edge to its pad at the upper', () => {
    const stick = onScreen(upright, ([x, y]) => [x, y]);
    const [foot, pad] = endsInView(stick, {width: 200, height: 100}) ?? [];
    expect(foot?.[1]).toBeCloseTo(100, 9);
    expect(pad?.[1]).toBeCloseTo(0, 9);
  });

  it('keeps b on the same part of the work when the view is mirrored', () => {
    const mirroredStick = onScreen(upright, ([x, y]) => [200 - x, y]);
    expect(sideOfB(mirroredStick, true)[0]).toBeCloseTo(-1, 9);
  });
});
