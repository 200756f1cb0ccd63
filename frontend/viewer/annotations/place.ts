/** Where a mark is, as one place: its rightmost corner, from which a leader line crosses least of the picture. */
import type {Geometry, Position} from 'geojson';

import type {PointMm} from '../api/contract';

export function positionsOf(geometry: Geometry): Position[] {
  switch (geometry.type) {
    case 'Point': return [geometry.coordinates];
    case 'MultiPoint':
    case 'LineString': return geometry.coordinates;
    case 'MultiLineString':
    case 'Polygon': return geometry.coordinates.flat();
    case 'MultiPolygon': return geometry.coordinates.flat(2);
    case 'GeometryCollection': return geometry.geometries.flatMap(positionsOf);
  }
}

const places = new WeakMap<Geometry, PointMm>();

export function placeOf(geometry: Geometry): PointMm {
  const known = places.get(geometry) ?? rightmostOf(geometry);
  places.set(geometry, known);
  return known;
}

function rightmostOf(geometry: Geometry): PointMm {
  const positions = positionsOf(geometry);
  const best = positions.reduce((found, position) => ((position[0] ?? 0) > (found[0] ?? 0) ? position : found), positions[0] ?? [0, 0]);
  return [best[0] ?? 0, best[1] ?? 0];
}

/** Return the box of a mark: left, top, right, bottom. */
export function boxOf(geometry: Geometry): [number, number, number, number] {
  const positions = positionsOf(geometry);
  const xs = positions.map(([x = 0]) => x);
  const ys = positions.map(([, y = 0]) => y);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}
