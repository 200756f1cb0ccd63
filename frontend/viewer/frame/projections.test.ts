import GeoJSON from 'ol/format/GeoJSON';
import {describe, expect, it} from 'vitest';

import {ViewFrame} from './projections';

describe.each([false, true])('the view of the frame, mirrored: %s', (isMirrored) => {
  const viewFrame = new ViewFrame(isMirrored);

  it('brings a place back unchanged', () => {
    expect(viewFrame.toMm(viewFrame.toView([12.25, 300.5]))).toEqual([12.25, 300.5]);
  });

  it('turns y over, since the frame counts downwards and the view upwards', () => {
    expect(viewFrame.toView([0, 10])[1]).toBe(-10);
  });

  it('reads and writes stored geometry in frame millimetres', () => {
    const format = new GeoJSON({dataProjection: viewFrame.frame, featureProjection: viewFrame.view});
    const stored = {type: 'LineString', coordinates: [[118, 260.4], [172, 260.9]]};
    const shown = format.readGeometry(stored);
    expect(shown?.getExtent()[3]).toBe(-260.4);
    if (!shown) throw new Error('no geometry was read');
    expect(JSON.parse(format.writeGeometry(shown))).toEqual(stored);
  });

  it('holds a rectangle of the frame in the extent of the view', () => {
    const [left, bottom, right, top] = viewFrame.extentOf({x_mm: 10, y_mm: 20, width_mm: 30, height_mm: 40});
    expect([bottom, top]).toEqual([-60, -20]);
    expect([left, right]).toEqual(isMirrored ? [-40, -10] : [10, 40]);
  });
});
