/**
 * The millimetre frame on a screen. Stored geometry has y down; OpenLayers wants y up. Two registered projections and a
 * sign flip keep every conversion in one place; a mirrored view (the back of a work) flips x as well.
 */
import {addCoordinateTransforms, addProjection, get as getProjection} from 'ol/proj';
import Projection from 'ol/proj/Projection';
import type {Coordinate} from 'ol/coordinate';
import type {Extent} from 'ol/extent';

import type {PointMm} from '../api/contract';

export const FRAME_CODE = 'mahlstick:frame-mm';
const VIEW_CODES = {plain: 'mahlstick:view', mirrored: 'mahlstick:view-mirrored'} as const;

export class ViewFrame {
  readonly frame: Projection;
  readonly view: Projection;
  private readonly xSign: 1 | -1;

  constructor(readonly isMirrored: boolean) {
    this.xSign = isMirrored ? -1 : 1;
    this.frame = projection(FRAME_CODE);
    this.view = projection(isMirrored ? VIEW_CODES.mirrored : VIEW_CODES.plain);
    const flip = (input: number[], output?: number[], dimension = 2): number[] => flipped(input, {output, dimension, xSign: this.xSign});
    addCoordinateTransforms(this.frame, this.view, flip, flip);
  }

  toView([x_mm, y_mm]: PointMm): Coordinate {
    return [this.xSign * x_mm, -y_mm];
  }

  toMm(coordinate: Coordinate): PointMm {
    return [this.xSign * (coordinate[0] ?? 0), 0 - (coordinate[1] ?? 0)];
  }

  /** Return the extent in the view of a rectangle in the frame. */
  extentOf({x_mm, y_mm, width_mm, height_mm}: {x_mm: number; y_mm: number; width_mm: number; height_mm: number}): Extent {
    const left = this.isMirrored ? -(x_mm + width_mm) : x_mm;
    return [left, -(y_mm + height_mm), left + width_mm, -y_mm];
  }
}

function projection(code: string): Projection {
  const known = getProjection(code);
  if (known) return known;
  const made = new Projection({
    code,
    // OpenLayers' list of units lacks the millimetre; metersPerUnit carries it.
    units: 'mm' as never,
    metersPerUnit: 0.001,
    global: false,
    getPointResolution: (resolution) => resolution,
  });
  addProjection(made);
  return made;
}

function flipped(
  input: number[], {output, dimension, xSign}: {output: number[] | undefined; dimension: number; xSign: 1 | -1},
): number[] {
  const result = output ?? new Array<number>(input.length);
  for (let i = 0; i < input.length; i += dimension) {
    result[i] = xSign * (input[i] ?? 0);
    result[i + 1] = 0 - (input[i + 1] ?? 0);
    for (let k = 2; k < dimension; k += 1) result[i + k] = input[i + k] ?? 0;
  }
  return result;
}
