/** The tiles of a published pyramid: which zoom a scale needs, and which tiles cover a place. */
import type {GridData, PointMm} from '../api/contract';

export function pitchAtZoom_mm(grid: GridData, zoom: number): number {
  return grid.pitch_mm * 2 ** (grid.zooms - 1 - zoom);
}

/** Pixels may be drawn this much larger than they are; the next zoom would cost four times the tiles. */
const STRETCH = 1.3;

/** Return the coarsest zoom whose pixels are hardly larger than asked, or the finest there is. */
export function zoomForPitch(grid: GridData, pitch_mm: number): number {
  const steps = Math.floor(Math.log2((STRETCH * pitch_mm) / grid.pitch_mm) + 1e-9);
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

export interface TileSpan {
  zoom: number;
  first_column: number;
  last_column: number;
  first_row: number;
  last_row: number;
}

/** Return the tiles of one zoom that cover a box round a place; null when the picture has none there. */
export function tilesCovering(
  grid: GridData, {centre_mm, half_mm, zoom}: {centre_mm: PointMm; half_mm: PointMm; zoom: number},
): TileSpan | null {
  const tile_mm = grid.tile_size_px * pitchAtZoom_mm(grid, zoom);
  const index = (value_mm: number, origin_mm: number): number => Math.floor((value_mm - origin_mm) / tile_mm);
  const span = {
    zoom,
    first_column: Math.max(0, index(centre_mm[0] - half_mm[0], grid.x0_mm)),
    last_column: Math.min(tileColumns(grid, zoom) - 1, index(centre_mm[0] + half_mm[0], grid.x0_mm)),
    first_row: Math.max(0, index(centre_mm[1] - half_mm[1], grid.y0_mm)),
    last_row: Math.min(tileRows(grid, zoom) - 1, index(centre_mm[1] + half_mm[1], grid.y0_mm)),
  };
  return span.first_column > span.last_column || span.first_row > span.last_row ? null : span;
}
