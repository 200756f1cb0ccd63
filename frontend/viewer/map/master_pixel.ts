/** The pixel of an image's master at a place, through its registration. */
import type {OpenImage, PointMm, PointPx} from '../api/contract';

export function masterPixel(image: OpenImage, [x_mm, y_mm]: PointMm): PointPx | null {
  const map = image.registration?.map as {projective: number[][]} | undefined;
  if (!map) return null;
  const [r0 = [], r1 = [], r2 = []] = map.projective;
  const w = (r2[0] ?? 0) * x_mm + (r2[1] ?? 0) * y_mm + (r2[2] ?? 1);
  return [((r0[0] ?? 0) * x_mm + (r0[1] ?? 0) * y_mm + (r0[2] ?? 0)) / w, ((r1[0] ?? 0) * x_mm + (r1[1] ?? 0) * y_mm + (r1[2] ?? 0)) / w];
}
