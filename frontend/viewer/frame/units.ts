/**
 * Units as types. A plain number may become any of them (what arrives as JSON carries no type), but a length on the
 * screen can never be passed as one on the face, nor an image pixel as a millimetre: the markers contradict.
 */
export type Mm = number & {readonly unit?: 'mm'};
export type ImagePx = number & {readonly unit?: 'image-px'};
export type CssPx = number & {readonly unit?: 'css-px'};
export type MmPerPx = number & {readonly unit?: 'mm-per-px'};
export type Deg = number & {readonly unit?: 'deg'};

/** A place on the face: frame millimetres, x to the right, y down. */
export type PlaceMm = (readonly [x_mm: number, y_mm: number]) & {readonly unit?: 'mm'};
/** A place in an image: continuous pixels, pixel (0, 0) covers [0, 1) x [0, 1). */
export type PlacePx = (readonly [x_px: number, y_px: number]) & {readonly unit?: 'image-px'};

export function mmFromCssPx(length: CssPx, mmPerCssPx: number): Mm {
  return length * mmPerCssPx;
}

export function cssPxFromMm(length: Mm, mmPerCssPx: number): CssPx {
  return length / mmPerCssPx;
}
