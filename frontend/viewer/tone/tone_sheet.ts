/** The tone of one image, on the sheet: three rods, inversion, the curve that follows. */
import {html, type TemplateResult} from 'lit';

import type {Slot} from '../map/examination';
import type {Bench} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {fullName} from '../ui/image_names';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';
import {GAMMA_LIMITS, isPlain, PLAIN_TONE, shownValue, toned, type Tone} from './tone';

interface Rod {
  name: 'black' | 'white' | 'gamma';
  /** Place of the pad on the rod, 0 to 1. */
  part: number;
  text: string;
  at: (part: number) => number;
}

const KEY_STEP = 0.02;
const CURVE_STEPS = 48;

export function renderTone(slot: Slot, {examination}: Bench): TemplateResult {
  const image = examination.shown(slot);
  const tone = examination.toneOf(slot) ?? PLAIN_TONE;
  const set = (patch: Partial<Tone>): void => { examination.setTone(slot, toned(tone, patch)); };
  return html`<div class="sheet-body stack tone-sheet">
    <header class="record-head tone-head"><h2 class="title">${t('tone.title', {slot})}</h2>
      <button type="button" class="key key-quiet" aria-label=${t('tone.close')} title=${t('tone.close')} @click=${() => { examination.change({tonePanel: null}); }}>${icon('close')}</button></header>
    <p class="second">${image ? fullName(examination.data, image) : ''}</p>
    <svg class="tone-curve" viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true"><path d="M0 100 L100 0" class="tone-plain"></path><path d=${curve(tone)}></path></svg>
    ${rodsOf(tone).map((rod) => renderRod(rod, set))}
    <div class="keys"><button type="button" class="key" aria-pressed=${tone.isInverted} @click=${() => { set({isInverted: !tone.isInverted}); }}>${t('tone.invert')}</button>
      <button type="button" class="key" ?disabled=${isPlain(tone)} @click=${() => { examination.setTone(slot, PLAIN_TONE); }}>${icon('undo')}${t('tone.plain')}</button></div>
    <p class="second">${t('tone.display_only')}</p></div>`;
}

function rodsOf({black, white, gamma}: Tone): Rod[] {
  const [least, most] = GAMMA_LIMITS;
  const span = Math.log(most / least);
  const percent = (part: number): string => `${formatNumber(part * 100, 0)}\u202f%`;
  return [
    {name: 'black', part: black, text: percent(black), at: (part) => part},
    {name: 'white', part: white, text: percent(white), at: (part) => part},
    {name: 'gamma', part: Math.log(gamma / least) / span, text: formatNumber(gamma, 2), at: (part) => least * Math.exp(part * span)},
  ];
}

function renderRod(rod: Rod, set: (patch: Partial<Tone>) => void): TemplateResult {
  const label = t(`tone.${rod.name}`);
  const move = (part: number): void => { set({[rod.name]: Math.round(rod.at(Math.min(1, Math.max(0, part))) * 1000) / 1000}); };
  return html`<div class="tone-row"><span class="tone-label" aria-hidden="true">${label}</span>
    <div class="fade-rod tone-rod" data-part=${rod.part.toFixed(4)} @pointerdown=${(event: PointerEvent) => { dragRod(event, move); }}>
      <span class="fade-scale" aria-hidden="true"></span>
      <div class="fade-pad grip" role="slider" tabindex="0" aria-label=${label} aria-valuemin="0" aria-valuemax="100" aria-valuenow=${Math.round(rod.part * 100)}
        aria-valuetext=${rod.text} @keydown=${(event: KeyboardEvent) => { stepRod(event, {part: rod.part, move}); }}></div></div>
    <output class="tone-value">${rod.text}</output></div>`;
}

function stepRod(event: KeyboardEvent, {part, move}: {part: number; move: (part: number) => void}): void {
  const steps: Record<string, number> = {ArrowLeft: -KEY_STEP, ArrowDown: -KEY_STEP, ArrowRight: KEY_STEP, ArrowUp: KEY_STEP, Home: -1, End: 1};
  const step = steps[event.key];
  if (step === undefined) return;
  event.preventDefault();
  move(part + step);
}

function dragRod(event: PointerEvent, move: (part: number) => void): void {
  const rod = event.currentTarget;
  if (!(rod instanceof HTMLElement)) return;
  event.preventDefault();
  rod.querySelector<HTMLElement>('.fade-pad')?.focus();
  rod.setPointerCapture(event.pointerId);
  const follow = ({clientX}: PointerEvent): void => {
    const box = rod.querySelector('.fade-scale')?.getBoundingClientRect();
    if (box) move((clientX - box.left) / box.width);
  };
  follow(event);
  rod.addEventListener('pointermove', follow);
  rod.addEventListener('lostpointercapture', () => { rod.removeEventListener('pointermove', follow); }, {once: true});
}

/** Put the pads where their values are; a style attribute in the markup would need a wider security policy. */
export function placePads(root: HTMLElement): void {
  for (const rod of root.querySelectorAll<HTMLElement>('.tone-rod')) rod.style.setProperty('--fade', rod.dataset.part ?? '0');
}

function curve(tone: Tone): string {
  const points = Array.from({length: CURVE_STEPS + 1}, (_, step) => {
    const value = step / CURVE_STEPS;
    return `${(value * 100).toFixed(1)} ${(100 - shownValue(tone, value) * 100).toFixed(1)}`;
  });
  return `M${points.join(' L')}`;
}
