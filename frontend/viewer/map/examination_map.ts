/** The painting on the wall: OpenLayers in millimetres, two images, one place. */
import OlMap from 'ol/Map';
import View from 'ol/View';
import {defaults as defaultInteractions} from 'ol/interaction/defaults';
import type {Coordinate} from 'ol/coordinate';

import type {PointMm} from '../api/contract';
import {clipPath, halfOfView, onScreen, sideOfB, type ScreenPoint} from '../compare/stick';
import {ViewFrame} from '../frame/projections';
import {toneFilter} from '../tone/tone_filter';
import type {Examination, Slot} from './examination';
import {PictureLayer} from './picture_layer';
import {mmFromScreen, screenFromMm, type ScreenPlacing} from './screen';
import {TileStores} from './tile_store';

/** How many CSS pixels one pixel of the finest image may fill. */
const LARGEST_MAGNIFICATION = 16;
const FALLBACK_PITCH_MM = 0.05;

export class ExaminationMap {
  readonly map: OlMap;
  readonly stores = new TileStores();
  viewFrame: ViewFrame;
  private readonly pictures: Record<Slot, PictureLayer>;
  /** Nothing else may take the link before the first view stands. */
  isFirstViewFull = false;
  private isPlaced = false;
  private seenKey = '';
  private wholeAt: {centre_mm: PointMm; mm_per_css_px: number} | null = null;
  private shownIds: Record<Slot, string | null> = {a: null, b: null};

  constructor(readonly target: HTMLElement, readonly examination: Examination) {
    this.viewFrame = new ViewFrame(examination.state.isMirrored);
    this.pictures = {a: new PictureLayer('a', this.viewFrame), b: new PictureLayer('b', this.viewFrame)};
    this.map = new OlMap({
      target,
      controls: [],
      layers: [this.pictures.a, this.pictures.b],
      // The target can hold the focus; without this, panning would wait for it.
      interactions: defaultInteractions({onFocusOnly: false, keyboard: false}),
      view: this.newView(),
    });
    this.map.on('postrender', () => { this.afterRender(); });
    this.map.on('change:size', () => { this.keepWhole(); });
    examination.on('change', (patch) => { this.follow(patch); });
    this.showPictures();
    this.showTones();
  }

  get placing(): ScreenPlacing {
    const [width = 0, height = 0] = this.map.getSize() ?? [];
    const view = this.map.getView();
    return {
      centre_mm: this.viewFrame.toMm(view.getCenter() ?? [0, 0]),
      mm_per_css_px: view.getResolution() ?? 1,
      rotation_rad: view.getRotation(),
      isMirrored: this.viewFrame.isMirrored,
      width,
      height,
    };
  }

  pixelFromMm(point_mm: PointMm): ScreenPoint {
    return screenFromMm(this.placing, point_mm);
  }

  mmFromPixel(pixel: ScreenPoint): PointMm {
    return mmFromScreen(this.placing, pixel);
  }

  /** Return the place under a pointer event, wherever on the page it was heard. */
  mmFromEvent(event: {clientX: number; clientY: number}): PointMm {
    const box = this.target.getBoundingClientRect();
    return this.mmFromPixel([event.clientX - box.left, event.clientY - box.top]);
  }

  /** Show the whole work with its foot on the ledge. */
  showWhole(duration_ms = 0): void {
    const [width = 1, height = 1] = this.map.getSize() ?? [];
    const {width_mm, height_mm} = this.examination.data.frame;
    const air = 10;
    const mm_per_css_px = Math.max(width_mm / Math.max(1, width - 2), height_mm / Math.max(1, height - air));
    const centre_mm: PointMm = [width_mm / 2, height_mm - (height / 2) * mm_per_css_px];
    this.go({centre_mm, mm_per_css_px, rotation_rad: 0, duration_ms});
    this.wholeAt = {centre_mm, mm_per_css_px};
  }

  /** A work shown whole stays whole, its foot on the ledge, when the window or the ledge changes. */
  private keepWhole(): void {
    const {centre_mm, mm_per_css_px} = this.placing;
    const whole = this.wholeAt;
    const isWhole = whole !== null && Math.abs(whole.mm_per_css_px / mm_per_css_px - 1) < 1e-9
      && Math.hypot(whole.centre_mm[0] - centre_mm[0], whole.centre_mm[1] - centre_mm[1]) < mm_per_css_px;
    if (isWhole) this.showWhole();
  }

  go({centre_mm, mm_per_css_px, rotation_rad, duration_ms = 0}: {
    centre_mm?: PointMm; mm_per_css_px?: number; rotation_rad?: number; duration_ms?: number;
  }): void {
    const view = this.map.getView();
    view.cancelAnimations();
    const target: {center?: Coordinate; resolution?: number; rotation?: number} = {};
    if (centre_mm) target.center = this.viewFrame.toView(centre_mm);
    if (mm_per_css_px !== undefined) target.resolution = mm_per_css_px;
    if (rotation_rad !== undefined) target.rotation = rotation_rad;
    if (duration_ms > 0) {
      view.animate({...target, duration: duration_ms});
      return;
    }
    if (target.rotation !== undefined) view.setRotation(target.rotation);
    if (target.resolution !== undefined) view.setResolution(target.resolution);
    if (target.center) view.setCenter(target.center);
  }

