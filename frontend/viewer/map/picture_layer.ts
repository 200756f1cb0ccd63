/** One image as a layer of OpenLayers with an element of its own, so that CSS can divide and fade it. */
import Layer from 'ol/layer/Layer';
import type {FrameState} from 'ol/Map';

import type {ViewFrame} from '../frame/projections';
import {TilePainter} from './tile_painter';
import type {TileStore} from './tile_store';

export class PictureLayer extends Layer {
  /** The canvas stands in an element of its own: OpenLayers would draw the next layer into a bare one. */
  readonly element = document.createElement('div');
  /** Its own filter is the tone; that of the element round it is the light of the room. */
  readonly canvas = document.createElement('canvas');
  /** True once every tile of the view has been drawn at the zoom it needs. */
  isSharp = false;
  private readonly painter = new TilePainter();
  private store: TileStore | null = null;

  constructor(slot: 'a' | 'b', private viewFrame: ViewFrame) {
    super({zIndex: slot === 'a' ? 0 : 1, visible: false});
    this.element.className = `picture-layer picture-layer-${slot}`;
    this.element.append(this.canvas);
  }

  show(store: TileStore | null, viewFrame: ViewFrame): void {
    this.store = store;
    this.viewFrame = viewFrame;
    this.isSharp = false;
    this.setVisible(store !== null);
    this.changed();
  }

  override render(frameState: FrameState | null): HTMLElement {
    if (frameState) this.paint(frameState);
    return this.element;
  }

  private paint({size, pixelRatio, viewState}: FrameState): void {
    const context = this.sizedContext(size, pixelRatio);
    if (!context || !this.store) return;
    const missing = this.painter.paint(context, {
      centre_mm: this.viewFrame.toMm(viewState.center),
      mm_per_px: viewState.resolution / pixelRatio,
      rotation_rad: viewState.rotation,
      isMirrored: this.viewFrame.isMirrored,
    }, this.store);
    this.isSharp = missing.length === 0;
    const {store} = this;
    for (const load of missing) {
      void load().then(() => {
        if (this.store === store) this.changed();
      });
    }
  }

  private sizedContext([width = 0, height = 0]: number[], pixelRatio: number): CanvasRenderingContext2D | null {
    const wanted = [Math.round(width * pixelRatio), Math.round(height * pixelRatio)] as const;
    if (this.canvas.width !== wanted[0] || this.canvas.height !== wanted[1]) {
      [this.canvas.width, this.canvas.height] = wanted;
      this.canvas.style.width = `${String(wanted[0] / pixelRatio)}px`;
      this.canvas.style.height = `${String(wanted[1] / pixelRatio)}px`;
    }
    return this.canvas.getContext('2d');
  }
}
