import {expect, test} from 'vitest';

import vectors from '../../../tests/vectors/measurements.json';
import type {PlaceMm} from '../frame/units';
import {localDigits, measureText, roundedPair} from './digits';
import {measureAngle, measureArea, measureDistance, measureLength, pick} from './measurements';

const [fine, coarse] = [pick(0.02), pick(0.05)];
const whole = {registration_mm: 0.04, relative_scale: 0.001};
const line = vectors.line as unknown as PlaceMm[];
const rings = vectors.rings as unknown as PlaceMm[][];
const [a, b, c, d] = line as [PlaceMm, PlaceMm, PlaceMm, PlaceMm];

test.each([
  ['distance', measureDistance(a, b, [fine, fine])],
  ['distance between modalities', measureDistance([0, 0], [7.5, 0], [coarse, fine], whole)],
  ['too short', measureDistance([0, 0], [0.1, 0], [coarse, coarse])],
  ['length', measureLength(line, fine, whole)],
  ['closed length', measureLength([...line, a], fine)],
  ['area', measureArea(rings, fine, whole)],
  ['angle', measureAngle(c, d, [fine, coarse], whole)],
] as const)('%s is measured as in Python', (name, measured) => {
  const expected = vectors.measured[name];
  expect(measured.value).toBeCloseTo(expected.value, 9);
  expect(measured.uncertainty).toBeCloseTo(expected.uncertainty, 9);
  expect(measured).toMatchObject({
    is_resolved: expected.is_resolved,
    sentence: expected.sentence,
    unit: expected.unit,
    resolvable_mm: expected.resolvable_mm,
  });
});

test.each(vectors.rounded as [number, number, string, string][])('%d with %d is rounded as in Python', (value, uncertainty, ...digits) => {
  const pair = roundedPair(value, uncertainty);
  expect([pair.value_digits, pair.uncertainty_digits]).toEqual(digits);
});

test('the measured text uses narrow spaces, a true minus and the decimal sign of the language', () => {
  const pair = roundedPair(-12.3391, 0.0589);
  expect(measureText(pair, 'mm', 'en')).toBe('\u221212.34\u202fmm\u202f±\u202f0.06\u202fmm');
  expect(measureText(pair, 'mm', 'de')).toBe('\u221212,34\u202fmm\u202f±\u202f0,06\u202fmm');
  expect(localDigits('1230', 'nl')).toBe('1230');
});

test('an area does not depend on where its outline begins or which way it runs', () => {
  const [outline = []] = rings;
  const turned = [...outline.slice(2), ...outline.slice(0, 2)].reverse();
  expect(measureArea([turned], fine).value).toBeCloseTo(measureArea([outline], fine).value, 9);
  expect(measureArea([turned], fine).uncertainty).toBeCloseTo(measureArea([outline], fine).uncertainty, 9);
});

test('a pick without pitch and an angle without length are refused', () => {
  expect(() => pick(0)).toThrow(/pitch_mm must be above zero/);
  expect(() => measureAngle(a, a, [fine, fine])).toThrow(/two places apart/);
});