  /** Go nearer (factor below 1) or farther, keeping a place where it is on the screen. */
  scaleBy(factor: number, {anchor_mm, duration_ms = 0}: {anchor_mm?: PointMm; duration_ms?: number} = {}): void {
    const {centre_mm, mm_per_css_px} = this.placing;
    const fixed = anchor_mm ?? centre_mm;
    const part = (value: number, towards: number): number => towards + (value - towards) * factor;
    this.go({
      centre_mm: [part(centre_mm[0], fixed[0]), part(centre_mm[1], fixed[1])],
      mm_per_css_px: mm_per_css_px * factor,
      duration_ms,
    });
  }

  panBy(right: number, down: number): void {
    const {width, height} = this.placing;
    this.go({centre_mm: this.mmFromPixel([width / 2 + right, height / 2 + down])});
  }

  private newView(): View {
    const {frame, images} = this.examination.data;
    const finest_mm = Math.min(FALLBACK_PITCH_MM, ...images.map(({grid}) => grid?.pitch_mm ?? FALLBACK_PITCH_MM));
    const longest_mm = Math.max(frame.width_mm, frame.height_mm);
    return new View({
      projection: this.viewFrame.view,
      center: this.viewFrame.toView([frame.width_mm / 2, frame.height_mm / 2]),
      resolution: longest_mm / 800,
      minResolution: finest_mm / LARGEST_MAGNIFICATION,
      maxResolution: longest_mm / 120,
      constrainOnlyCenter: true,
      extent: this.viewFrame.extentOf({
        x_mm: -0.5 * frame.width_mm, y_mm: -0.5 * frame.height_mm,
        width_mm: 2 * frame.width_mm, height_mm: 2 * frame.height_mm,
      }),
      smoothExtentConstraint: false,
      smoothResolutionConstraint: false,
      constrainRotation: false,
    });
  }

  private follow(patch: Partial<Examination['state']>): void {
    if (patch.isMirrored !== undefined && patch.isMirrored !== this.viewFrame.isMirrored) this.mirror(patch.isMirrored);
    if ('a' in patch || 'b' in patch) this.showPictures();
    if ('a' in patch || 'b' in patch || 'tones' in patch) this.showTones();
    this.divide();
  }

  /** Show the other way round, the same place in the middle. */
  private mirror(isMirrored: boolean): void {
    const {centre_mm, mm_per_css_px, rotation_rad} = this.placing;
    this.viewFrame = new ViewFrame(isMirrored);
    this.map.setView(this.newView());
    this.shownIds = {a: null, b: null};
    this.showPictures();
    this.go({centre_mm, mm_per_css_px, rotation_rad: -rotation_rad});
  }

  private showPictures(): void {
    for (const slot of ['a', 'b'] as const) {
      const image = this.examination.shown(slot);
      if ((image?.id ?? null) === this.shownIds[slot]) continue;
      this.shownIds[slot] = image?.id ?? null;
      this.pictures[slot].show(image ? this.stores.of(image) : null, this.viewFrame);
    }
  }

  private showTones(): void {
    for (const slot of ['a', 'b'] as const) this.pictures[slot].canvas.style.filter = toneFilter(slot, this.examination.toneOf(slot));
  }

  private afterRender(): void {
    this.divide();
    const {placing} = this;
    // Tiles that arrive draw the picture anew; the rest of the page moves only when the view does.
    const key = Object.values(placing).join(' ');
    if (key !== this.seenKey) {
      this.seenKey = key;
      const {centre_mm, mm_per_css_px, rotation_rad} = placing;
      this.examination.see({centre_mm, mm_per_css_px, rotation_rad});
    }
    this.markFirstView();
  }

  /** The view has been placed; all that follows is what people look at. */
  placed(): void {
    this.isPlaced = true;
    this.map.render();
  }

  private markFirstView(): void {
    const shown = [this.pictures.a, this.pictures.b].filter((picture) => picture.getVisible());
    if (this.isFirstViewFull || !this.isPlaced || !shown.every(({isSharp}) => isSharp)) return;
    this.isFirstViewFull = true;
    performance.mark('first-full-view');
    this.examination.standFull();
  }

  /** Give each image its part of the wall. CSS does it, so that moving the stick redraws no tile. */
  private divide(): void {
    const {state} = this.examination;
    const hasBoth = state.a !== null && state.b !== null;
    const isWipe = state.mode === 'wipe' && hasBoth;
    const placing = this.placing;
    const stick = onScreen(state.stick, (point_mm) => screenFromMm(placing, point_mm));
    const side = sideOfB(stick, placing.isMirrored);
    const opposite: ScreenPoint = [-side[0], -side[1]];
    this.dress('a', isWipe ? clipPath(halfOfView(stick, {...placing, side: opposite})) : '');
    this.dress('b', isWipe ? clipPath(halfOfView(stick, {...placing, side})) : '');
    this.pictures.b.element.style.opacity = state.mode === 'fade' && hasBoth ? String(state.fade) : '';
  }

  private dress(slot: Slot, clip: string): void {
    const {style} = this.pictures[slot].element;
    if (style.clipPath !== clip) style.clipPath = clip;
  }
}
