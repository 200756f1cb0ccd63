/**
 * Lengths, areas and angles in frame millimetres with their uncertainty; twin of `measurements.py`.
 * Contributions are added in quadrature (GUM 5.1.2) and expanded with k = 2.
 */
import type {PlaceMm} from '../frame/units';

export const COVERAGE_FACTOR = 2;
/** Below this many pixels of the coarser image a length is not told from a blur. */
export const RESOLVABLE_PX = 3;

/** How places are picked in one image: pixel side on the face, and repeatability (standard deviation, 1 axis). */
export interface Pick {
  readonly pitch_mm: number;
  readonly repeatability_px: number;
}

/** Standard uncertainties that add to the picks. */
export interface ErrorBudget {
  readonly registration_mm: number;
  readonly relative_scale: number;
}

export interface Contribution {
  readonly source: 'first end' | 'second end' | 'vertices' | 'registration' | 'scale';
  readonly standard: number;
}

export interface Measurement {
  readonly quantity: 'distance' | 'length' | 'area' | 'angle';
  readonly value: number;
  /** Expanded, k = 2. */
  readonly uncertainty: number;
  readonly unit: 'mm' | 'mm2' | 'deg';
  readonly parts: readonly Contribution[];
  readonly is_resolved: boolean;
  readonly resolvable_mm: number;
  readonly sentence: 'value' | 'cross_modal' | 'not_resolved';
}

export const NO_BUDGET: ErrorBudget = {registration_mm: 0, relative_scale: 0};

export function pick(pitch_mm: number, repeatability_px = 1): Pick {
  if (!(pitch_mm > 0 && Number.isFinite(pitch_mm))) throw new RangeError(`pitch_mm must be above zero, got ${String(pitch_mm)}`);
  if (!(repeatability_px >= 0)) throw new RangeError(`repeatability_px must not be negative, got ${String(repeatability_px)}`);
  return {pitch_mm, repeatability_px};
}

/** Return the standard uncertainty of a picked place along one axis. */
export function pickSigma_mm({pitch_mm, repeatability_px}: Pick): number {
  return pitch_mm * Math.sqrt(1 / 12 + repeatability_px ** 2);
}

/** Return the smallest length that the coarser of the images tells from a blur. */
export function resolvable_mm(picks: readonly Pick[]): number {
  return RESOLVABLE_PX * Math.max(...picks.map(({pitch_mm}) => pitch_mm));
}

export function measureDistance(start_mm: PlaceMm, end_mm: PlaceMm, picks: readonly [Pick, Pick], budget: ErrorBudget = NO_BUDGET): Measurement {
  const length_mm = distance(start_mm, end_mm);
  const parts: Contribution[] = [
    {source: 'first end', standard: pickSigma_mm(picks[0])},
    {source: 'second end', standard: pickSigma_mm(picks[1])},
    ...budgetParts(budget, length_mm),
  ];
  const result = measured({quantity: 'distance', value: length_mm, unit: 'mm', parts}, picks, length_mm);
  const [first, second] = picks;
  const isSameImage = first.pitch_mm === second.pitch_mm && first.repeatability_px === second.repeatability_px;
  const isCrossModal = result.is_resolved && (!isSameImage || budget.registration_mm > 0);
  return isCrossModal ? {...result, sentence: 'cross_modal'} : result;
}

/** Return the length of a line; closed when its last place repeats the first. */
export function measureLength(places_mm: readonly PlaceMm[], inImage: Pick, budget: ErrorBudget = NO_BUDGET): Measurement {
  if (places_mm.length < 2) throw new RangeError(`A line needs two places, got ${String(places_mm.length)}.`);
  const value = pairs(places_mm).reduce((sum, [a, b]) => sum + distance(a, b), 0);
  const vertices = pickSigma_mm(inImage) * Math.sqrt(lengthGradientSquares(places_mm));
  const parts: Contribution[] = [{source: 'vertices', standard: vertices}, ...budgetParts(budget, value)];
  return measured({quantity: 'length', value, unit: 'mm', parts}, [inImage], value);
}

/** Return the area of one polygon: its outline first, then its holes; rings may be open or closed. */
export function measureArea(rings_mm: readonly (readonly PlaceMm[])[], inImage: Pick, budget: ErrorBudget = NO_BUDGET): Measurement {
  const [outline = [], ...holes] = rings_mm.map(opened);
  const value = Math.abs(ringArea(outline)) - holes.reduce((sum, hole) => sum + Math.abs(ringArea(hole)), 0);
  const squares = [outline, ...holes].reduce((sum, ring) => sum + areaGradientSquares(ring), 0);
  const parts: Contribution[] = [
    {source: 'vertices', standard: 0.5 * pickSigma_mm(inImage) * Math.sqrt(squares)},
    ...budgetParts({registration_mm: 0, relative_scale: budget.relative_scale}, 2 * value),
  ];
  return measured({quantity: 'area', value, unit: 'mm2', parts}, [inImage], Math.sqrt(Math.max(value, 0)));
}

