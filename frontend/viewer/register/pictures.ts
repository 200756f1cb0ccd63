/** What the two views of the control-point page show. */
import {isOpen, type FrameData, type ImageData, type OpenImage, type PointMm, type RawImageData} from '../api/contract';
import type {Content} from '../map/plain_view';
import {TileStore} from '../map/tile_store';

const stores = new Map<string, TileStore>();

/** A laid image on its frame; with none, the bare frame in millimetres. */
export function workContent(frame: FrameData, image: ImageData | null): Content {
  const laid = image && isOpen(image) ? image : null;
  return {
    x0: 0,
    y0: 0,
    width: frame.width_mm,
    height: frame.height_mm,
    pitch: laid?.grid.pitch_mm ?? frame.canvas_pitch_mm,
    store: laid ? storeOf(`laid ${laid.id}`, laid) : null,
  };
}

/** An image in its own pixels; null while the server has not made its tiles. */
export function rawContent(image: RawImageData): Content | null {
  const {raw_tile_url: tile_url, raw_grid: grid} = image;
  if (!tile_url || !grid) return null;
  const [x0, y0, width, height] = [grid.x0_mm, grid.y0_mm, grid.width_px * grid.pitch_mm, grid.height_px * grid.pitch_mm];
  const edges: PointMm[] = [[x0, y0], [x0 + width, y0], [x0 + width, y0 + height], [x0, y0 + height]];
  // The picture ends before its last tiles do.
  const raw: OpenImage = {...image, is_closed: false, tile_url, grid, footprint_mm: edges};
  return {
    x0,
    y0,
    width,
    height,
    pitch: grid.pitch_mm,
    store: storeOf(`raw ${image.id}`, raw),
  };
}

function storeOf(key: string, image: OpenImage): TileStore {
  const known = stores.get(key) ?? new TileStore(image);
  stores.set(key, known);
  return known;
}
