/** The address of the page holds the view: place, scale, turn, both images, how they are compared, the stick. */
import type {Stick} from '../compare/stick';
import {isPlain, readTone, writeTone, type Tone} from '../tone/tone';

export type CompareMode = 'wipe' | 'fade';

export interface ViewAddress {
  x_mm?: number;
  y_mm?: number;
  mm_per_css_px?: number;
  rotation_deg?: number;
  isMirrored?: boolean;
  a?: string;
  b?: string;
  mode?: CompareMode;
  fade?: number;
  stick?: Stick;
  mark?: string;
  tone_a?: Tone;
  tone_b?: Tone;
}

export function writeAddress(view: ViewAddress): string {
  const query = new URLSearchParams();
  const put = (name: string, value: number | undefined, decimals: number): void => {
    if (value !== undefined) query.set(name, String(Number(value.toFixed(decimals))));
  };
  put('x', view.x_mm, 3);
  put('y', view.y_mm, 3);
  put('mm-per-px', view.mm_per_css_px, 6);
  if (view.rotation_deg) put('turn', view.rotation_deg, 2);
  if (view.isMirrored !== undefined) query.set('mirrored', view.isMirrored ? '1' : '0');
  if (view.a) query.set('a', view.a);
  if (view.b) query.set('b', view.b);
  if (view.mode) query.set('by', view.mode);
  if (view.mode === 'fade') put('fade', view.fade, 2);
  if (view.stick) {
    const {x_mm, y_mm, angle_deg} = view.stick;
    query.set('stick', [x_mm.toFixed(2), y_mm.toFixed(2), angle_deg.toFixed(1)].join('_'));
  }
  if (view.mark) query.set('mark', view.mark);
  if (view.tone_a && !isPlain(view.tone_a)) query.set('tone-a', writeTone(view.tone_a));
  if (view.tone_b && !isPlain(view.tone_b)) query.set('tone-b', writeTone(view.tone_b));
  return query.toString();
}

/** Read what is understood and ignore the rest: an old or hand-written address still opens the page. */
export function readAddress(search: string): ViewAddress {
  const query = new URLSearchParams(search);
  const view: ViewAddress = {};
  const take = (name: string): number | undefined => {
    const text = query.get(name);
    const value = text === null || text === '' ? NaN : Number(text);
    return Number.isFinite(value) ? value : undefined;
  };
  assign(view, 'x_mm', take('x'));
  assign(view, 'y_mm', take('y'));
  assign(view, 'mm_per_css_px', positive(take('mm-per-px')));
  assign(view, 'rotation_deg', take('turn'));
  if (query.has('mirrored')) view.isMirrored = query.get('mirrored') === '1';
  assign(view, 'a', query.get('a') ?? undefined);
  assign(view, 'b', query.get('b') ?? undefined);
  const mode = query.get('by');
  if (mode === 'wipe' || mode === 'fade') view.mode = mode;
  const fade = take('fade');
  if (fade !== undefined) view.fade = Math.min(1, Math.max(0, fade));
  assign(view, 'stick', readStick(query.get('stick')));
  assign(view, 'mark', query.get('mark') ?? undefined);
  assign(view, 'tone_a', readTone(query.get('tone-a')) ?? undefined);
  assign(view, 'tone_b', readTone(query.get('tone-b')) ?? undefined);
  return view;
}

function assign<K extends keyof ViewAddress>(view: ViewAddress, name: K, value: ViewAddress[K] | undefined): void {
  if (value !== undefined) view[name] = value;
}

function positive(value: number | undefined): number | undefined {
  return value !== undefined && value > 0 ? value : undefined;
}

function readStick(text: string | null): Stick | undefined {
  const [x_mm = NaN, y_mm = NaN, angle_deg = NaN] = (text ?? '').split('_').map(Number);
  return [x_mm, y_mm, angle_deg].every(Number.isFinite) && text ? {x_mm, y_mm, angle_deg} : undefined;
}
