import {describe, expect, test} from 'vitest';

import vectors from '../../../tests/vectors/maps.json';
import type {PlaceMm, PlacePx} from '../frame/units';
import {splineCoefficients} from './displacement';
import {FrameMap, INVERSION_TOLERANCE_PX, MapFormatError} from './maps';

function apart(a: readonly number[], b: readonly number[]): number {
  return Math.hypot((a[0] ?? NaN) - (b[0] ?? NaN), (a[1] ?? NaN) - (b[1] ?? NaN));
}

describe.each(vectors.maps)('map "$name"', (vector) => {
  const map = FrameMap.fromJson(vector.map);

  test('gives the pixels that Python gives', () => {
    vector.mm.forEach((place, index) => {
      expect(apart(map.pxFromMm(place as unknown as PlaceMm) ?? [], vector.px[index] ?? [])).toBeLessThan(1e-7);
    });
  });

  test('comes back from the pixel within the tolerance', () => {
    vector.px.forEach((place) => {
      const mm = map.mmFromPx(place as unknown as PlacePx);
      expect(apart(mm ? (map.pxFromMm(mm) ?? []) : [], place)).toBeLessThan(INVERSION_TOLERANCE_PX);
    });
  });

  test('knows pitch, mirroring and where it is extrapolated', () => {
    expect(map.isMirrored()).toBe(vector.is_mirrored);
    vector.mm.forEach((place, index) => {
      const place_mm = place as unknown as PlaceMm;
      expect(map.isExtrapolated(place_mm)).toBe(vector.is_extrapolated[index]);
      expect(apart(map.pitchAt_mm(place_mm), vector.pitch_mm[index] ?? [])).toBeLessThan(1e-9);
    });
  });
});

test.each(vectors.refused)('a document with a wrong $field is refused by that name', ({field, map}) => {
  expect(() => FrameMap.fromJson(map)).toThrow(MapFormatError);
  expect(() => FrameMap.fromJson(map)).toThrow(`'${field}'`);
});

test('a number that is none is refused with its place', () => {
  const [first] = vectors.maps;
  const projective = [[20, 0, NaN], [0, 20, 0], [0, 0, 1]];
  expect(() => FrameMap.fromJson({...first?.map, projective})).toThrow(`'projective[0][2]' is NaN`);
});

test('a place beyond the horizon has no pixel', () => {
  const perspective = vectors.maps.find(({name}) => name === 'perspective');
  const map = FrameMap.fromJson(perspective?.map);
  expect(map.pxFromMm([-30_000, 0])).toBeNull();
  expect(map.mmFromPx([1e9, 1e9])).toBeNull();
});

test('spline coefficients repeat a cubic exactly between the nodes', () => {
  const cubic = (x: number): number => x ** 3 - 2 * x ** 2 + x - 5;
  const coefficients = splineCoefficients([0, 1, 2, 3, 4, 5, 6].map(cubic));
  // Half way between nodes 2 and 3 the weights are 1, 23, 23, 1 over 48.
  const middle = coefficients.slice(2, 6).reduce((sum, value, index) => sum + value * ([1, 23, 23, 1][index] ?? 0), 0) / 48;
  expect(middle).toBeCloseTo(cubic(2.5), 12);
});
