import {beforeEach, describe, expect, it} from 'vitest';

import type {AnnotationData, ExaminationData} from '../api/contract';
import {Examination} from '../map/examination';
import {cornersOf, Drawing, geometryOf} from './drawing';
import {WORDS} from './words';

const data = {face: {is_mirrored: false}, frame: {width_mm: 640, height_mm: 480}, images: []} as unknown as ExaminationData;
const [crack, loss, , hole] = WORDS;

describe('a drawing', () => {
  let drawing: Drawing;

  beforeEach(() => {
    drawing = new Drawing(new Examination(data), () => null);
  });

  it('is a line from corner to corner', () => {
    if (crack) drawing.begin(crack);
    drawing.add([118, 260.4]);
    expect(drawing.canFinish).toBe(false);
    drawing.add([172, 260.9]);
    drawing.finish();
    expect(drawing.phase).toBe('saying');
    expect(drawing.geometry()).toEqual({type: 'LineString', coordinates: [[118, 260.4], [172, 260.9]]});
  });

  it('closes an area and waits for its third corner', () => {
    if (loss) drawing.begin(loss);
    drawing.add([0, 0]);
    drawing.add([10, 0]);
    drawing.finish();
    expect(drawing.phase).toBe('drawing');
    drawing.add([10, 10]);
    drawing.finish();
    expect(drawing.geometry()).toEqual({type: 'Polygon', coordinates: [[[0, 0], [10, 0], [10, 10], [0, 0]]]});
  });

  it('is done with the first press when it is a place', () => {
    if (hole) drawing.begin(hole);
    drawing.add([283, 326]);
    expect(drawing.phase).toBe('saying');
  });

  it('takes the last corner back and may then go on', () => {
    if (crack) drawing.begin(crack);
    drawing.add([0, 0]);
    drawing.add([1, 0]);
    drawing.finish();
    drawing.undo();
    expect(drawing.phase).toBe('drawing');
    expect(drawing.corners).toHaveLength(1);
  });

  it('shows the place under the hand but does not keep it', () => {
    if (crack) drawing.begin(crack);
    drawing.add([0, 0]);
    drawing.hover([5, 5]);
    expect(drawing.places_mm()).toEqual([[0, 0], [5, 5]]);
    expect(drawing.corners).toHaveLength(1);
  });

  it('never takes away a corner the shape needs', () => {
    drawing.reshape({geometry: {type: 'LineString', coordinates: [[0, 0], [1, 1]]}} as AnnotationData);
    drawing.remove(0);
    expect(drawing.corners).toHaveLength(2);
  });

  it('comes back from stored geometry', () => {
    const polygon = {type: 'Polygon' as const, coordinates: [[[0, 0], [1, 0], [1, 1], [0, 0]]]};
    const shape = cornersOf(polygon);
    expect(shape && geometryOf(shape.kind, shape.places_mm)).toEqual(polygon);
  });

  it('does not take shapes of several parts into the hand', () => {
    expect(cornersOf({type: 'MultiPoint', coordinates: [[0, 0], [1, 1]]})).toBeNull();
  });
});
