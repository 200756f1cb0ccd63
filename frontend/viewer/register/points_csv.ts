/** Points as a table (RFC 4180): the same columns as the server and the command line read. */
import {t} from '../ui/texts';
import type {PointKind, SetPoint} from './point_set';

const COLUMNS = ['label', 'frame_x_mm', 'frame_y_mm', 'image_x_px', 'image_y_px', 'kind'] as const;
const NUMBERS = ['frame_x_mm', 'frame_y_mm', 'image_x_px', 'image_y_px'] as const;

export class PointTableError extends Error {
  override name = 'PointTableError';
}

export function writePoints(points: readonly SetPoint[]): string {
  const rows = points.map(({label, x_mm, y_mm, x_px, y_px, kind}) => [quoted(label), x_mm, y_mm, x_px, y_px, kind].join(','));
  return [COLUMNS.join(','), ...rows, ''].join('\r\n');
}

/** Read a table; a wrong line is named with what was found and what is needed. */
export function readPoints(text: string): SetPoint[] {
  const [header = [], ...rows] = records(text.replace(/^\uFEFF/, ''));
  const names = header.map((name) => name.trim());
  const absent = NUMBERS.filter((name) => !names.includes(name));
  if (absent.length > 0) throw new PointTableError(t('csv.columns', {absent: absent.join(', ')}));
  const taken = new Set<string>();
  return rows.map((cells, index) => {
    const cell = (name: string): string => cells[names.indexOf(name)]?.trim() ?? '';
    const [x_mm, y_mm, x_px, y_px] = NUMBERS.map((name) => numberIn(cell(name), {line: index + 2, name}));
    const label = cell('label') || `P${String(index + 1)}`;
    if (taken.has(label)) throw new PointTableError(t('csv.twice', {label, line: index + 2}));
    taken.add(label);
    return {label, kind: kindIn(cell('kind'), index + 2), x_mm: x_mm ?? 0, y_mm: y_mm ?? 0, x_px: x_px ?? 0, y_px: y_px ?? 0};
  });
}

function numberIn(text: string, {line, name}: {line: number; name: string}): number {
  const value = text === '' ? NaN : Number(text);
  if (!Number.isFinite(value)) throw new PointTableError(t('csv.number', {line, name, got: text || t('csv.nothing')}));
  return value;
}

function kindIn(text: string, line: number): PointKind {
  if (text === '' || text === 'control') return 'control';
  if (text === 'check') return 'check';
  throw new PointTableError(t('csv.kind', {line, got: text}));
}

function quoted(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

/** Split a table into records and cells, quotes included; empty lines do not count. */
function records(text: string): string[][] {
  const found: string[][] = [];
  let row: string[] = [];
  let cell = '';
  let isQuoted = false;
  const endRow = (): void => {
    row.push(cell);
    if (row.some((value) => value !== '')) found.push(row);
    row = [];
    cell = '';
  };
  for (let index = 0; index < text.length; index += 1) {
    const sign = text[index];
    if (isQuoted) {
      if (sign === '"' && text[index + 1] === '"') {
        cell += '"';
        index += 1;
      } else if (sign === '"') isQuoted = false;
      else cell += sign ?? '';
    } else if (sign === '"') isQuoted = true;
    else if (sign === ',') {
      row.push(cell);
      cell = '';
    } else if (sign === '\n') endRow();
    else if (sign !== '\r') cell += sign ?? '';
  }
  endRow();
  return found;
}