/** Return the axial angle to the frame's x axis, 0 up to 180 degrees, anticlockwise as seen on the face. */
export function measureAngle(start_mm: PlaceMm, end_mm: PlaceMm, picks: readonly [Pick, Pick], budget: ErrorBudget = NO_BUDGET): Measurement {
  const length_mm = distance(start_mm, end_mm);
  if (length_mm === 0) throw new RangeError('An angle needs two places apart.');
  const degrees = (sigma_mm: number): number => (sigma_mm / length_mm) * (180 / Math.PI);
  const all: Contribution[] = [
    {source: 'first end', standard: degrees(pickSigma_mm(picks[0]))},
    {source: 'second end', standard: degrees(pickSigma_mm(picks[1]))},
    {source: 'registration', standard: degrees(budget.registration_mm)},
  ];
  const angle_deg = Math.atan2(-(end_mm[1] - start_mm[1]), end_mm[0] - start_mm[0]) * (180 / Math.PI);
  const value = ((angle_deg % 180) + 180) % 180;
  return measured({quantity: 'angle', value, unit: 'deg', parts: all.filter(({standard}) => standard > 0)}, picks, length_mm);
}

function measured(
  what: Omit<Measurement, 'uncertainty' | 'is_resolved' | 'resolvable_mm' | 'sentence'>, picks: readonly Pick[], size_mm: number,
): Measurement {
  const smallest_mm = resolvable_mm(picks);
  const is_resolved = size_mm >= smallest_mm;
  return {
    ...what,
    uncertainty: COVERAGE_FACTOR * Math.hypot(...what.parts.map(({standard}) => standard)),
    is_resolved,
    resolvable_mm: smallest_mm,
    sentence: is_resolved ? 'value' : 'not_resolved',
  };
}

function budgetParts({registration_mm, relative_scale}: ErrorBudget, size: number): Contribution[] {
  const parts: Contribution[] = [
    {source: 'registration', standard: registration_mm},
    {source: 'scale', standard: relative_scale * size},
  ];
  return parts.filter(({standard}) => standard > 0);
}

function distance(a: PlaceMm, b: PlaceMm): number {
  return Math.hypot(b[0] - a[0], b[1] - a[1]);
}

function pairs(places_mm: readonly PlaceMm[]): (readonly [PlaceMm, PlaceMm])[] {
  return places_mm.slice(1).map((place, index) => [places_mm[index] ?? place, place]);
}

function isSame(a: PlaceMm | undefined, b: PlaceMm | undefined): boolean {
  return a !== undefined && b !== undefined && a[0] === b[0] && a[1] === b[1];
}

function opened(ring_mm: readonly PlaceMm[]): readonly PlaceMm[] {
  return ring_mm.length > 1 && isSame(ring_mm[0], ring_mm.at(-1)) ? ring_mm.slice(0, -1) : ring_mm;
}

/** Return the sum of squared changes of the length by each vertex: its change of direction, 1 at an end. */
function lengthGradientSquares(places_mm: readonly PlaceMm[]): number {
  const directions = pairs(places_mm)
    .map(([a, b]) => ({x: b[0] - a[0], y: b[1] - a[1], length: distance(a, b)}))
    .filter(({length}) => length > 0)
    .map(({x, y, length}) => ({x: x / length, y: y / length}));
  const none = {x: 0, y: 0};
  const isClosed = isSame(places_mm[0], places_mm.at(-1));
  const before = isClosed ? [directions.at(-1) ?? none, ...directions.slice(0, -1)] : [none, ...directions];
  const after = isClosed ? directions : [...directions, none];
  return before.reduce((sum, {x, y}, index) => sum + (x - (after[index]?.x ?? 0)) ** 2 + (y - (after[index]?.y ?? 0)) ** 2, 0);
}

/** Return the signed area of an open ring, relative to its first place, so that far from the datum no figures are lost. */
function ringArea(ring_mm: readonly PlaceMm[]): number {
  const [x0, y0] = ring_mm[0] ?? [0, 0];
  return 0.5 * ring_mm.reduce((sum, [x1, y1], index) => {
    const [x2, y2] = ring_mm[(index + 1) % ring_mm.length] ?? [x1, y1];
    return sum + (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0);
  }, 0);
}

function areaGradientSquares(ring_mm: readonly PlaceMm[]): number {
  const at = (index: number): PlaceMm => ring_mm[(index + ring_mm.length) % ring_mm.length] ?? [0, 0];
  return ring_mm.reduce((sum, _, index) => sum + distance(at(index - 1), at(index + 1)) ** 2, 0);
}
