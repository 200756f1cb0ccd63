import {describe, expect, it, vi} from 'vitest';

import {PointSet, type SetPoint} from './point_set';
import {PointTableError, readPoints, writePoints} from './points_csv';
import {expectedPlace} from './prediction';

/** Pixel = 20 x + 3 y + 100, -3 x + 20 y + 50: a turned, scaled picture. */
function point(label: string, x_mm: number, y_mm: number): SetPoint {
  return {label, kind: 'control', x_mm, y_mm, x_px: 20 * x_mm + 3 * y_mm + 100, y_px: -3 * x_mm + 20 * y_mm + 50};
}

describe('a point', () => {
  it('is made of a place on the work and one in the image, in either order', () => {
    const set = new PointSet();
    set.set('image', [500, 600]);
    expect(set.points).toEqual([]);
    set.setNextKind('check');
    set.set('work', [12, 13]);
    expect(set.points).toEqual([{label: 'P1', kind: 'check', x_mm: 12, y_mm: 13, x_px: 500, y_px: 600}]);
    expect(set.pending).toEqual({mm: null, px: null});
  });

  it('gets a label of its own', () => {
    const set = new PointSet();
    set.replace([point('P2', 0, 0)]);
    set.set('work', [1, 1]);
    set.set('image', [1, 1]);
    expect(set.points.map(({label}) => label)).toEqual(['P2', 'P3']);
  });

  it('loses what the fit said of it once it is moved', () => {
    const set = new PointSet();
    const listener = vi.fn();
    set.on(listener);
    set.replace([point('P1', 0, 0)]);
    set.take([{...point('P1', 0, 0), residual_mm: 0.02, leave_one_out_mm: 0.03, is_slip: false}]);
    set.change('P1', {x_mm: 1});
    expect(set.fitted.has('P1')).toBe(false);
    expect(listener).toHaveBeenCalledTimes(3);
  });
});

describe('the expected place', () => {
  const points = [point('a', 0, 0), point('b', 600, 10), point('c', 30, 450), point('d', 580, 460)];

  it('follows the points set so far, both ways', () => {
    const truth = point('e', 320, 240);
    const [x_px = 0, y_px = 0] = expectedPlace(points, [320, 240], 'work') ?? [];
    expect(x_px).toBeCloseTo(truth.x_px, 6);
    expect(y_px).toBeCloseTo(truth.y_px, 6);
    const [x_mm = 0, y_mm = 0] = expectedPlace(points, [truth.x_px, truth.y_px], 'image') ?? [];
    expect(x_mm).toBeCloseTo(320, 6);
    expect(y_mm).toBeCloseTo(240, 6);
  });

  it('is unknown with two points, or with all on one line', () => {
    expect(expectedPlace(points.slice(0, 2), [1, 1], 'work')).toBeNull();
    expect(expectedPlace([point('a', 0, 0), point('b', 1, 1), point('c', 2, 2)], [1, 1], 'work')).toBeNull();
  });
});

describe('a table of points', () => {
  it('is read as it was written', () => {
    const points: SetPoint[] = [{...point('nail, left', 1.25, 2.5), kind: 'check'}, point('P2', 3, 4)];
    expect(readPoints(writePoints(points))).toEqual(points);
  });

  it('may have its columns in any order, and more of them', () => {
    const table = '\uFEFFimage_y_px,image_x_px,frame_y_mm,frame_x_mm,remark\r\n20.5,10.5,2,1,"a ""good"" one"\r\n';
    expect(readPoints(table)).toEqual([{label: 'P1', kind: 'control', x_mm: 1, y_mm: 2, x_px: 10.5, y_px: 20.5}]);
  });

  it.each([
    ['frame_x_mm,frame_y_mm\n1,2\n', /image_x_px, image_y_px/],
    ['frame_x_mm,frame_y_mm,image_x_px,image_y_px\n1,2,"3,5",4\n', /Line 2, column image_x_px: 3,5/],
    ['frame_x_mm,frame_y_mm,image_x_px,image_y_px\n1,,3,4\n', /column frame_y_mm: nothing/],
    ['frame_x_mm,frame_y_mm,image_x_px,image_y_px,kind\n1,2,3,4,tie\n', /control or check/],
    ['label,frame_x_mm,frame_y_mm,image_x_px,image_y_px\nA,1,2,3,4\nA,1,2,3,4\n', /label A was used before/],
  ])('names the line that is wrong', (table, message) => {
    expect(() => readPoints(table)).toThrow(PointTableError);
    expect(() => readPoints(table)).toThrow(message);
  });
});
