import {describe, expect, it} from 'vitest';

import type {AnnotationData, ExaminationData, OpenImage} from '../api/contract';
import {Examination} from '../map/examination';
import {measure, measuredOf, type PickedCorner} from './measured';
import {partsText, written} from './measured_text';

function image(id: string, um_per_px: number, u95_mm: number | null): OpenImage {
  const uncertainty = u95_mm === null ? null : {x0_mm: 0, y0_mm: 0, step_mm: 640, columns: 2, rows: 2, u95_mm: [u95_mm, u95_mm, u95_mm, u95_mm]};
  return {
    id, short_label: id, um_per_px, is_closed: false, tile_url: '/t', grid: {pitch_mm: 0.02},
    footprint_mm: [[0, 0], [640, 0], [640, 480], [0, 480]],
    registration: {id: `r-${id}`, uncertainty},
  } as unknown as OpenImage;
}

const visible = image('visible', 20, 0);
const infrared = image('infrared', 50, 0.08);
const macro = image('macro', 10, 0.02);
const unregistered = image('raking', 40, null);

function examination(images: OpenImage[], scale_uncertainty = 0.001): Examination {
  const outline_mm = {type: 'Polygon', coordinates: [[[0, 0], [640, 0], [640, 480], [0, 480], [0, 0]]]};
  return new Examination({
    face: {is_mirrored: false}, frame: {width_mm: 640, height_mm: 480, scale_uncertainty, canvas_pitch_mm: 0.02, outline_mm}, images,
  } as unknown as ExaminationData);
}

function corners(...places: readonly [number, number, OpenImage | null][]): PickedCorner[] {
  return places.map(([x_mm, y_mm, picked]) => ({place_mm: [x_mm, y_mm], image: picked}));
}

describe('a length between two images', () => {
  // GUM (JCGM 100:2008) 5.1.2 and 6.2.1: quadrature, expanded with k = 2; pixel error uniform, p / sqrt(12).
  const measured = measure('LineString', corners([214.3, 151, infrared], [221.8, 151, visible]), examination([visible, infrared]));

  it('carries both pixels, both picks, the registration and the scale', () => {
    if (measured?.kind !== 'value') throw new Error('no value');
    expect(measured.measurement.value).toBeCloseTo(7.5, 9);
    expect(measured.measurement.uncertainty).toBeCloseTo(0.1385, 4);
    expect(written(measured.measurement).pair).toEqual({value_digits: '7.50', uncertainty_digits: '0.14'});
  });

  it('tells its parts at 95 %', () => {
    if (measured?.kind !== 'value') throw new Error('no value');
    expect(partsText(measured.measurement, true)).toBe('of which: picking 0.112, registration 0.080, scale 0.015');
  });
});

describe('a measure', () => {
  it('says so when a registration is unknown there', () => {
    const measured = measure('LineString', corners([10, 10, unregistered], [30, 10, unregistered]), examination([unregistered]));
    expect(measured).toMatchObject({kind: 'value', isRegistrationKnown: false});
  });

  it('is a sentence below three pixels of the coarser image, naming one that would do', () => {
    const measured = measure('LineString', corners([10, 10, infrared], [10.1, 10, visible]), examination([visible, infrared, macro]));
    expect(measured).toMatchObject({kind: 'cannot', resolvable_mm: 0.15000000000000002, finer: {image: {id: 'visible'}, resolvable_mm: 0.06}});
  });

  it('names no finer image where none is open', () => {
    const measured = measure('LineString', corners([10, 10, visible], [10.01, 10, visible]), examination([visible, infrared]));
    expect(measured).toMatchObject({kind: 'cannot', finer: null});
  });

  it('gives an area its share of the painted surface', () => {
    const measured = measure('Polygon', corners([0, 0, visible], [16, 0, visible], [16, 8, visible], [0, 8, visible]), examination([visible]));
    if (measured?.kind !== 'value') throw new Error('no value');
    expect(measured.measurement.value).toBeCloseTo(128, 9);
    expect((measured.share ?? 0) * 100).toBeCloseTo(0.0417, 4);
    expect(written(measured.measurement).unit).toBe('cm²');
  });

  it('waits until every corner has an image behind it', () => {
    expect(measure('LineString', corners([0, 0, visible], [5, 0, null]), examination([visible]))).toBeNull();
    expect(measure('Polygon', corners([0, 0, visible], [5, 0, visible]), examination([visible]))).toBeNull();
  });

  it('takes the server at its word for shapes of several parts', () => {
    const mark = {
      geometry: {type: 'MultiPolygon', coordinates: [[], [], []]},
      measurements: {length_mm: null, area_mm2: 128, count: null, uncertainty_mm: null, area_uncertainty_mm2: 0.9, can_resolve: true},
    } as unknown as AnnotationData;
    expect(measuredOf(mark, examination([visible]))).toMatchObject({kind: 'several', count: 3, area_mm2: 128, area_uncertainty_mm2: 0.9});
  });
});
