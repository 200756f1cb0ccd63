/** Points on the pictures: control points are crosses, held-out ones squares; a slip is struck through. */
import type {ScreenPoint} from '../compare/stick';
import {roomColour} from '../ui/canvas';
import type {PointSet, SetPoint} from './point_set';
import type {PointMm} from '../api/contract';

export interface DrawingTools {
  context: CanvasRenderingContext2D;
  toScreen: (place: PointMm) => ScreenPoint;
}

const ARM = 8;
const GAP = 2.5;
/** With more points than this their labels would hide the picture; the chosen one and slips keep theirs. */
const MOST_LABELS = 16;

export function drawPoints({context, toScreen}: DrawingTools, set: PointSet, placeOf: (point: SetPoint) => PointMm): void {
  for (const point of set.points) {
    const at = toScreen(placeOf(point));
    const isChosen = set.chosen === point.label;
    drawMark(context, at, {isCheck: point.kind === 'check', size: isChosen ? ARM + 3 : ARM});
    if (set.fitted.get(point.label)?.is_slip) strikeThrough(context, at);
    if (isChosen || set.points.length <= MOST_LABELS || set.fitted.get(point.label)?.is_slip) drawLabel(context, [at[0] + ARM + 6, at[1] - ARM - 4], {text: point.label, isChosen});
  }
}

/** The place pressed last, waiting for its other half. */
export function drawPending({context, toScreen}: DrawingTools, place: PointMm, isCheck: boolean): void {
  drawMark(context, toScreen(place), {isCheck, size: ARM + 3});
}

/** Where the other half is to be expected: a dashed frame, for the eye to search in. */
export function drawExpected({context, toScreen}: DrawingTools, place: PointMm): void {
  const [x, y] = toScreen(place);
  doubled(context, () => {
    context.strokeRect(x - 17, y - 17, 34, 34);
  }, [6, 5]);
}

export function drawCross(context: CanvasRenderingContext2D, [x, y]: ScreenPoint, arm: number): void {
  doubled(context, () => {
    context.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]] as const) {
      context.moveTo(x + dx * GAP, y + dy * GAP);
      context.lineTo(x + dx * arm, y + dy * arm);
    }
    context.stroke();
  });
}

function drawMark(context: CanvasRenderingContext2D, [x, y]: ScreenPoint, {isCheck, size}: {isCheck: boolean; size: number}): void {
  if (isCheck) doubled(context, () => { context.strokeRect(x - size * 0.6, y - size * 0.6, size * 1.2, size * 1.2); });
  else drawCross(context, [x, y], size);
}

function strikeThrough(context: CanvasRenderingContext2D, [x, y]: ScreenPoint): void {
  doubled(context, () => {
    context.beginPath();
    context.moveTo(x - 12, y + 7);
    context.lineTo(x + 12, y - 7);
    context.stroke();
  });
}

function drawLabel(context: CanvasRenderingContext2D, [x, y]: ScreenPoint, {text, isChosen}: {text: string; isChosen: boolean}): void {
  const core = roomColour('--mark-core', '#FFFFFF');
  const casing = roomColour('--mark-casing', '#101010');
  context.font = '500 13px "Alegreya Sans", sans-serif';
  context.textBaseline = 'middle';
  const width = context.measureText(text).width + 8;
  context.fillStyle = isChosen ? core : casing;
  context.fillRect(x - 4, y - 9, width, 18);
  context.fillStyle = isChosen ? casing : core;
  context.fillText(text, x, y + 0.5);
}

function doubled(context: CanvasRenderingContext2D, draw: () => void, dash: number[] = []): void {
  for (const [colour, width] of [[roomColour('--mark-casing', '#101010'), 4.5], [roomColour('--mark-core', '#FFFFFF'), 1.8]] as const) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.setLineDash(width > 2 ? [] : dash);
    draw();
  }
  context.setLineDash([]);
}

/** The bare frame where no image is laid yet: its edge and a net of millimetres. */
export function drawFrame({context, toScreen}: DrawingTools, {width_mm, height_mm}: {width_mm: number; height_mm: number}, step_mm: number): void {
  const line = (from: PointMm, to: PointMm): void => {
    context.beginPath();
    context.moveTo(...toScreen(from));
    context.lineTo(...toScreen(to));
    context.stroke();
  };
  const [left, top] = toScreen([0, 0]);
  const [right, bottom] = toScreen([width_mm, height_mm]);
  context.fillStyle = roomColour('--sheet', '#D8D8D8');
  context.fillRect(left, top, right - left, bottom - top);
  context.strokeStyle = roomColour('--hair', '#B4B4B4');
  context.lineWidth = 1;
  for (let x_mm = step_mm; x_mm < width_mm; x_mm += step_mm) line([x_mm, 0], [x_mm, height_mm]);
  for (let y_mm = step_mm; y_mm < height_mm; y_mm += step_mm) line([0, y_mm], [width_mm, y_mm]);
  context.strokeStyle = roomColour('--ink', '#121212');
  context.lineWidth = 2;
  context.strokeRect(left, top, right - left, bottom - top);
}
