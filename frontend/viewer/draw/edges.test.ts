import {describe, expect, it} from 'vitest';

import {edgeNear} from './edges';

const square = [[0, 0], [100, 0], [100, 100], [0, 100]] as const;

describe('the edge under the hand', () => {
  it('is the nearest within reach', () => {
    expect(edgeNear(square, [50, 4], {isClosed: true, reach: 10})).toBe(0);
    expect(edgeNear(square, [96, 50], {isClosed: true, reach: 10})).toBe(1);
    expect(edgeNear(square, [50, 50], {isClosed: true, reach: 10})).toBeNull();
  });

  it('closes an area but not a line', () => {
    expect(edgeNear(square, [3, 50], {isClosed: true, reach: 10})).toBe(3);
    expect(edgeNear(square, [3, 50], {isClosed: false, reach: 10})).toBeNull();
  });

  it('does not go on beyond its ends', () => {
    expect(edgeNear([[0, 0], [100, 0]], [115, 0], {isClosed: false, reach: 10})).toBeNull();
  });
});
