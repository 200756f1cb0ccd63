/**
 * Painting one image from its tiles, exactly where it lies. Tiles are first set edge to edge on a sheet of their own
 * pixels and the sheet is drawn once: placing each tile by itself would round it to whole screen pixels or leave seams.
 */
import type {GridData, PointMm} from '../api/contract';
import {pitchAtZoom_mm, tilesCovering, zoomForPitch, type TileSpan} from './tile_grid';
import type {TileStore} from './tile_store';

export interface PicturePlace {
  /** What lies in the middle of the canvas. */
  centre_mm: PointMm;
  /** Frame millimetres per pixel of the canvas. */
  mm_per_px: number;
  rotation_rad: number;
  isMirrored: boolean;
}

/** Canvas pixels per image pixel from which pixels are shown as the squares they are. */
const SQUARES_FROM = 6;

export class TilePainter {
  private readonly sheet = document.createElement('canvas');
  private sheetKey = '';

  /** Paint the whole canvas; return the tiles still missing, nearest to the middle first. */
  paint(context: CanvasRenderingContext2D, place: PicturePlace, store: TileStore): (() => Promise<unknown>)[] {
    const {width, height} = context.canvas;
    const {grid, footprint_mm: footprint} = store.image;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, width, height);
    const zoom = zoomForPitch(grid, place.mm_per_px);
    const span = tilesCovering(grid, {centre_mm: place.centre_mm, half_mm: halfSize_mm(place, width, height), zoom});
    if (!span) return [];
    const missing = this.fillSheet(span, store);
    context.save();
    placeContext(context, place);
    if (footprint && footprint.length > 2) clipTo(context, footprint);
    this.drawSheet(context, span, {grid, mm_per_px: place.mm_per_px});
    context.restore();
    return inOrder(missing, {grid, span, centre_mm: place.centre_mm}).map(
      ([column, row]) => () => store.load(zoom, column, row).catch(() => undefined),
    );
  }

  private fillSheet(span: TileSpan, store: TileStore): [number, number][] {
    const size_px = store.image.grid.tile_size_px;
    const key = [store.image.id, ...Object.values(span), store.arrivals].join('/');
    const isFilled = key === this.sheetKey;
    const missing: [number, number][] = [];
    const context = isFilled ? null : this.cleanSheet(span, size_px);
    for (let row = span.first_row; row <= span.last_row; row += 1) {
      for (let column = span.first_column; column <= span.last_column; column += 1) {
        const tile = store.peek(span.zoom, column, row);
        if (!tile) missing.push([column, row]);
        if (!context) continue;
        const at = [(column - span.first_column) * size_px, (row - span.first_row) * size_px] as const;
        if (tile) context.drawImage(tile, at[0], at[1], size_px, size_px);
        else drawAncestor(context, {store, zoom: span.zoom, column, row, at});
      }
    }
    this.sheetKey = key;
    return missing;
  }

  private cleanSheet(span: TileSpan, size_px: number): CanvasRenderingContext2D | null {
    const width = (span.last_column - span.first_column + 1) * size_px;
    const height = (span.last_row - span.first_row + 1) * size_px;
    if (this.sheet.width !== width || this.sheet.height !== height) {
      this.sheet.width = width;
      this.sheet.height = height;
    }
    const context = this.sheet.getContext('2d');
    context?.clearRect(0, 0, width, height);
    return context;
  }

  private drawSheet(context: CanvasRenderingContext2D, span: TileSpan, {grid, mm_per_px}: {grid: GridData; mm_per_px: number}): void {
    const pitch_mm = pitchAtZoom_mm(grid, span.zoom);
    const tile_mm = grid.tile_size_px * pitch_mm;
    context.imageSmoothingEnabled = pitch_mm / mm_per_px < SQUARES_FROM;
    context.imageSmoothingQuality = 'medium';
    context.translate(grid.x0_mm + span.first_column * tile_mm, grid.y0_mm + span.first_row * tile_mm);
    context.scale(pitch_mm, pitch_mm);
    context.drawImage(this.sheet, 0, 0);
  }
}

/** Draw the part of the nearest coarser tile that is there, so that the place is never empty while it sharpens. */
function drawAncestor(
  context: CanvasRenderingContext2D,
  {store, zoom, column, row, at}: {store: TileStore; zoom: number; column: number; row: number; at: readonly [number, number]},
): void {
  const size_px = store.image.grid.tile_size_px;
  for (let up = 1; up <= zoom; up += 1) {
    const factor = 2 ** up;
    const tile = store.peek(zoom - up, Math.floor(column / factor), Math.floor(row / factor));
    if (!tile) continue;
    const part_px = size_px / factor;
    context.drawImage(tile, (column % factor) * part_px, (row % factor) * part_px, part_px, part_px, at[0], at[1], size_px, size_px);
    return;
  }
}

/** Let one unit of the context be one millimetre of the frame. */
function placeContext(context: CanvasRenderingContext2D, {centre_mm, mm_per_px, rotation_rad, isMirrored}: PicturePlace): void {
  const {width, height} = context.canvas;
  context.translate(width / 2, height / 2);
  context.rotate(rotation_rad);
  context.scale((isMirrored ? -1 : 1) / mm_per_px, 1 / mm_per_px);
  context.translate(-centre_mm[0], -centre_mm[1]);
}

function clipTo(context: CanvasRenderingContext2D, outline_mm: readonly PointMm[]): void {
  context.beginPath();
  for (const [x_mm, y_mm] of outline_mm) context.lineTo(x_mm, y_mm);
  context.closePath();
  context.clip();
}

/** Return half the sides of the box, parallel to the frame, that holds a canvas however it is turned. */
export function halfSize_mm({mm_per_px, rotation_rad}: PicturePlace, width: number, height: number): PointMm {
  const cos = Math.abs(Math.cos(rotation_rad));
  const sin = Math.abs(Math.sin(rotation_rad));
  return [((width * cos + height * sin) / 2) * mm_per_px, ((width * sin + height * cos) / 2) * mm_per_px];
}

function inOrder(tiles: [number, number][], {grid, span, centre_mm}: {grid: GridData; span: TileSpan; centre_mm: PointMm}): [number, number][] {
  const tile_mm = grid.tile_size_px * pitchAtZoom_mm(grid, span.zoom);
  const middle = [(centre_mm[0] - grid.x0_mm) / tile_mm - 0.5, (centre_mm[1] - grid.y0_mm) / tile_mm - 0.5] as const;
  const distance = ([column, row]: [number, number]): number => Math.hypot(column - middle[0], row - middle[1]);
  return tiles.sort((one, other) => distance(one) - distance(other));
}
