/** Marks: a white core in a dark casing, certainty as the pattern of the core, the key on a plate. */
import type {Geometry as OlGeometry} from 'ol/geom';
import {LineString, MultiPoint, Polygon} from 'ol/geom';
import {Fill, RegularShape, Stroke, Style, Text} from 'ol/style';

import type {Certainty} from '../api/contract';

export interface MarkLook {
  core: string;
  casing: string;
}

const CASING_WIDTH = 4.5;
const CORE_WIDTH = 1.8;
const OPEN_EXTRA = 0.8;
/** CSS pixels between the ticks that cross out a rejected mark. */
const CROSS_EVERY = 22;

/** Patterns in CSS pixels: certain is unbroken, and so is a mark whose certainty nobody has stated. */
const PATTERNS: Record<Certainty, number[] | undefined> = {
  certain: undefined,
  probable: [15, 5],
  possible: [6.5, 5],
  unlikely: [1.2, 5],
  rejected: undefined,
};

export interface MarkStyling {
  certainty: Certainty | null;
  key: string;
  isOpen: boolean;
  look: MarkLook;
  /** View units per CSS pixel, for what is spaced on the screen. */
  resolution: number;
}

export function markStyles(geometry: OlGeometry, styling: MarkStyling): Style[] {
  const {look, isOpen, certainty} = styling;
  const extra = isOpen ? OPEN_EXTRA : 0;
  const pattern = certainty ? PATTERNS[certainty] : undefined;
  const core: ConstructorParameters<typeof Stroke>[0] = {color: look.core, width: CORE_WIDTH + extra, lineCap: 'butt', lineJoin: 'miter'};
  if (pattern) core.lineDash = pattern;
  const styles = [
    new Style({stroke: new Stroke({color: look.casing, width: CASING_WIDTH + extra, lineCap: 'square', lineJoin: 'miter'}), image: square(7, look), zIndex: isOpen ? 3 : 1}),
    new Style({stroke: new Stroke(core), zIndex: isOpen ? 4 : 2}),
  ];
  if (certainty === 'rejected') styles.push(crossings(geometry, styling));
  if (styling.key) styles.push(plate(geometry, styling));
  return styles;
}

/** A corner that can be dragged is round; a mark that is a point is square. */
export function handleStyle(geometry: MultiPoint, look: MarkLook): Style {
  return new Style({
    geometry,
    image: new RegularShape({points: 24, radius: 6, fill: new Fill({color: look.core}), stroke: new Stroke({color: look.casing, width: 1.5})}),
    zIndex: 6,
  });
}

function square(radius: number, look: MarkLook): RegularShape {
  return new RegularShape({points: 4, radius, angle: Math.PI / 4, stroke: new Stroke({color: look.casing, width: 2}), fill: new Fill({color: look.core})});
}

function plate(geometry: OlGeometry, {key, isOpen, look}: MarkStyling): Style {
  const ink = isOpen ? look.casing : look.core;
  const ground = isOpen ? look.core : look.casing;
  return new Style({
    geometry: new MultiPoint([anchor(geometry)]),
    text: new Text({
      text: key.toLowerCase(),
      font: '700 14px "Vollkorn SC", serif',
      fill: new Fill({color: ink}),
      backgroundFill: new Fill({color: ground}),
      backgroundStroke: new Stroke({color: isOpen ? look.casing : look.core, width: 1}),
      padding: [2, 6, 2, 7],
      offsetY: -20,
    }),
    zIndex: isOpen ? 8 : 7,
  });
}

/** The plate stands over the highest corner. */
function anchor(geometry: OlGeometry): number[] {
  const positions = flatPositions(geometry);
  return positions.reduce((best, position) => ((position[1] ?? 0) > (best[1] ?? 0) ? position : best), positions[0] ?? [0, 0]);
}

function flatPositions(geometry: OlGeometry): number[][] {
  if (geometry instanceof LineString) return geometry.getCoordinates();
  if (geometry instanceof Polygon) return geometry.getCoordinates()[0] ?? [];
  const extent = geometry.getExtent();
  return [[((extent[0] ?? 0) + (extent[2] ?? 0)) / 2, extent[3] ?? 0]];
}

function crossings(geometry: OlGeometry, {look, resolution}: MarkStyling): Style {
  const positions = flatPositions(geometry);
  const line = new LineString(positions);
  const count = Math.max(1, Math.floor(line.getLength() / (CROSS_EVERY * resolution)));
  const at = Array.from({length: count}, (_, index) => line.getCoordinateAt((index + 0.5) / count));
  return new Style({
    geometry: new MultiPoint(at),
    image: new RegularShape({points: 2, radius: 6, angle: Math.PI / 5, stroke: new Stroke({color: look.core, width: CORE_WIDTH})}),
    zIndex: 5,
  });
}
