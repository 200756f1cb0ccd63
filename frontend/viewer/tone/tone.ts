/** How an image is shown: black and white point, gamma, inversion. On the screen only; no datum changes. */

export interface Tone {
  /** Value shown as black, 0 to 1. */
  black: number;
  /** Value shown as white, 0 to 1, above black. */
  white: number;
  /** Above 1 opens the darks. */
  gamma: number;
  isInverted: boolean;
}

export const PLAIN_TONE: Tone = {black: 0, white: 1, gamma: 1, isInverted: false};
const LEVELS = 256;
/** Black and white keep this apart, or the picture would be a silhouette. */
const LEAST_RANGE = 0.02;
export const GAMMA_LIMITS = [0.25, 4] as const;

export function isPlain(tone: Tone): boolean {
  return tone.black === 0 && tone.white === 1 && tone.gamma === 1 && !tone.isInverted;
}

export function shownValue({black, white, gamma, isInverted}: Tone, value: number): number {
  const part = Math.min(1, Math.max(0, (value - black) / (white - black)));
  const shown = part ** (1 / gamma);
  return isInverted ? 1 - shown : shown;
}

/** Return the shown value of each of the 256 levels of a display picture. */
export function toneTable(tone: Tone): number[] {
  return Array.from({length: LEVELS}, (_, level) => shownValue(tone, level / (LEVELS - 1)));
}

/** Change one setting within its limits; black and white push against, never past, each other. */
export function toned(tone: Tone, patch: Partial<Tone>): Tone {
  const next = {...tone, ...patch};
  if (patch.black !== undefined) next.black = Math.min(Math.max(0, patch.black), next.white - LEAST_RANGE);
  if (patch.white !== undefined) next.white = Math.max(Math.min(1, patch.white), next.black + LEAST_RANGE);
  next.gamma = Math.min(GAMMA_LIMITS[1], Math.max(GAMMA_LIMITS[0], next.gamma));
  return next;
}

export function writeTone({black, white, gamma, isInverted}: Tone): string {
  return [black.toFixed(3), white.toFixed(3), gamma.toFixed(2), isInverted ? '1' : '0'].join('_');
}

export function readTone(text: string | null): Tone | null {
  const [black = NaN, white = NaN, gamma = NaN, inverted = NaN] = (text ?? '').split('_').map(Number);
  const isFit = [black, white, gamma, inverted].every(Number.isFinite) && black >= 0 && white <= 1 && white - black >= LEAST_RANGE && gamma > 0;
  return isFit && text ? toned({black, white, gamma, isInverted: inverted === 1}, {}) : null;
}
