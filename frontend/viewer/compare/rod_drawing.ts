/** Drawing the stick: a white rod in a dark casing with millimetre ticks, and two hair lines where the images may differ. */
import {graduationFor} from '../map/graduation';
import type {ScreenPoint} from './stick';

export const ROD_HALF_WIDTH = 4.5;
const CASING = 1.5;
/** Hair lines closer together than this would only thicken the rod. */
const LEAST_HAIR_GAP = 3;

export interface RodLook {
  core: string;
  casing: string;
}

export interface Rod {
  foot: ScreenPoint;
  pad: ScreenPoint;
  /** The place from which the ticks count. */
  origin: ScreenPoint;
  mm_per_css_px: number;
  agreement_mm: number | null;
}

export function drawRod(context: CanvasRenderingContext2D, rod: Rod, look: RodLook): void {
  const {foot, pad} = rod;
  const length = Math.hypot(pad[0] - foot[0], pad[1] - foot[1]);
  context.save();
  context.translate(foot[0], foot[1]);
  context.rotate(Math.atan2(pad[1] - foot[1], pad[0] - foot[0]));
  drawHairLines(context, {...rod, length}, look);
  context.fillStyle = look.casing;
  context.fillRect(0, -ROD_HALF_WIDTH - CASING, length, 2 * (ROD_HALF_WIDTH + CASING));
  context.fillStyle = look.core;
  context.fillRect(0, -ROD_HALF_WIDTH, length, 2 * ROD_HALF_WIDTH);
  drawTicks(context, {...rod, length}, look);
  context.restore();
}

function drawHairLines(context: CanvasRenderingContext2D, rod: Rod & {length: number}, look: RodLook): void {
  if (rod.agreement_mm === null) return;
  const half = rod.agreement_mm / rod.mm_per_css_px;
  if (2 * half < LEAST_HAIR_GAP || half <= ROD_HALF_WIDTH + CASING) return;
  for (const side of [-half, half]) {
    for (const [colour, width] of [[look.casing, 2.5], [look.core, 1]] as const) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.beginPath();
      context.moveTo(0, side);
      context.lineTo(rod.length, side);
      context.stroke();
    }
  }
}

function drawTicks(context: CanvasRenderingContext2D, rod: Rod & {length: number}, look: RodLook): void {
  const {tick_mm, long_every} = graduationFor(rod.mm_per_css_px);
  const gap = tick_mm / rod.mm_per_css_px;
  const start = alongRod(rod);
  const first = Math.ceil(-start / gap);
  const last = Math.floor((rod.length - start) / gap);
  context.strokeStyle = look.casing;
  context.lineWidth = 1;
  context.beginPath();
  for (let index = first; index <= last; index += 1) {
    const at = start + index * gap;
    const isLong = index % long_every === 0;
    context.moveTo(at, -ROD_HALF_WIDTH);
    context.lineTo(at, isLong ? 1.5 : -1.5);
  }
  context.stroke();
}

function alongRod({foot, pad, origin}: Rod): number {
  const length = Math.hypot(pad[0] - foot[0], pad[1] - foot[1]) || 1;
  return ((origin[0] - foot[0]) * (pad[0] - foot[0]) + (origin[1] - foot[1]) * (pad[1] - foot[1])) / length;
}
