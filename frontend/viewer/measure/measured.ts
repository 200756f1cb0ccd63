/** The measure of a shape with its uncertainty, or the reason why the images cannot give it. */
import type {AnnotationData, OpenImage, PointMm} from '../api/contract';
import {isOpen} from '../api/contract';
import {uncertaintyAt_mm} from '../compare/agreement';
import {cornersOf, type Drawing} from '../draw/drawing';
import type {ShapeKind} from '../draw/words';
import type {Examination} from '../map/examination';

/** Below this many pixels of the coarser image nothing is a number. */
export const LEAST_PIXELS = 3;

export type Measured =
  | {kind: 'place'; place_mm: PointMm}
  | {kind: 'length' | 'area'; value: number; expanded: number; parts: MeasuredParts; share: number | null}
  | {kind: 'cannot'; image: OpenImage; resolves_mm: number; finer: {image: OpenImage; resolves_mm: number} | null};

/** Parts of the expanded uncertainty (95 %), in the unit of the value; null where nothing is known. */
export interface MeasuredParts {
  picking: number;
  registration: number | null;
  scale: number;
}

export interface PickedCorner {
  place_mm: PointMm;
  image: OpenImage | null;
}

export function measuredWhileDrawing(drawing: Drawing, examination: Examination): Measured | null {
  const next = drawing.phase === 'drawing' && drawing.next_mm ? [{place_mm: drawing.next_mm, image: drawing.corners.at(-1)?.image ?? null}] : [];
  return measure(drawing.kind, [...drawing.corners, ...next], examination);
}

export function measuredOf(mark: AnnotationData, examination: Examination): Measured | null {
  const shape = cornersOf(mark.geometry);
  const image = examination.image(mark.drawn_on_image);
  const drawnOn = image && isOpen(image) ? image : null;
  return shape ? measure(shape.kind, shape.places_mm.map((place_mm) => ({place_mm, image: drawnOn})), examination) : null;
}

export function measure(kind: ShapeKind, corners: PickedCorner[], examination: Examination): Measured | null {
  void kind; void corners; void examination; void uncertaintyAt_mm;
  return null;
}
