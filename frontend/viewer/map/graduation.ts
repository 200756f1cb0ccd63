/** Marks of a millimetre rule: which lengths deserve a tick, and which a number, at a given scale. */

export interface Graduation {
  /** Distance of two neighbouring ticks. */
  tick_mm: number;
  /** Every how many ticks a longer one stands. */
  long_every: number;
  /** Every how many ticks a number stands. */
  number_every: number;
}

const STEPS = [1, 2, 5];

/** Return the smallest 1-2-5 step whose length on the screen reaches the wanted distance. */
export function roundStep_mm(mm_per_css_px: number, wanted_css_px: number): number {
  const wanted_mm = mm_per_css_px * wanted_css_px;
  const decade = 10 ** Math.floor(Math.log10(wanted_mm));
  for (const step of [...STEPS, 10]) {
    if (step * decade >= wanted_mm * (1 - 1e-9)) return step * decade;
  }
  return 10 * decade;
}

export function graduationFor(mm_per_css_px: number): Graduation {
  const tick_mm = roundStep_mm(mm_per_css_px, 7);
  const number_mm = roundStep_mm(mm_per_css_px, 88);
  const first = leadingDigit(tick_mm);
  return {
    tick_mm,
    long_every: first === 2 ? 5 : first === 5 ? 2 : 5,
    number_every: Math.max(1, Math.round(number_mm / tick_mm)),
  };
}

function leadingDigit(value: number): number {
  return Math.round(value / 10 ** Math.floor(Math.log10(value) + 1e-9));
}
