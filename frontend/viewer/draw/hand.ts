/** The hand on the painting: mouse, pen, finger and keys, whether it looks, draws or moves a corner. */
import DoubleClickZoom from 'ol/interaction/DoubleClickZoom';
import DragPan from 'ol/interaction/DragPan';

import type {PointMm} from '../api/contract';
import type {Examination} from '../map/examination';
import type {ExaminationMap} from '../map/examination_map';
import type {Drawing} from './drawing';
import {edgeNear} from './edges';
import type {MarksLayer} from './marks_layer';

/** CSS pixels: a corner is caught from this far, by mouse and by finger. */
const CATCH_MOUSE = 10;
const CATCH_TOUCH = 24;
/** CSS pixels of travel up to which a press is a press. */
const STILL = 5;
const PAN_PART = 0.15;
const KEY_ZOOM = Math.SQRT2;

export interface HandEvents {
  /** A finger aims at a place, or has left: the loupe stands by. */
  aim: (place_mm: PointMm | null) => void;
  /** Keys moved the view: say the new place to readers. */
  keyed: () => void;
}

export class Hand {
  private down: {x: number; y: number; pointerId: number} | null = null;
  private caught: number | null = null;
  private fingers = new Set<number>();

  constructor(
    private readonly wall: ExaminationMap,
    private readonly examination: Examination,
    private readonly drawing: Drawing,
    private readonly parts: {marks: MarksLayer; events: HandEvents},
  ) {
    const {target} = wall;
    target.addEventListener('pointerdown', (event) => { this.press(event); });
    target.addEventListener('pointermove', (event) => { this.travel(event); });
    target.addEventListener('pointerup', (event) => { this.lift(event); });
    target.addEventListener('pointercancel', (event) => { this.leave(event); });
    target.addEventListener('pointerleave', (event) => { this.leave(event); });
    target.addEventListener('keydown', (event) => { this.key(event); });
    drawing.on(() => { this.setInteractions(); });
  }

  /** While drawing, one finger draws and two move the painting; a double press ends the shape in place of zooming. */
  private setInteractions(): void {
    const isDrawing = this.drawing.phase === 'drawing';
    for (const interaction of this.wall.map.getInteractions().getArray()) {
      if (interaction instanceof DoubleClickZoom) interaction.setActive(!isDrawing);
    }
    this.wall.target.classList.toggle('is-drawing', isDrawing);
  }

  private setPanning(isOn: boolean): void {
    for (const interaction of this.wall.map.getInteractions().getArray()) {
      if (interaction instanceof DragPan) interaction.setActive(isOn);
    }
  }

  private press(event: PointerEvent): void {
    const isTouch = event.pointerType === 'touch';
    if (isTouch) this.fingers.add(event.pointerId);
    if (this.fingers.size > 1) {
      this.down = null;
      this.parts.events.aim(null);
      return;
    }
    this.down = {x: event.clientX, y: event.clientY, pointerId: event.pointerId};
    const place_mm = this.wall.mmFromEvent(event);
    if (this.drawing.phase === 'reshaping') this.caught = this.cornerNear(event) ?? this.cornerOnEdge(event);
    const isAiming = isTouch && this.drawing.phase === 'drawing';
    if (isAiming || this.caught !== null) this.setPanning(false);
    if (isAiming || (isTouch && this.caught !== null)) this.parts.events.aim(place_mm);
    if (isAiming) this.drawing.hover(place_mm);
    if (isTouch) this.examination.point(place_mm);
  }

  private travel(event: PointerEvent): void {
    if (this.fingers.size > 1) return;
    const place_mm = this.wall.mmFromEvent(event);
    this.examination.point(place_mm);
    if (this.caught !== null) this.drawing.move(this.caught, place_mm);
    const isTouch = event.pointerType === 'touch';
    if (isTouch && this.down && (this.drawing.phase === 'drawing' || this.caught !== null)) this.parts.events.aim(place_mm);
    if (!isTouch || this.down) this.drawing.hover(place_mm);
  }

  private lift(event: PointerEvent): void {
    this.fingers.delete(event.pointerId);
    this.setPanning(true);
    this.parts.events.aim(null);
    const {down} = this;
    this.down = null;
    if (this.caught !== null) {
      this.caught = null;
      return;
    }
    if (down?.pointerId !== event.pointerId || event.button > 0) return;
    const place_mm = this.wall.mmFromEvent(event);
    const isStill = Math.hypot(event.clientX - down.x, event.clientY - down.y) <= STILL;
    if (this.drawing.phase === 'drawing' && (isStill || event.pointerType === 'touch')) {
      this.set(place_mm);
      return;
    }
    if (isStill) this.choose(event);
  }

