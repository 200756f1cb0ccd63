/** How many figures an uncertainty earns, and how digits are written; twin of `uncertainty.py`. */

const NARROW_SPACE = '\u202f';
const MINUS = '\u2212';

export interface RoundedPair {
  readonly value_digits: string;
  readonly uncertainty_digits: string;
}

/** Return a number rounded half away from zero to decimal places, which may be negative. */
export function roundedDigits(value: number, places: number): string {
  if (places >= 0) return value.toFixed(places).replace(/^-(?=[0.]*$)/, '');
  const unit = 10 ** -places;
  const rounded = Math.floor(Math.abs(value) / unit + 0.5) * unit;
  return `${value < 0 && rounded > 0 ? '-' : ''}${rounded.toFixed(0)}`;
}

/**
 * Return value and uncertainty rounded to the same place: two figures of the uncertainty when its leading three are
 * 100 to 354, one from 355 to 949, and 1000 from 950 on (Review of Particle Physics, Introduction, "Rounding").
 */
export function roundedPair(value: number, uncertainty: number): RoundedPair {
  if (!Number.isFinite(value) || !Number.isFinite(uncertainty) || uncertainty < 0) {
    throw new RangeError(`needed are finite numbers, got ${String(value)} and ${String(uncertainty)}`);
  }
  if (uncertainty === 0) return {value_digits: roundedDigits(value, 6), uncertainty_digits: '0'};
  const exponent = Number(uncertainty.toExponential().split('e')[1]);
  const leading = Math.round(Number(roundedDigits(uncertainty, 2 - exponent)) * 10 ** (2 - exponent));
  const places = leading >= 950 ? -exponent : (leading < 355 ? 1 : 0) - exponent;
  return {value_digits: roundedDigits(value, places), uncertainty_digits: roundedDigits(uncertainty, places)};
}

/** Return digits as readers of a language write them: their decimal sign, a true minus. */
export function localDigits(digits: string, language: string): string {
  const decimalSign = new Intl.NumberFormat(language).formatToParts(0.5).find((part) => part.type === 'decimal')?.value ?? '.';
  return digits.replace('.', decimalSign).replace(/^-/, MINUS);
}

/** Return "12.34 mm ± 0.06 mm" with narrow no-break spaces before the units and the ±. */
export function measureText(pair: RoundedPair, unit: string, language: string): string {
  const [value, uncertainty] = [pair.value_digits, pair.uncertainty_digits].map((digits) => `${localDigits(digits, language)}${NARROW_SPACE}${unit}`);
  return `${value ?? ''}${NARROW_SPACE}±${NARROW_SPACE}${uncertainty ?? ''}`;
}
