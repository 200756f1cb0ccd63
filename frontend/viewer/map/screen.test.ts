import {describe, expect, it} from 'vitest';

import {mmFromScreen, screenFromMm} from './screen';

const placing = {centre_mm: [320, 240] as const, mm_per_css_px: 0.5, rotation_rad: 0, isMirrored: false, width: 800, height: 600};

describe('places on the screen', () => {
  it('puts the middle of the view in the middle of the rectangle', () => {
    expect(screenFromMm(placing, [320, 240])).toEqual([400, 300]);
  });

  it('goes right and down with x and y', () => {
    expect(screenFromMm(placing, [330, 245])).toEqual([420, 310]);
  });

  it('turns clockwise by a quarter: what lay to the right lies below', () => {
    const [x, y] = screenFromMm({...placing, rotation_rad: Math.PI / 2}, [330, 240]);
    expect([Math.round(x), Math.round(y)]).toEqual([400, 320]);
  });

  it.each([[0, false], [0.7, false], [0.7, true], [-2, true]])('comes back from the screen, turned by %s, mirrored %s', (rotation_rad, isMirrored) => {
    const turnedPlacing = {...placing, rotation_rad, isMirrored};
    const [x_mm, y_mm] = mmFromScreen(turnedPlacing, screenFromMm(turnedPlacing, [12.5, 470.25]));
    expect(x_mm).toBeCloseTo(12.5, 9);
    expect(y_mm).toBeCloseTo(470.25, 9);
  });
});