  /** A press on the last corner, as in a double press, or on the first of an area ends the shape. */
  private set(place_mm: PointMm): void {
    const {drawing} = this;
    const reach_mm = STILL * 1.5 * this.wall.placing.mm_per_css_px;
    const ends = drawing.kind === 'Polygon' ? [drawing.corners.at(-1), drawing.corners[0]] : [drawing.corners.at(-1)];
    const isOnEnd = ends.some((corner) => corner && Math.hypot(corner.place_mm[0] - place_mm[0], corner.place_mm[1] - place_mm[1]) <= reach_mm);
    if (!isOnEnd) drawing.add(place_mm);
    else if (drawing.canFinish) drawing.finish();
  }

  private leave(event: PointerEvent): void {
    this.fingers.delete(event.pointerId);
    if (event.type === 'pointercancel') {
      this.down = null;
      this.caught = null;
      this.setPanning(true);
    }
    this.parts.events.aim(null);
    if (event.pointerType === 'mouse') {
      this.examination.point(null);
      this.drawing.hover(null);
    }
  }

  private choose(event: PointerEvent): void {
    if (this.drawing.isActive) return;
    const box = this.wall.target.getBoundingClientRect();
    const mark = this.parts.marks.markAt([event.clientX - box.left, event.clientY - box.top]);
    if (mark) this.examination.change({openMark: mark.id});
  }

  private cornerNear(event: PointerEvent): number | null {
    const box = this.wall.target.getBoundingClientRect();
    const reach = event.pointerType === 'mouse' ? CATCH_MOUSE : CATCH_TOUCH;
    const distances = this.drawing.corners.map(({place_mm}) => {
      const [x, y] = this.wall.pixelFromMm(place_mm);
      return Math.hypot(x - (event.clientX - box.left), y - (event.clientY - box.top));
    });
    const nearest = Math.min(...distances);
    return nearest <= reach ? distances.indexOf(nearest) : null;
  }

  /** A press on an edge sets a new corner there, which then follows the hand. */
  private cornerOnEdge(event: PointerEvent): number | null {
    const box = this.wall.target.getBoundingClientRect();
    const screen = this.drawing.corners.map(({place_mm}) => this.wall.pixelFromMm(place_mm));
    const edge = edgeNear(screen, [event.clientX - box.left, event.clientY - box.top], {
      isClosed: this.drawing.kind === 'Polygon',
      reach: event.pointerType === 'mouse' ? CATCH_MOUSE : CATCH_TOUCH,
    });
    if (edge === null) return null;
    this.drawing.insert(edge + 1, this.wall.mmFromEvent(event));
    return edge + 1;
  }

  private key(event: KeyboardEvent): void {
    if (event.target !== this.wall.target || event.ctrlKey || event.metaKey || event.altKey) return;
    const {width, height} = this.wall.placing;
    const pan = (right: number, down: number) => (): void => {
      if (event.shiftKey) this.wall.panBy(Math.sign(right), Math.sign(down));
      else this.wall.panBy(right * width * PAN_PART, down * height * PAN_PART);
    };
    const actions: Record<string, () => void> = {
      'ArrowLeft': pan(-1, 0),
      'ArrowRight': pan(1, 0),
      'ArrowUp': pan(0, -1),
      'ArrowDown': pan(0, 1),
      '+': () => { this.wall.scaleBy(1 / KEY_ZOOM); },
      '=': () => { this.wall.scaleBy(1 / KEY_ZOOM); },
      '-': () => { this.wall.scaleBy(KEY_ZOOM); },
      'Enter': () => { this.enter(); },
      'Backspace': () => { if (this.drawing.phase === 'drawing') this.drawing.undo(); },
      'Escape': () => { if (this.drawing.isActive) this.drawing.giveUp(); else this.examination.change({openMark: null}); },
    };
    const action = actions[event.key];
    if (!action) return;
    event.preventDefault();
    this.examination.point(null);
    action();
    if (this.drawing.phase === 'drawing') this.drawing.hover(this.wall.placing.centre_mm);
    this.parts.events.keyed();
  }

  /** Enter sets a corner at the cross in the middle; on the place just set, it ends the shape. */
  private enter(): void {
    const {centre_mm, mm_per_css_px} = this.wall.placing;
    if (this.drawing.phase === 'drawing') {
      const last = this.drawing.corners.at(-1)?.place_mm;
      const isSamePlace = last !== undefined && Math.hypot(last[0] - centre_mm[0], last[1] - centre_mm[1]) < mm_per_css_px;
      if (isSamePlace) this.drawing.finish();
      else this.drawing.add(centre_mm);
      return;
    }
    if (this.drawing.isActive) return;
    const {width, height} = this.wall.placing;
    const mark = this.parts.marks.markAt([width / 2, height / 2]);
    if (mark) this.examination.change({openMark: mark.id});
  }
}
