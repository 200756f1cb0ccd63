/** One image as a layer of its own element, clipped to what was really photographed. */
import TileLayer from 'ol/layer/Tile';
import ImageTile from 'ol/source/ImageTile';
import {apply, multiply} from 'ol/transform';
import type RenderEvent from 'ol/render/Event';

import type {OpenImage, PointMm} from '../api/contract';
import type {ViewFrame} from '../frame/projections';
import {serverColumn, viewTileGrid} from './tile_grid';
import type {TileStore} from './tile_store';

export class PictureLayer {
  readonly layer: TileLayer<ImageTile>;
  private image: OpenImage | null = null;
  private viewFrame: ViewFrame | null = null;

  constructor(readonly slot: 'a' | 'b', zIndex: number) {
    this.layer = new TileLayer<ImageTile>({className: `picture-layer picture-layer-${slot}`, zIndex, visible: false});
    this.layer.on('prerender', (event) => { this.clip(event); });
    this.layer.on('postrender', (event) => { unclip(event); });
  }

  show(image: OpenImage | null, {store, viewFrame}: {store: TileStore | null; viewFrame: ViewFrame}): void {
    this.image = image;
    this.viewFrame = viewFrame;
    this.layer.setVisible(image !== null);
    this.layer.setSource(image && store ? pictureSource(image, {store, viewFrame}) : null);
  }

  private clip(event: RenderEvent): void {
    const context = event.context;
    if (!(context instanceof CanvasRenderingContext2D) || !event.frameState || !event.inversePixelTransform) return;
    context.save();
    const footprint = this.image?.footprint_mm;
    if (!footprint || footprint.length < 3 || !this.viewFrame) return;
    const toCanvas = multiply([...event.inversePixelTransform], event.frameState.coordinateToPixelTransform);
    tracePath(context, {footprint, viewFrame: this.viewFrame, transform: toCanvas});
    context.clip();
  }
}

function unclip(event: RenderEvent): void {
  if (event.context instanceof CanvasRenderingContext2D) event.context.restore();
}

function tracePath(
  context: CanvasRenderingContext2D,
  {footprint, viewFrame, transform}: {footprint: PointMm[]; viewFrame: ViewFrame; transform: number[]},
): void {
  context.beginPath();
  footprint.forEach((point_mm, index) => {
    const [x = 0, y = 0] = apply(transform, [...viewFrame.toView(point_mm)]);
    if (index === 0) context.moveTo(x, y);
    else context.lineTo(x, y);
  });
  context.closePath();
}

function pictureSource(image: OpenImage, {store, viewFrame}: {store: TileStore; viewFrame: ViewFrame}): ImageTile {
  const {isMirrored} = viewFrame;
  return new ImageTile({
    projection: viewFrame.view,
    tileGrid: viewTileGrid(image.grid, viewFrame),
    wrapX: false,
    transition: 0,
    loader: async (zoom, column, row) => {
      const picture = await store.load(zoom, serverColumn(column, {grid: image.grid, zoom, isMirrored}), row);
      return isMirrored ? mirrored(picture) : picture;
    },
  });
}

function mirrored(picture: HTMLImageElement): HTMLCanvasElement {
  const canvas = document.createElement('canvas');
  canvas.width = picture.naturalWidth;
  canvas.height = picture.naturalHeight;
  const context = canvas.getContext('2d');
  context?.setTransform(-1, 0, 0, 1, canvas.width, 0);
  context?.drawImage(picture, 0, 0);
  return canvas;
}
