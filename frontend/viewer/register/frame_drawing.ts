/** The frame being set up, on the picture: zero corner, top edge with its direction, outline. */
import {roomColour} from '../ui/canvas';
import type {FrameDraft} from './frame_draft';
import {drawCross, type DrawingTools} from './point_drawing';

export function drawFrameDraft({context, toScreen}: DrawingTools, draft: FrameDraft): void {
  const corner = draft.corner_px ? toScreen(draft.corner_px) : null;
  const end = draft.edge_end_px ? toScreen(draft.edge_end_px) : null;
  const outline = draft.outline_px.map((place) => toScreen(place));
  if (outline.length > 1) trace(context, outline, outline.length > 2);
  if (corner && end) trace(context, [corner, end], false);
  if (corner) {
    drawCross(context, corner, 16);
    label(context, [corner[0] + 12, corner[1] - 16], '0, 0');
  }
  if (end) {
    drawCross(context, end, 12);
    label(context, [end[0] - 18, end[1] - 16], 'x');
  }
  for (const at of outline) drawCross(context, at, 8);
}

function trace(context: CanvasRenderingContext2D, places: (readonly [number, number])[], isClosed: boolean): void {
  for (const [colour, width] of [[roomColour('--mark-casing', '#101010'), 4.5], [roomColour('--mark-core', '#FFFFFF'), 1.8]] as const) {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.beginPath();
    for (const [x, y] of places) context.lineTo(x, y);
    if (isClosed) context.closePath();
    context.stroke();
  }
}

function label(context: CanvasRenderingContext2D, [x, y]: readonly [number, number], text: string): void {
  context.font = '500 13px "Alegreya Sans", sans-serif';
  context.textBaseline = 'middle';
  context.fillStyle = roomColour('--mark-casing', '#101010');
  context.fillRect(x - 4, y - 9, context.measureText(text).width + 8, 18);
  context.fillStyle = roomColour('--mark-core', '#FFFFFF');
  context.fillText(text, x, y + 0.5);
}
