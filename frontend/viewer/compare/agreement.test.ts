import {describe, expect, it} from 'vitest';

import type {ImageData} from '../api/contract';
import {agreementAt_mm, uncertaintyAt_mm} from './agreement';

const grid = {x0_mm: 0, y0_mm: 0, step_mm: 10, columns: 3, rows: 2, u95_mm: [0.1, 0.2, null, 0.3, 0.4, 0.5]};

function image(id: string, u95_mm: number | null): ImageData {
  const uncertainty = u95_mm === null ? null : {x0_mm: 0, y0_mm: 0, step_mm: 50, columns: 2, rows: 2, u95_mm: [u95_mm, u95_mm, u95_mm, u95_mm]};
  return {id, registration: {id: `r-${id}`, version: 1, method: 'control points', map: null, uncertainty, rms_mm: null}} as ImageData;
}

describe('the uncertainty of a registration', () => {
  it('is exact at a node and bilinear between nodes', () => {
    expect(uncertaintyAt_mm(grid, [10, 0])).toBeCloseTo(0.2, 12);
    expect(uncertaintyAt_mm(grid, [5, 5])).toBeCloseTo((0.1 + 0.2 + 0.3 + 0.4) / 4, 12);
  });

  it('is unknown outside the grid and beside a node where nothing was measured', () => {
    expect(uncertaintyAt_mm(grid, [-0.1, 0])).toBeNull();
    expect(uncertaintyAt_mm(grid, [15, 2])).toBeNull();
  });
});

describe('the agreement of a and b', () => {
  it('adds both uncertainties in quadrature', () => {
    expect(agreementAt_mm(image('a', 0.03), image('b', 0.04), [20, 20])).toBeCloseTo(0.05, 12);
  });

  it('is unknown when one of the two says nothing there', () => {
    expect(agreementAt_mm(image('a', 0.03), image('b', null), [20, 20])).toBeNull();
    expect(agreementAt_mm(image('a', 0.03), image('b', 0.04), [60, 20])).toBeNull();
  });

  it('is perfect for an image with itself', () => {
    expect(agreementAt_mm(image('a', null), image('a', null), [20, 20])).toBe(0);
  });
});
