import {describe, expect, it} from 'vitest';

import {readAddress, writeAddress} from './view_address';

describe('the address of a view', () => {
  it('opens the view it was written for', () => {
    const view = {
      x_mm: 218, y_mm: 186.25, mm_per_css_px: 0.4318, rotation_deg: 12.5, isMirrored: true, a: 'one', b: 'two',
      mode: 'wipe' as const, stick: {x_mm: 210.5, y_mm: 190, angle_deg: 78.6}, mark: 'm7',
      tone_b: {black: 0.1, white: 0.8, gamma: 1.25, isInverted: true},
    };
    expect(readAddress(writeAddress(view))).toEqual(view);
  });

  it('holds the fade', () => {
    expect(readAddress(writeAddress({mode: 'fade', fade: 0.35}))).toEqual({mode: 'fade', fade: 0.35});
  });

  it('ignores what it does not understand', () => {
    expect(readAddress('?x=far&mm-per-px=-1&by=magic&stick=1_2&other=3')).toEqual({});
  });

  it('keeps a fade within its ends', () => {
    expect(readAddress('?by=fade&fade=7').fade).toBe(1);
  });
});
