/** On small screens the sheet lies over the lower wall: closed, half open, or over all; its grip is dragged or pressed. */
import {t} from './texts';

export const SHEET_HEIGHTS = ['closed', 'half', 'full'] as const;
export type SheetHeight = (typeof SHEET_HEIGHTS)[number];

/** CSS pixels of dragging that mean the next height. */
const STEP_PX = 60;

export function sheetHeight(): SheetHeight {
  const height = document.body.dataset.sheet;
  return SHEET_HEIGHTS.find((known) => known === height) ?? 'closed';
}

export function setSheetHeight(height: SheetHeight): void {
  document.body.dataset.sheet = height;
}

/** Let a record that is opened or a slip that wants words come up by itself; nothing else moves the sheet unasked. */
export function raiseSheet(): void {
  if (sheetHeight() === 'closed') setSheetHeight('half');
}

export function startSheetGrip(grip: HTMLElement): void {
  grip.setAttribute('aria-label', t('sheet.grip'));
  let from: {y: number; height: SheetHeight} | null = null;
  grip.addEventListener('pointerdown', (event) => {
    from = {y: event.clientY, height: sheetHeight()};
    grip.setPointerCapture(event.pointerId);
  });
  grip.addEventListener('pointermove', (event) => {
    if (!from) return;
    const steps = Math.round((from.y - event.clientY) / STEP_PX);
    if (steps !== 0) setSheetHeight(stepped(from.height, steps));
  });
  grip.addEventListener('pointerup', (event) => {
    const isPress = from !== null && Math.abs(from.y - event.clientY) < 5;
    from = null;
    if (isPress) setSheetHeight(sheetHeight() === 'half' ? 'full' : 'closed');
  });
  grip.addEventListener('keydown', (event) => {
    if (event.key === 'ArrowUp') setSheetHeight(stepped(sheetHeight(), 1));
    else if (event.key === 'ArrowDown') setSheetHeight(stepped(sheetHeight(), -1));
    else if (event.key === 'Enter' || event.key === ' ') setSheetHeight(sheetHeight() === 'half' ? 'full' : 'closed');
    else return;
    event.preventDefault();
  });
}

function stepped(height: SheetHeight, steps: number): SheetHeight {
  const index = Math.min(SHEET_HEIGHTS.length - 1, Math.max(0, SHEET_HEIGHTS.indexOf(height) + steps));
  return SHEET_HEIGHTS[index] ?? height;
}
