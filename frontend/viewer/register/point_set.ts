/** The points of a registration under way: the same feature on the work (mm) and in the image (px). */
import type {PointMm, PointPx} from '../api/contract';

export type PointKind = 'control' | 'check';

export interface SetPoint {
  label: string;
  kind: PointKind;
  x_mm: number;
  y_mm: number;
  x_px: number;
  y_px: number;
}

/** What the last fit said of a point. */
export interface FittedPoint extends SetPoint {
  residual_mm: number | null;
  leave_one_out_mm: number | null;
  is_slip: boolean;
}

export type Side = 'work' | 'image';

export class PointSet {
  points: SetPoint[] = [];
  /** The half of a point that is set already. */
  pending: {mm: PointMm | null; px: PointPx | null} = {mm: null, px: null};
  nextKind: PointKind = 'control';
  chosen: string | null = null;
  fitted = new Map<string, FittedPoint>();
  private readonly listeners = new Set<() => void>();

  on(listener: () => void): void {
    this.listeners.add(listener);
  }

  /** Set one half; with the other half there, the point is made and named. */
  set(side: Side, place: PointMm): void {
    this.pending = side === 'work' ? {...this.pending, mm: place} : {...this.pending, px: place};
    const {mm, px} = this.pending;
    if (mm && px) {
      const point = {label: this.freeLabel(), kind: this.nextKind, x_mm: mm[0], y_mm: mm[1], x_px: px[0], y_px: px[1]};
      this.points = [...this.points, point];
      this.pending = {mm: null, px: null};
      this.chosen = point.label;
    }
    this.tell();
  }

  change(label: string, patch: Partial<SetPoint>): void {
    this.points = this.points.map((point) => (point.label === label ? {...point, ...patch} : point));
    // A moved point is no longer the one that was fitted.
    this.fitted.delete(label);
    this.tell();
  }

  remove(label: string): void {
    this.points = this.points.filter((point) => point.label !== label);
    this.fitted.delete(label);
    if (this.chosen === label) this.chosen = null;
    this.tell();
  }

  choose(label: string | null): void {
    this.chosen = label;
    this.tell();
  }

  dropPending(): void {
    this.pending = {mm: null, px: null};
    this.tell();
  }

  replace(points: SetPoint[]): void {
    this.points = points;
    this.fitted.clear();
    this.chosen = null;
    this.tell();
  }

  take(fitted: FittedPoint[]): void {
    this.fitted = new Map(fitted.map((point) => [point.label, point]));
    this.tell();
  }

  setNextKind(kind: PointKind): void {
    this.nextKind = kind;
    this.tell();
  }

  count(kind: PointKind): number {
    return this.points.filter((point) => point.kind === kind).length;
  }

  private freeLabel(): string {
    const taken = new Set(this.points.map(({label}) => label));
    let number = this.points.length + 1;
    while (taken.has(`P${String(number)}`)) number += 1;
    return `P${String(number)}`;
  }

  private tell(): void {
    for (const listener of this.listeners) listener();
  }
}
