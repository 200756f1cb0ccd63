/** The pixel of an image's master at a place, through its registration. */
import type {OpenImage, PointMm, PointPx} from '../api/contract';
import {FrameMap} from './maps';

const maps = new Map<string, FrameMap | null>();

/** Return the continuous pixel, null outside the image or where it has no registration. */
export function masterPixel(image: OpenImage, place_mm: PointMm): PointPx | null {
  const pixel = mapOf(image)?.pxFromMm(place_mm) ?? null;
  if (!pixel) return null;
  const [x_px, y_px] = pixel;
  const isInside = x_px >= 0 && y_px >= 0 && x_px <= (image.width_px ?? Infinity) && y_px <= (image.height_px ?? Infinity);
  return isInside ? pixel : null;
}

function mapOf(image: OpenImage): FrameMap | null {
  const {registration} = image;
  if (!registration) return null;
  const known = maps.get(registration.id);
  if (known !== undefined) return known;
  const map = FrameMap.fromJson(registration.map);
  maps.set(registration.id, map);
  return map;
}
