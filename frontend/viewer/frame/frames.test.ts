import {expect, test} from 'vitest';

import vectors from '../../../tests/vectors/frames.json';
import {CanvasGrid, pixelContaining, pxFromSampleIndex, sampleIndexFromPx} from './frames';
import type {CssPx, Mm, PlaceMm, PlacePx} from './units';
import {cssPxFromMm, mmFromCssPx} from './units';

type Pair = readonly [number, number];

test('sample indices lie half a pixel before continuous coordinates', () => {
  for (const [px = 0, index] of vectors.sample_index) expect(sampleIndexFromPx(px)).toBe(index);
  for (const [index = 0, px] of vectors.px) expect(pxFromSampleIndex(index)).toBe(px);
});

test('the pixel that covers a place is the one Python names', () => {
  for (const [place, pixel] of vectors.pixel_containing) expect(pixelContaining(place as unknown as Pair)).toEqual(pixel);
});

test.each(vectors.grids)('grid $grid.pitch_mm mm converts as in Python', ({grid: document, extent_mm, px, mm, zoomed}) => {
  const grid = new CanvasGrid(document);
  expect(grid.extent_mm).toEqual(extent_mm);
  px.forEach((place, index) => {
    const [x_mm = 0, y_mm = 0] = mm[index] ?? [];
    const got = grid.mmFromPx(place as unknown as Pair);
    expect(Math.hypot(got[0] - x_mm, got[1] - y_mm)).toBeLessThan(1e-9);
    const [x_px, y_px] = grid.pxFromMm([x_mm, y_mm]);
    expect(Math.hypot(x_px - (place[0] ?? 0), y_px - (place[1] ?? 0))).toBeLessThan(1e-9);
  });
  zoomed.forEach((expected, halvings) => { expect({...grid.zoomed(halvings)}).toEqual(expected); });
});

test('a grid without pitch or pixels is refused', () => {
  const good = {x0_mm: 0, y0_mm: 0, pitch_mm: 0.1, width_px: 10, height_px: 10};
  expect(() => new CanvasGrid({...good, pitch_mm: 0})).toThrow(/pitch above zero, got 0 mm/);
  expect(() => new CanvasGrid({...good, width_px: 2.5})).toThrow(/whole sides from 1 px up, got 2.5 x 10/);
  expect(() => new CanvasGrid({...good, x0_mm: NaN})).toThrow(/finite origin/);
});

test('a length on the screen cannot be taken for one on the face', () => {
  const screen: CssPx = 50;
  const face: Mm = mmFromCssPx(screen, 0.25);
  // @ts-expect-error the units contradict
  const wrong: Mm = screen;
  const place: PlaceMm = [1, 2];
  // @ts-expect-error a place on the face is none in an image
  const pixel: PlacePx = place;
  expect([wrong, pixel]).toEqual([50, [1, 2]]);
  expect(cssPxFromMm(face, 0.25)).toBe(screen);
});
