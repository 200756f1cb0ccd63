import {describe, expect, it} from 'vitest';

import {departure, FrameDraft} from './frame_draft';

/** A picture turned by atan(3/4): its top edge runs from (100, 50) to (500, 350), 500 px long. */
function turnedDraft(): FrameDraft {
  const draft = new FrameDraft();
  draft.press([100, 50]);
  draft.press([500, 350]);
  draft.measureEdge(250);
  return draft;
}

describe('a frame being set up', () => {
  it('takes its scale from the measured edge', () => {
    expect(turnedDraft().mm_per_px).toBeCloseTo(0.5, 12);
  });

  it('has its zero at the corner and its x axis along the edge', () => {
    const draft = turnedDraft();
    expect(draft.mmFromPx([100, 50])).toEqual([0, 0]);
    expect(draft.mmFromPx([500, 350])?.[0]).toBeCloseTo(250, 9);
    expect(draft.mmFromPx([500, 350])?.[1]).toBeCloseTo(0, 9);
  });

  it('counts y downwards, square to the edge', () => {
    const [x_mm = 0, y_mm = 0] = turnedDraft().mmFromPx([100 - 300, 50 + 400]) ?? [];
    expect(x_mm).toBeCloseTo(0, 9);
    expect(y_mm).toBeCloseTo(250, 9);
  });

  it('has no millimetres before the edge is measured', () => {
    const draft = new FrameDraft();
    draft.press([0, 0]);
    draft.press([10, 0]);
    expect(draft.mm_per_px).toBeNull();
    expect(draft.mmFromPx([5, 5])).toBeNull();
    draft.measureEdge(-3);
    expect(draft.mm_per_px).toBeNull();
  });

  it('keeps an outline of at least three corners', () => {
    const draft = turnedDraft();
    draft.choose('outline');
    draft.press([100, 50]);
    draft.press([500, 350]);
    expect(draft.outline_mm()).toEqual([]);
    draft.press([200, 750]);
    expect(draft.outline_mm()).toHaveLength(3);
  });

  it('moves the place that was caught', () => {
    const draft = turnedDraft();
    draft.choose('outline');
    draft.press([7, 7]);
    draft.move(2, [8, 9]);
    draft.move(1, [600, 50]);
    expect(draft.outline_px).toEqual([[8, 9]]);
    expect(draft.edge_end_px).toEqual([600, 50]);
    expect(draft.mmFromPx([600, 50])?.[1]).toBeCloseTo(0, 9);
  });

  it('tells how far it departs from the stated pitch', () => {
    expect(departure(0.0205, 20)).toBeCloseTo(0.025, 9);
    expect(departure(0.02, null)).toBeNull();
  });
});
