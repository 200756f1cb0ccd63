/**
 * One picture to set places on: panned, scaled and pressed by mouse, finger and keys. The unit is the picture's own
 * grid, frame millimetres for a laid image and pixels for a raw one.
 */
import type {PointMm} from '../api/contract';
import {fitCanvas} from '../ui/canvas';
import {mmFromScreen, screenFromMm, type ScreenPlacing} from './screen';
import {TilePainter} from './tile_painter';
import type {TileStore} from './tile_store';
import type {ScreenPoint} from '../compare/stick';

const STILL = 5;
const WHEEL = 0.0016;
const KEY_ZOOM = Math.SQRT2;
const PAN_PART = 0.15;
const LARGEST_MAGNIFICATION = 24;

export interface PlainViewEvents {
  /** A place was pressed, or Enter chose the one under the cross. */
  press: (place: PointMm) => void;
  /** Return what is caught at this place on the screen; it then follows the hand. */
  catchAt: (at: ScreenPoint, isTouch: boolean) => number | null;
  drag: (caught: number, place: PointMm) => void;
  draw: (context: CanvasRenderingContext2D, toScreen: (place: PointMm) => ScreenPoint) => void;
  hover?: (place: PointMm | null) => void;
}

export interface Content {
  /** Size of the ground in the unit of the view, with its upper left corner. */
  x0: number;
  y0: number;
  width: number;
  height: number;
  /** Finest pixel, in the unit of the view. */
  pitch: number;
  store: TileStore | null;
}

export class PlainView {
  placing: ScreenPlacing = {centre_mm: [0, 0], mm_per_css_px: 1, rotation_rad: 0, isMirrored: false, width: 0, height: 0};
  private readonly picture = document.createElement('canvas');
  private readonly marks = document.createElement('canvas');
  private readonly painter = new TilePainter();
  private readonly pointers = new Map<number, {x: number; y: number}>();
  private travelled = 0;
  private caught: number | null = null;
  private isDrawing = false;

  constructor(readonly host: HTMLElement, private content: Content, private readonly events: PlainViewEvents) {
    this.picture.className = 'plain-picture picture-layer';
    this.marks.className = 'plain-marks';
    host.append(this.picture, this.marks);
    new ResizeObserver(() => { this.resize(); }).observe(host);
    host.addEventListener('wheel', (event) => { this.wheel(event); }, {passive: false});
    host.addEventListener('pointerdown', (event) => { this.down(event); });
    host.addEventListener('pointermove', (event) => { this.move(event); });
    host.addEventListener('pointerup', (event) => { this.up(event); });
    host.addEventListener('pointercancel', (event) => { this.forget(event); });
    host.addEventListener('pointerleave', () => { this.events.hover?.(null); });
    host.addEventListener('keydown', (event) => { this.key(event); });
    document.addEventListener('mahlstick-room', () => { this.redraw(); });
  }

  show(content: Content): void {
    this.content = content;
    this.showWhole();
  }

  showWhole(): void {
    const {x0, y0, width, height} = this.content;
    const mm_per_css_px = Math.max(width / Math.max(1, this.placing.width - 24), height / Math.max(1, this.placing.height - 24));
    this.go([x0 + width / 2, y0 + height / 2], mm_per_css_px);
  }

  go(centre_mm: PointMm, mm_per_css_px = this.placing.mm_per_css_px): void {
    const {pitch, width, height} = this.content;
    const scale = Math.min(Math.max(width, height) / 60, Math.max(pitch / LARGEST_MAGNIFICATION, mm_per_css_px));
    this.placing = {...this.placing, centre_mm, mm_per_css_px: scale};
    this.redraw();
  }

  redraw(): void {
    if (this.isDrawing) return;
    this.isDrawing = true;
    requestAnimationFrame(() => {
      this.isDrawing = false;
      this.paint();
    });
  }

  placeOf(event: {clientX: number; clientY: number}): PointMm {
    return mmFromScreen(this.placing, this.pixelOf(event));
  }

  screenOf(place: PointMm): ScreenPoint {
    return screenFromMm(this.placing, place);
  }

  private pixelOf({clientX, clientY}: {clientX: number; clientY: number}): ScreenPoint {
    const box = this.host.getBoundingClientRect();
    return [clientX - box.left, clientY - box.top];
  }

  private resize(): void {
    const isFirst = this.placing.width === 0;
    this.placing = {...this.placing, width: this.host.clientWidth, height: this.host.clientHeight};
    if (isFirst) this.showWhole();
    this.redraw();
  }

