/** Between a place on the painting (mm) and a place on the picture's rectangle (CSS pixels from its upper left corner). */
import type {PointMm} from '../api/contract';
import type {ScreenPoint} from '../compare/stick';

export interface ScreenPlacing {
  centre_mm: PointMm;
  mm_per_css_px: number;
  rotation_rad: number;
  isMirrored: boolean;
  width: number;
  height: number;
}

export function screenFromMm(placing: ScreenPlacing, [x_mm, y_mm]: PointMm): ScreenPoint {
  const across = ((x_mm - placing.centre_mm[0]) * (placing.isMirrored ? -1 : 1)) / placing.mm_per_css_px;
  const down = (y_mm - placing.centre_mm[1]) / placing.mm_per_css_px;
  const cos = Math.cos(placing.rotation_rad);
  const sin = Math.sin(placing.rotation_rad);
  return [placing.width / 2 + across * cos - down * sin, placing.height / 2 + across * sin + down * cos];
}

export function mmFromScreen(placing: ScreenPlacing, [x, y]: ScreenPoint): PointMm {
  const right = x - placing.width / 2;
  const low = y - placing.height / 2;
  const cos = Math.cos(placing.rotation_rad);
  const sin = Math.sin(placing.rotation_rad);
  const across = (right * cos + low * sin) * (placing.isMirrored ? -1 : 1);
  const down = -right * sin + low * cos;
  return [placing.centre_mm[0] + across * placing.mm_per_css_px, placing.centre_mm[1] + down * placing.mm_per_css_px];
}
