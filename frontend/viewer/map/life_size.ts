/** Life size needs the true size of this screen's pixels: measured once with a card, kept on the device. */

/** Width of an identification card of format ID-1, ISO/IEC 7810. */
export const ID1_CARD_WIDTH_MM = 85.6;
/** CSS defines its pixel as 1/96 inch; screens differ, so this holds only until measured. */
export const NOMINAL_MM_PER_CSS_PX = 25.4 / 96;

const STORAGE_KEY = 'mahlstick.mm_per_css_px';
/** Screens between a large phone held far too close and a projector lie within these. */
const SANE_MM_PER_CSS_PX = [0.05, 3] as const;

export interface ScreenPitch {
  mm_per_css_px: number;
  isMeasured: boolean;
}

export function screenPitch(): ScreenPitch {
  try {
    const kept = Number(localStorage.getItem(STORAGE_KEY));
    if (isSane(kept)) return {mm_per_css_px: kept, isMeasured: true};
  } catch {
    // Without storage the nominal pixel is all there is.
  }
  return {mm_per_css_px: NOMINAL_MM_PER_CSS_PX, isMeasured: false};
}

/** Keep the pitch measured by laying a card on the screen; return it. */
export function keepCardWidth(card_css_px: number): ScreenPitch {
  const mm_per_css_px = ID1_CARD_WIDTH_MM / card_css_px;
  if (!isSane(mm_per_css_px)) throw new RangeError(`A card ${String(card_css_px)} CSS px wide gives no likely screen.`);
  try {
    localStorage.setItem(STORAGE_KEY, String(mm_per_css_px));
  } catch {
    // It holds for this visit only.
  }
  return {mm_per_css_px, isMeasured: true};
}

function isSane(value: number): boolean {
  return Number.isFinite(value) && value >= SANE_MM_PER_CSS_PX[0] && value <= SANE_MM_PER_CSS_PX[1];
}
