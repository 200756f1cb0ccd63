/** The two views of the control-point page and what happens when one of them is pressed. */
import {isOpen, type ImageData, type PointMm, type PointsData} from '../api/contract';
import {roundStep_mm} from '../map/graduation';
import {PlainView} from '../map/plain_view';
import {drawExpected, drawFrame, drawPending, drawPoints, type DrawingTools} from './point_drawing';
import type {PointSet, SetPoint, Side} from './point_set';
import {expectedPlace} from './prediction';
import {rawContent, workContent} from './pictures';
import type {ScreenPoint} from '../compare/stick';

const CATCH_MOUSE = 11;
const CATCH_TOUCH = 26;

export class PointBench {
  readonly views: Record<Side, PlainView>;
  reference: ImageData | null;
  /** What the close-ups look at: the side under the hand and its place. */
  looking: {side: Side; place: PointMm} | null = null;
  private readonly watchers = new Set<() => void>();

  constructor(readonly data: PointsData, readonly set: PointSet, hosts: Record<Side, HTMLElement>) {
    this.reference = data.references.find(isOpen) ?? null;
    const raw = rawContent(data.image);
    if (!raw) throw new Error('The image has no tiles in its own pixels.');
    this.views = {
      work: new PlainView(hosts.work, workContent(data.frame, this.reference), this.eventsOf('work')),
      image: new PlainView(hosts.image, raw, this.eventsOf('image')),
    };
    set.on(() => {
      this.views.work.redraw();
      this.views.image.redraw();
    });
  }

  watch(watcher: () => void): void {
    this.watchers.add(watcher);
  }

  showReference(id: string): void {
    this.reference = this.data.references.find((image) => image.id === id) ?? null;
    this.views.work.show(workContent(this.data.frame, this.reference));
    this.tell();
  }

  /** Bring a point to the middle of both views. */
  goTo(point: SetPoint): void {
    this.set.choose(point.label);
    this.views.work.go(placeOn('work', point));
    this.views.image.go(placeOn('image', point));
    this.looking = {side: 'work', place: placeOn('work', point)};
    this.tell();
  }

  private eventsOf(side: Side): ConstructorParameters<typeof PlainView>[2] {
    return {
      press: (place) => { this.press(side, place); },
      catchAt: (at, isTouch) => this.caughtAt(side, {at, isTouch}),
      drag: (caught, place) => { this.drag(side, {caught, place}); },
      draw: (context, toScreen) => { this.draw(side, {context, toScreen}); },
      hover: (place) => {
        this.looking = place ? {side, place} : null;
        this.tell();
      },
    };
  }

  private press(side: Side, place: PointMm): void {
    const view = this.views[side];
    const caught = this.caughtAt(side, {at: view.screenOf(place), isTouch: false});
    const point = caught === null ? undefined : this.set.points[caught];
    if (point) {
      this.goTo(point);
      return;
    }
    const other: Side = side === 'work' ? 'image' : 'work';
    this.set.set(side, place);
    const isWaiting = this.set.pending.mm !== null || this.set.pending.px !== null;
    const expected = isWaiting ? expectedPlace(this.set.points, place, side) : null;
    if (expected) this.views[other].go(expected);
  }

  private caughtAt(side: Side, {at, isTouch}: {at: ScreenPoint; isTouch: boolean}): number | null {
    const view = this.views[side];
    const distances = this.set.points.map((point) => {
      const [x, y] = view.screenOf(placeOn(side, point));
      return Math.hypot(x - at[0], y - at[1]);
    });
    const nearest = Math.min(...distances);
    return nearest <= (isTouch ? CATCH_TOUCH : CATCH_MOUSE) ? distances.indexOf(nearest) : null;
  }

  private drag(side: Side, {caught, place}: {caught: number; place: PointMm}): void {
    const point = this.set.points[caught];
    if (!point) return;
    this.set.chosen = point.label;
    this.set.change(point.label, side === 'work' ? {x_mm: place[0], y_mm: place[1]} : {x_px: place[0], y_px: place[1]});
    this.looking = {side, place};
    this.tell();
  }

  private draw(side: Side, tools: DrawingTools): void {
    const {frame} = this.data;
    if (side === 'work' && !this.reference) drawFrame(tools, frame, roundStep_mm(this.views.work.placing.mm_per_css_px, 40));
    drawPoints(tools, this.set, (point) => placeOn(side, point));
    const {mm, px} = this.set.pending;
    const own = side === 'work' ? mm : px;
    const others = side === 'work' ? px : mm;
    if (own) drawPending(tools, own, this.set.nextKind === 'check');
    const expected = others ? expectedPlace(this.set.points, others, side === 'work' ? 'image' : 'work') : null;
    if (expected) drawExpected(tools, expected);
  }

  private tell(): void {
    for (const watcher of this.watchers) watcher();
  }
}

export function placeOn(side: Side, {x_mm, y_mm, x_px, y_px}: SetPoint): PointMm {
  return side === 'work' ? [x_mm, y_mm] : [x_px, y_px];
}
