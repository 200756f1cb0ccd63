import {describe, expect, it} from 'vitest';

import {decimalsForUncertainty, formatNumber, formatPitch, withUnit} from './numbers';

describe('numbers', () => {
  it('have a narrow no-break space before the unit', () => {
    expect(withUnit(12.34, 'mm', 2)).toBe('12.34\u202fmm');
  });

  it('have a true minus and no negative nothing', () => {
    expect(formatNumber(-0.32, 2)).toBe('\u22120.32');
    expect(formatNumber(-0.001, 2)).toBe('0.00');
    expect(formatNumber(-0, 0)).toBe('0');
  });

  it('show an uncertainty with two significant digits', () => {
    expect(decimalsForUncertainty(0.1385)).toBe(2);
    expect(decimalsForUncertainty(0.0163)).toBe(3);
    expect(decimalsForUncertainty(12.6)).toBe(0);
  });

  it('give a pitch without useless decimals', () => {
    expect(formatPitch(20)).toBe('20\u202fµm');
    expect(formatPitch(42.333)).toBe('42.3\u202fµm');
  });
});
