/** The measure of a shape on this page: which images its corners were picked in, and what their registrations add. */
import {isOpen, type AnnotationData, type OpenImage, type PointMm} from '../api/contract';
import {uncertaintyAt_mm} from '../compare/agreement';
import {cornersOf, type Drawing} from '../draw/drawing';
import type {ShapeKind} from '../draw/words';
import {isInside} from '../frame/polygons';
import type {Examination} from '../map/examination';
import {measureArea, measureDistance, measureLength, pick, RESOLVABLE_PX, type ErrorBudget, type Measurement, type Pick} from './measurements';

export interface Finer {
  image: OpenImage;
  resolvable_mm: number;
}

export type Measured =
  | {kind: 'place'; place_mm: PointMm}
  | {kind: 'value'; measurement: Measurement; isRegistrationKnown: boolean; share: number | null}
  | {kind: 'several'; count: number | null; area_mm2: number | null; area_uncertainty_mm2: number | null; share: number | null}
  | {kind: 'cannot'; image: OpenImage; resolvable_mm: number; finer: Finer | null};

export interface PickedCorner {
  place_mm: PointMm;
  image: OpenImage | null;
}

export function measuredWhileDrawing(drawing: Drawing, examination: Examination): Measured | null {
  const image = drawing.corners.at(-1)?.image ?? null;
  const next = drawing.phase === 'drawing' && drawing.next_mm && drawing.corners.length > 0 ? [{place_mm: drawing.next_mm, image}] : [];
  return measure(drawing.kind, [...drawing.corners, ...next], examination);
}

export function measuredOf(mark: AnnotationData, examination: Examination): Measured | null {
  const shape = cornersOf(mark.geometry);
  if (!shape) return severalOf(mark, examination);
  const image = examination.image(mark.drawn_on_image);
  const drawnOn = image && isOpen(image) ? image : null;
  return measure(shape.kind, shape.places_mm.map((place_mm) => ({place_mm, image: drawnOn})), examination);
}

/** Shapes of several parts are measured by the server, which joins what overlaps. */
function severalOf({geometry, measurements}: AnnotationData, examination: Examination): Measured | null {
  if (!measurements || measurements.can_resolve === false) return null;
  const {area_mm2, area_uncertainty_mm2} = measurements;
  const parts = 'coordinates' in geometry && geometry.type.startsWith('Multi') ? geometry.coordinates.length : null;
  return {
    kind: 'several', count: measurements.count ?? parts, area_mm2, area_uncertainty_mm2,
    share: area_mm2 === null ? null : shareOf(area_mm2, examination),
  };
}

/** Return the measure of picked corners; null while there is too little, or while no image stands behind a corner. */
export function measure(kind: ShapeKind, corners: readonly PickedCorner[], examination: Examination): Measured | null {
  const [first] = corners;
  if (!first) return null;
  if (kind === 'Point') return {kind: 'place', place_mm: first.place_mm};
  const images = corners.flatMap(({image}) => (image ? [image] : []));
  if (images.length < corners.length || corners.length < (kind === 'Polygon' ? 3 : 2)) return null;
  const {budget, isRegistrationKnown} = budgetOf(corners, images, examination);
  const measurement = measurementOf(kind, {corners, images, budget});
  if (!measurement.is_resolved) return cannot(measurement, {corners, images, examination});
  return {kind: 'value', measurement, isRegistrationKnown, share: kind === 'Polygon' ? shareOf(measurement.value, examination) : null};
}

function measurementOf(
  kind: ShapeKind, {corners, images, budget}: {corners: readonly PickedCorner[]; images: readonly OpenImage[]; budget: ErrorBudget},
): Measurement {
  const places_mm = corners.map(({place_mm}) => place_mm);
  const picks = images.map(pickIn);
  const [start, end] = places_mm;
  const [startPick, endPick] = picks;
  if (kind === 'LineString' && places_mm.length === 2 && start && end && startPick && endPick) {
    return measureDistance(start, end, [startPick, endPick], budget);
  }
  const coarsest = picks.reduce((worst, one) => (one.pitch_mm > worst.pitch_mm ? one : worst));
  return kind === 'Polygon' ? measureArea([places_mm], coarsest, budget) : measureLength(places_mm, coarsest, budget);
}

export function pixelOn_mm(image: OpenImage): number {
  return image.um_per_px === null ? image.grid.pitch_mm : image.um_per_px / 1000;
}

function pickIn(image: OpenImage): Pick {
  return pick(pixelOn_mm(image));
}

/** The registrations of all images picked in add in quadrature, from their local uncertainty (95 %, k = 2). */
function budgetOf(
  corners: readonly PickedCorner[], images: readonly OpenImage[], examination: Examination,
): {budget: ErrorBudget; isRegistrationKnown: boolean} {
  const middle_mm = middleOf(corners);
  const distinct = [...new Map(images.map((image) => [image.id, image])).values()];
  const standards = distinct.map((image) => {
    const grid = image.registration?.uncertainty;
    const u95_mm = grid ? uncertaintyAt_mm(grid, middle_mm) : null;
    return u95_mm === null ? null : u95_mm / 2;
  });
  const known = standards.filter((value) => value !== null);
  return {
    budget: {registration_mm: Math.hypot(...known), relative_scale: examination.data.frame.scale_uncertainty},
    isRegistrationKnown: known.length === standards.length,
  };
}

function middleOf(corners: readonly PickedCorner[]): PointMm {
  const sum = corners.reduce(([x, y], {place_mm}) => [x + place_mm[0], y + place_mm[1]] as const, [0, 0] as PointMm);
  return [sum[0] / corners.length, sum[1] / corners.length];
}

function cannot(
  measurement: Measurement, {corners, images, examination}: {corners: readonly PickedCorner[]; images: readonly OpenImage[]; examination: Examination},
): Measured | null {
  const [first] = images;
  if (!first) return null;
  const image = images.reduce((worst, one) => (pixelOn_mm(one) > pixelOn_mm(worst) ? one : worst), first);
  const size_mm = measurement.quantity === 'area' ? Math.sqrt(measurement.value) : measurement.value;
  const middle_mm = middleOf(corners);
  const finer = examination.openImages()
    .filter((other) => RESOLVABLE_PX * pixelOn_mm(other) <= size_mm && other.footprint_mm !== null && isInside(middle_mm, other.footprint_mm))
    .sort((one, other) => pixelOn_mm(other) - pixelOn_mm(one))[0];
  return {
    kind: 'cannot',
    image,
    resolvable_mm: measurement.resolvable_mm,
    finer: finer ? {image: finer, resolvable_mm: RESOLVABLE_PX * pixelOn_mm(finer)} : null,
  };
}

/** Return the part of the painted surface, when somebody has drawn its outline. */
function shareOf(area_mm2: number, {data}: Examination): number | null {
  const rings = data.frame.outline_mm?.coordinates;
  if (!rings?.[0]) return null;
  const surface = measureArea(rings.map((ring) => ring.map(([x_mm = 0, y_mm = 0]) => [x_mm, y_mm] as const)), pick(data.frame.canvas_pitch_mm));
  return surface.value > 0 ? area_mm2 / surface.value : null;
}
