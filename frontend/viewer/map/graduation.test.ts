import {describe, expect, it} from 'vitest';

import {cropWidth_mm, isInSight} from '../compare/spot_size';
import {graduationFor, roundStep_mm} from './graduation';

describe('the graduation', () => {
  it.each([[0.43, 88, 50], [0.43, 7, 5], [0.01, 88, 1], [2, 7, 20], [0.1, 10, 1]])('at %s mm a pixel wants %s pixels: %s mm', (scale, wanted, step) => {
    expect(roundStep_mm(scale, wanted)).toBeCloseTo(step, 9);
  });

  it.each([0.001, 0.02, 0.15, 0.43, 0.75, 3])('numbers whole ticks and keeps them apart at %s mm a pixel', (scale) => {
    const {tick_mm, number_every} = graduationFor(scale);
    expect(tick_mm / scale).toBeGreaterThanOrEqual(7 * (1 - 1e-9));
    expect((tick_mm * number_every) / scale).toBeGreaterThanOrEqual(80);
    expect(Number.isInteger(number_every)).toBe(true);
  });

  it('shows a round width in the cells, wider than the same pixels of the wall', () => {
    expect(cropWidth_mm(0.43)).toBe(60);
    expect(cropWidth_mm(0.15)).toBe(20);
  });

  it('knows when an image lies elsewhere', () => {
    const outline = [[100, 100], [140, 100], [140, 130], [100, 130]] as const;
    expect(isInSight(outline, {centre_mm: [150, 115], width_mm: 60})).toBe(true);
    expect(isInSight(outline, {centre_mm: [200, 115], width_mm: 60})).toBe(false);
    expect(isInSight(outline, {centre_mm: [120, 200], width_mm: 60})).toBe(false);
  });
});
