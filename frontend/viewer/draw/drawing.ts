/** A shape under the hand: corners in millimetres, what is being said, and the image under each corner. */
import type {Geometry} from 'geojson';

import {isOpen, type AnnotationData, type OpenImage, type PointMm} from '../api/contract';
import type {Examination} from '../map/examination';
import {LEAST_CORNERS, type ShapeKind, type Word} from './words';

export interface Corner {
  place_mm: PointMm;
  /** The image that was visible at this corner when it was set. */
  image: OpenImage | null;
}

export type Phase = 'idle' | 'drawing' | 'saying' | 'reshaping';

export class Drawing {
  phase: Phase = 'idle';
  word: Word | null = null;
  kind: ShapeKind = 'LineString';
  corners: Corner[] = [];
  /** Where the next corner would lie; null while no hand is near. */
  next_mm: PointMm | null = null;
  reshaped: AnnotationData | null = null;
  private readonly listeners = new Set<() => void>();

  constructor(private readonly examination: Examination, private readonly imageAt: (place_mm: PointMm) => OpenImage | null) {}

  on(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  get isActive(): boolean {
    return this.phase !== 'idle';
  }

  get canFinish(): boolean {
    return this.corners.length >= LEAST_CORNERS[this.kind];
  }

  begin(word: Word): void {
    this.reset();
    this.word = word;
    this.kind = word.kind;
    this.phase = 'drawing';
    this.examination.change({openMark: null});
    this.tell();
  }

  add(place_mm: PointMm): void {
    if (this.phase !== 'drawing') return;
    this.corners = [...this.corners, {place_mm, image: this.imageAt(place_mm)}];
    if (this.kind === 'Point') this.finish();
    else this.tell();
  }

  hover(place_mm: PointMm | null): void {
    if (this.phase !== 'drawing') return;
    this.next_mm = place_mm;
    this.tell();
  }

  undo(): void {
    if (this.phase === 'saying') this.phase = 'drawing';
    this.corners = this.corners.slice(0, -1);
    this.tell();
  }

  finish(): void {
    if (this.phase !== 'drawing' || !this.canFinish) return;
    this.phase = 'saying';
    this.next_mm = null;
    this.tell();
  }

  /** Take a kept mark's corners into the hand. */
  reshape(mark: AnnotationData): void {
    const shape = cornersOf(mark.geometry);
    if (!shape) return;
    this.reset();
    this.reshaped = mark;
    this.kind = shape.kind;
    const drawnOn = this.examination.image(mark.drawn_on_image);
    this.corners = shape.places_mm.map((place_mm) => ({
      place_mm,
      // A corner stays picked where it was picked, until it is moved.
      image: drawnOn && isOpen(drawnOn) ? drawnOn : this.imageAt(place_mm),
    }));
    this.phase = 'reshaping';
    this.tell();
  }

  move(index: number, place_mm: PointMm): void {
    this.corners = this.corners.map((corner, at) => (at === index ? {place_mm, image: this.imageAt(place_mm)} : corner));
    this.tell();
  }

  insert(index: number, place_mm: PointMm): void {
    this.corners = this.corners.toSpliced(index, 0, {place_mm, image: this.imageAt(place_mm)});
    this.tell();
  }

  remove(index: number): void {
    if (this.corners.length <= LEAST_CORNERS[this.kind]) return;
    this.corners = this.corners.toSpliced(index, 1);
    this.tell();
  }

  giveUp(): void {
    this.reset();
    this.tell();
  }

  /** The corners, with the place under the hand while drawing. */
  places_mm(): PointMm[] {
    const set = this.corners.map(({place_mm}) => place_mm);
    return this.phase === 'drawing' && this.next_mm ? [...set, this.next_mm] : set;
  }

  geometry(): Geometry | null {
    return geometryOf(this.kind, this.corners.map(({place_mm}) => place_mm));
  }

  private reset(): void {
    this.phase = 'idle';
    this.word = null;
    this.corners = [];
    this.next_mm = null;
    this.reshaped = null;
  }

  private tell(): void {
    for (const listener of this.listeners) listener();
  }
}

export function geometryOf(kind: ShapeKind, places_mm: readonly PointMm[]): Geometry | null {
  const [first] = places_mm;
  if (!first || places_mm.length < LEAST_CORNERS[kind]) return null;
  const coordinates = places_mm.map(([x_mm, y_mm]) => [x_mm, y_mm]);
  if (kind === 'Point') return {type: 'Point', coordinates: [first[0], first[1]]};
  if (kind === 'LineString') return {type: 'LineString', coordinates};
  return {type: 'Polygon', coordinates: [[...coordinates, [first[0], first[1]]]]};
}

/** Return the corners of a simple shape; null for shapes of several parts, which this page shows but does not reshape. */
export function cornersOf(geometry: Geometry): {kind: ShapeKind; places_mm: PointMm[]} | null {
  const places = (positions: number[][]): PointMm[] => positions.map(([x_mm = 0, y_mm = 0]) => [x_mm, y_mm]);
  if (geometry.type === 'Point') return {kind: 'Point', places_mm: places([geometry.coordinates])};
  if (geometry.type === 'LineString') return {kind: 'LineString', places_mm: places(geometry.coordinates)};
  const [ring] = geometry.type === 'Polygon' && geometry.coordinates.length === 1 ? geometry.coordinates : [];
  return ring ? {kind: 'Polygon', places_mm: places(ring.slice(0, -1))} : null;
}
