import {describe, expect, it} from 'vitest';

import {pitchAtZoom_mm, tileColumns, tileRows, tilesCovering, zoomForPitch} from './tile_grid';
import {halfSize_mm} from './tile_painter';

/** 700 x 300 px at 0.1 mm from (5, 7) mm: three columns and two rows at the finest zoom, two columns at the next. */
const grid = {x0_mm: 5, y0_mm: 7, pitch_mm: 0.1, width_px: 700, height_px: 300, zooms: 3, tile_size_px: 256};

describe('the tile grid', () => {
  it('doubles the pitch at each coarser zoom', () => {
    expect([0, 1, 2].map((zoom) => pitchAtZoom_mm(grid, zoom))).toEqual([0.4, 0.2, 0.1]);
  });

  it('counts tiles that are partly filled', () => {
    expect([0, 1, 2].map((zoom) => tileColumns(grid, zoom))).toEqual([1, 2, 3]);
    expect([0, 1, 2].map((zoom) => tileRows(grid, zoom))).toEqual([1, 1, 2]);
  });

  it('takes the coarsest zoom that is fine enough', () => {
    expect(zoomForPitch(grid, 0.4)).toBe(0);
    expect(zoomForPitch(grid, 0.32)).toBe(0);
    expect(zoomForPitch(grid, 0.3)).toBe(1);
    expect(zoomForPitch(grid, 0.01)).toBe(2);
    expect(zoomForPitch(grid, 5)).toBe(0);
  });

  it('covers a box with the tiles it touches, and no more', () => {
    const span = tilesCovering(grid, {centre_mm: [5 + 25.6, 7 + 10], half_mm: [1, 1], zoom: 2});
    expect(span).toEqual({zoom: 2, first_column: 0, last_column: 1, first_row: 0, last_row: 0});
  });

  it('has no tiles beside the picture', () => {
    expect(tilesCovering(grid, {centre_mm: [-40, 7], half_mm: [10, 10], zoom: 2})).toBeNull();
  });

  it('holds a turned view', () => {
    const place = {centre_mm: [0, 0] as const, mm_per_px: 0.5, rotation_rad: Math.PI / 2, isMirrored: false};
    const [across_mm, down_mm] = halfSize_mm(place, 200, 100);
    expect(across_mm).toBeCloseTo(25, 9);
    expect(down_mm).toBeCloseTo(50, 9);
  });
});