  private paint(): void {
    const {width, height, centre_mm, mm_per_css_px} = this.placing;
    if (width === 0 || height === 0) return;
    // Where the picture stands, for whoever drives the page from outside.
    this.host.dataset.view = [...centre_mm, mm_per_css_px].join(' ');
    const {store} = this.content;
    const context = fitCanvas(this.picture, width, height);
    if (context && store) {
      const ratio = this.picture.width / width;
      const place = {centre_mm, mm_per_px: mm_per_css_px / ratio, rotation_rad: 0, isMirrored: false};
      for (const load of this.painter.paint(context, place, store)) void load().then(() => { this.redraw(); });
    }
    const marks = fitCanvas(this.marks, width, height);
    if (marks) this.events.draw(marks, (place) => this.screenOf(place));
  }

  private wheel(event: WheelEvent): void {
    event.preventDefault();
    this.scaleBy(Math.exp(event.deltaY * WHEEL), this.placeOf(event));
  }

  scaleBy(factor: number, fixed: PointMm = this.placing.centre_mm): void {
    const {centre_mm, mm_per_css_px} = this.placing;
    const part = (value: number, towards: number): number => towards + (value - towards) * factor;
    this.go([part(centre_mm[0], fixed[0]), part(centre_mm[1], fixed[1])], mm_per_css_px * factor);
  }

  private down(event: PointerEvent): void {
    this.host.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, {x: event.clientX, y: event.clientY});
    this.travelled = this.pointers.size > 1 ? STILL + 1 : 0;
    this.caught = this.pointers.size === 1 ? this.events.catchAt(this.pixelOf(event), event.pointerType === 'touch') : null;
  }

  private move(event: PointerEvent): void {
    this.events.hover?.(this.placeOf(event));
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = {x: event.clientX, y: event.clientY};
    this.travelled += Math.hypot(now.x - before.x, now.y - before.y);
    const other = [...this.pointers].find(([id]) => id !== event.pointerId)?.[1];
    this.pointers.set(event.pointerId, now);
    if (other) this.pinch(before, {now, other});
    else if (this.travelled <= STILL) return;
    else if (this.caught !== null) this.events.drag(this.caught, this.placeOf(event));
    else this.pan(now.x - before.x, now.y - before.y);
  }

  private pinch(before: {x: number; y: number}, {now, other}: {now: {x: number; y: number}; other: {x: number; y: number}}): void {
    const distance = (one: {x: number; y: number}): number => Math.hypot(one.x - other.x, one.y - other.y) || 1;
    this.pan((now.x - before.x) / 2, (now.y - before.y) / 2);
    this.scaleBy(distance(before) / distance(now), this.placeOf({clientX: (now.x + other.x) / 2, clientY: (now.y + other.y) / 2}));
  }

  private pan(right: number, down: number): void {
    const {centre_mm, mm_per_css_px} = this.placing;
    this.go([centre_mm[0] - right * mm_per_css_px, centre_mm[1] - down * mm_per_css_px]);
  }

  private up(event: PointerEvent): void {
    const wasOnly = this.pointers.size === 1;
    this.forget(event);
    if (wasOnly && this.travelled <= STILL && event.button <= 0) this.events.press(this.placeOf(event));
  }

  private forget(event: PointerEvent): void {
    this.pointers.delete(event.pointerId);
    if (this.pointers.size === 0) this.caught = null;
  }

  private key(event: KeyboardEvent): void {
    if (event.target !== this.host || event.ctrlKey || event.metaKey || event.altKey) return;
    const {width, height, centre_mm} = this.placing;
    const step = (part: number, size: number): number => (event.shiftKey ? Math.sign(part) : part * size * PAN_PART);
    const actions: Record<string, () => void> = {
      'ArrowLeft': () => { this.pan(step(1, width), 0); },
      'ArrowRight': () => { this.pan(-step(1, width), 0); },
      'ArrowUp': () => { this.pan(0, step(1, height)); },
      'ArrowDown': () => { this.pan(0, -step(1, height)); },
      '+': () => { this.scaleBy(1 / KEY_ZOOM); },
      '=': () => { this.scaleBy(1 / KEY_ZOOM); },
      '-': () => { this.scaleBy(KEY_ZOOM); },
      'Enter': () => { this.events.press(centre_mm); },
    };
    const action = actions[event.key];
    if (!action) return;
    event.preventDefault();
    action();
  }
}
