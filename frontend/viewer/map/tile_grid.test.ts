import {describe, expect, it} from 'vitest';

import {ViewFrame} from '../frame/projections';
import {pitchAtZoom_mm, serverColumn, tileColumns, tileRows, viewTileGrid, zoomForPitch} from './tile_grid';

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
    expect(zoomForPitch(grid, 0.39)).toBe(1);
    expect(zoomForPitch(grid, 0.01)).toBe(2);
    expect(zoomForPitch(grid, 5)).toBe(0);
  });

  it('lets each tile of the view lie where the frame has it', () => {
    const viewFrame = new ViewFrame(false);
    const extent = viewTileGrid(grid, viewFrame).getTileCoordExtent([2, 1, 1]);
    const [left = 0, , , top = 0] = extent;
    expect(viewFrame.toMm([left, top])[0]).toBeCloseTo(5 + 25.6, 9);
    expect(viewFrame.toMm([left, top])[1]).toBeCloseTo(7 + 25.6, 9);
  });

  it('lets a mirrored tile cover the same part of the frame as the column it is made from', () => {
    const plain = viewTileGrid(grid, new ViewFrame(false));
    const mirroredFrame = new ViewFrame(true);
    const mirrored = viewTileGrid(grid, mirroredFrame);
    for (const zoom of [0, 1, 2]) {
      for (let column = 0; column < tileColumns(grid, zoom); column += 1) {
        const [left = 0, , right = 0] = mirrored.getTileCoordExtent([zoom, column, 0]);
        const server = serverColumn(column, {grid, zoom, isMirrored: true});
        const [plainLeft = 0, , plainRight = 0] = plain.getTileCoordExtent([zoom, server, 0]);
        expect(mirroredFrame.toMm([right, 0])[0]).toBeCloseTo(plainLeft, 9);
        expect(mirroredFrame.toMm([left, 0])[0]).toBeCloseTo(plainRight, 9);
      }
    }
  });
});
