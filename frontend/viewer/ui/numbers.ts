/** Numbers as people read them: the reader's decimal sign, a narrow no-break space before the unit, a true minus. */
import {language} from './texts';

const NARROW_SPACE = '\u202f';
const MINUS = '\u2212';

export function formatNumber(value: number, decimals: number): string {
  // Neither −0 nor −0.00: nothing has no sign.
  const rounded = Number(value.toFixed(decimals)) === 0 ? 0 : value;
  const text = new Intl.NumberFormat(language(), {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
    useGrouping: Math.abs(value) >= 10_000,
  }).format(rounded);
  return text.replace(/^-/, MINUS);
}

export function withUnit(value: number, unit: string, decimals: number): string {
  return `${formatNumber(value, decimals)}${NARROW_SPACE}${unit}`;
}

/** Return how many decimals show an uncertainty with two significant digits, at most six. */
export function decimalsForUncertainty(uncertainty: number): number {
  if (!(uncertainty > 0)) return 2;
  return Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(uncertainty))));
}

/** Pixel pitch in µm, without useless decimals: 20 µm, 42.3 µm. */
export function formatPitch(um_per_px: number): string {
  return withUnit(um_per_px, 'µm', Number.isInteger(um_per_px) || um_per_px >= 100 ? 0 : 1);
}

/** Plain English writes the day first here, as in "14 Mar 2024". */
function dateLanguage(): string {
  return language() === 'en' ? 'en-GB' : language();
}

export function formatDate(iso: string): string {
  const moment = new Date(iso);
  if (Number.isNaN(moment.valueOf())) return iso;
  return new Intl.DateTimeFormat(dateLanguage(), {day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC'}).format(moment);
}

export function formatMoment(iso: string): string {
  const moment = new Date(iso);
  if (Number.isNaN(moment.valueOf())) return iso;
  return new Intl.DateTimeFormat(dateLanguage(), {
    day: 'numeric', month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit', timeZoneName: 'short',
  }).format(moment);
}
