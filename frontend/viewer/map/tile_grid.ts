/** The tiles of a published pyramid, in the frame and in a (perhaps mirrored) view. */
import TileGrid from 'ol/tilegrid/TileGrid';

import type {GridData} from '../api/contract';
import type {ViewFrame} from '../frame/projections';

export function pitchAtZoom_mm(grid: GridData, zoom: number): number {
  return grid.pitch_mm * 2 ** (grid.zooms - 1 - zoom);
}

/** Return the coarsest zoom whose pixels are no larger than asked, or the finest there is. */
export function zoomForPitch(grid: GridData, pitch_mm: number): number {
  const steps = Math.floor(Math.log2(pitch_mm / grid.pitch_mm) + 1e-9);
  return Math.min(grid.zooms - 1, Math.max(0, grid.zooms - 1 - steps));
}

export function tileColumns(grid: GridData, zoom: number): number {
  return tilesAlong(grid.width_px, {grid, zoom});
}

export function tileRows(grid: GridData, zoom: number): number {
  return tilesAlong(grid.height_px, {grid, zoom});
}

function tilesAlong(length_px: number, {grid, zoom}: {grid: GridData; zoom: number}): number {
  const scale_factor = 2 ** (grid.zooms - 1 - zoom);
  return Math.max(1, Math.ceil(Math.ceil(length_px / scale_factor) / grid.tile_size_px));
}

/**
 * Return OpenLayers' grid for the view. In a mirrored view columns count from the other side, and the last, partly
 * empty column comes first: each zoom has its own origin.
 */
export function viewTileGrid(grid: GridData, viewFrame: ViewFrame): TileGrid {
  const zooms = Array.from({length: grid.zooms}, (_, zoom) => zoom);
  const resolutions = zooms.map((zoom) => pitchAtZoom_mm(grid, zoom));
  const origins = zooms.map((zoom) => {
    if (!viewFrame.isMirrored) return [grid.x0_mm, -grid.y0_mm];
    const tile_mm = grid.tile_size_px * pitchAtZoom_mm(grid, zoom);
    return [-(grid.x0_mm + tileColumns(grid, zoom) * tile_mm), -grid.y0_mm];
  });
  const extent = viewFrame.extentOf({
    x_mm: grid.x0_mm,
    y_mm: grid.y0_mm,
    width_mm: grid.width_px * grid.pitch_mm,
    height_mm: grid.height_px * grid.pitch_mm,
  });
  return new TileGrid({extent, origins, resolutions, tileSize: grid.tile_size_px});
}

/** Return the column the server knows for a column of the view. */
export function serverColumn(column: number, {grid, zoom, isMirrored}: {grid: GridData; zoom: number; isMirrored: boolean}): number {
  return isMirrored ? tileColumns(grid, zoom) - 1 - column : column;
}
