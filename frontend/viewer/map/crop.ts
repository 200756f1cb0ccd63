/** A small picture of one place, painted from tiles that are there already, coarser ones until the right ones come. */
import type {GridData, PointMm} from '../api/contract';
import {pitchAtZoom_mm, tileColumns, tileRows, zoomForPitch} from './tile_grid';
import type {TileStore} from './tile_store';

export interface CropPlace {
  centre_mm: PointMm;
  mm_per_px: number;
  rotation_rad: number;
  isMirrored: boolean;
}

export interface TileSpan {
  zoom: number;
  first_column: number;
  last_column: number;
  first_row: number;
  last_row: number;
}

/** Return the tiles that cover a circle round a place, which holds however the crop is turned. */
export function tilesRound(grid: GridData, {centre_mm, radius_mm, zoom}: {centre_mm: PointMm; radius_mm: number; zoom: number}): TileSpan | null {
  const tile_mm = grid.tile_size_px * pitchAtZoom_mm(grid, zoom);
  const index = (value_mm: number, origin_mm: number): number => Math.floor((value_mm - origin_mm) / tile_mm);
  const span = {
    zoom,
    first_column: Math.max(0, index(centre_mm[0] - radius_mm, grid.x0_mm)),
    last_column: Math.min(tileColumns(grid, zoom) - 1, index(centre_mm[0] + radius_mm, grid.x0_mm)),
    first_row: Math.max(0, index(centre_mm[1] - radius_mm, grid.y0_mm)),
    last_row: Math.min(tileRows(grid, zoom) - 1, index(centre_mm[1] + radius_mm, grid.y0_mm)),
  };
  return span.first_column > span.last_column || span.first_row > span.last_row ? null : span;
}

/** Paint the crop into the whole canvas; return the promises of the tiles still missing. */
export function paintCrop(context: CanvasRenderingContext2D, place: CropPlace, store: TileStore): Promise<unknown>[] {
  const {width, height} = context.canvas;
  const {grid, footprint_mm: footprint} = store.image;
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.clearRect(0, 0, width, height);
  const radius_mm = (Math.hypot(width, height) / 2) * place.mm_per_px;
  const needed = zoomForPitch(grid, place.mm_per_px);
  context.save();
  placeContext(context, place);
  if (footprint && footprint.length > 2) {
    context.beginPath();
    for (const [x_mm, y_mm] of footprint) context.lineTo(x_mm, y_mm);
    context.clip();
  }
  const missing: Promise<unknown>[] = [];
  for (let zoom = 0; zoom <= needed; zoom += 1) {
    const span = tilesRound(grid, {centre_mm: place.centre_mm, radius_mm, zoom});
    if (span) paintSpan(context, span, {store, missing: zoom === needed ? missing : null});
  }
  context.restore();
  return missing;
}

/** Let one unit of the context be one millimetre of the frame. */
function placeContext(context: CanvasRenderingContext2D, {centre_mm, mm_per_px, rotation_rad, isMirrored}: CropPlace): void {
  const {width, height} = context.canvas;
  context.translate(width / 2, height / 2);
  context.rotate(rotation_rad);
  context.scale((isMirrored ? -1 : 1) / mm_per_px, 1 / mm_per_px);
  context.translate(-centre_mm[0], -centre_mm[1]);
}

function paintSpan(
  context: CanvasRenderingContext2D,
  span: TileSpan,
  {store, missing}: {store: TileStore; missing: Promise<unknown>[] | null},
): void {
  const {grid} = store.image;
  const tile_mm = grid.tile_size_px * pitchAtZoom_mm(grid, span.zoom);
  for (let row = span.first_row; row <= span.last_row; row += 1) {
    for (let column = span.first_column; column <= span.last_column; column += 1) {
      const tile = store.peek(span.zoom, column, row);
      if (tile) context.drawImage(tile, grid.x0_mm + column * tile_mm, grid.y0_mm + row * tile_mm, tile_mm, tile_mm);
      else missing?.push(store.load(span.zoom, column, row).catch(() => undefined));
    }
  }
}
