/** The stick on the wall: rod, pad to move it, foot to turn it, and the names of both images along its sides. */
import {html, nothing, type TemplateResult} from 'lit';
import {createRef, ref} from 'lit/directives/ref.js';

import type {ImageData, PointMm} from '../api/contract';
import {BenchElement} from '../ui/bench_element';
import {fitCanvas, roomColour} from '../ui/canvas';
import {fullName} from '../ui/image_names';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';
import {drawRod, ROD_HALF_WIDTH, type RodLook} from './rod_drawing';
import {angleTowards_deg, endsInView, onScreen, sideOfB, type ScreenPoint, type ScreenStick, type Stick} from './stick';
import {moveByKey, movedByDrag} from './stick_moves';

const PAD_INSET = 20;
const FOOT_INSET = 10;
const NAME_START = 46;
const NAME_GAP = 16;

export class StickElement extends BenchElement {
  private readonly canvas = createRef<HTMLCanvasElement>();
  private padAt: ScreenPoint = [0, 0];
  private look: RodLook = {core: '#FFFFFF', casing: '#101010'};

  protected override attached(): void {
    this.examination.on('sight', () => { this.lay(); });
    document.addEventListener('mahlstick-room', () => { this.dress(); });
    this.dress();
  }

  protected override render(): TemplateResult | typeof nothing {
    const {state} = this.examination;
    const a = this.examination.shown('a');
    const b = this.examination.shown('b');
    const hasStick = state.mode === 'wipe' && a !== null && b !== null;
    this.hidden = !hasStick;
    if (!hasStick) return nothing;
    const {x_mm, y_mm, angle_deg} = state.stick;
    const place = t('stick.place', {x: formatNumber(x_mm, 1), y: formatNumber(y_mm, 1), angle: formatNumber(angle_deg, 1)});
    return html`
      <canvas class="stick-rod" aria-hidden="true" ${ref(this.canvas)}></canvas>
      ${this.name('a', a)} ${this.name('b', b)}
      <div class="stick-foot grip" title=${t('stick.turn')} aria-hidden="true" @pointerdown=${(event: PointerEvent) => { this.drag(event, 'turn'); }}></div>
      <div class="stick-pad grip" tabindex="0" role="slider" aria-label=${t('stick.name')} aria-valuemin="0" aria-valuemax="360"
        aria-valuenow=${angle_deg} aria-valuetext=${place} aria-describedby="stick-help"
        @keydown=${this.onKey} @pointerdown=${(event: PointerEvent) => { this.drag(event, 'move'); }}>
        <svg viewBox="0 0 20 20" aria-hidden="true"><path d="M4 8 C7 4.5 13 4.5 16 8 M4 12 C7 15.5 13 15.5 16 12"></path></svg>
      </div>
      <p id="stick-help" class="visually-hidden">${t('stick.help')}</p>`;
  }

  private name(slot: 'a' | 'b', image: ImageData): TemplateResult {
    return html`<div class="stick-name" data-slot=${slot}><b>${slot}</b><span>${fullName(this.examination.data, image)}</span></div>`;
  }

  protected override updated(): void {
    this.lay();
  }

  private dress(): void {
    this.look = {core: roomColour('--mark-core', '#FFFFFF'), casing: roomColour('--mark-casing', '#101010')};
    this.lay();
  }

  /** Put rod, grips and names where the view now has them. */
  private lay(): void {
    const canvas = this.canvas.value;
    if (!canvas || this.hidden) return;
    const {wall} = this.bench;
    const {placing} = wall;
    const {state} = this.examination;
    const stick = onScreen(state.stick, (point_mm) => wall.pixelFromMm(point_mm));
    const ends = endsInView(stick, placing);
    this.classList.toggle('is-outside', ends === null);
    const context = fitCanvas(canvas, placing.width, placing.height);
    if (!context || !ends) return;
    const pad = inset(ends[1], stick.direction, -PAD_INSET);
    const foot = inset(ends[0], stick.direction, FOOT_INSET);
    this.padAt = pad;
    const agreement_mm = this.examination.agreement_mm([state.stick.x_mm, state.stick.y_mm]);
    drawRod(context, {foot: ends[0], pad, origin: stick.at, mm_per_css_px: placing.mm_per_css_px, agreement_mm}, this.look);
    place(this.querySelector('.stick-pad'), pad);
    place(this.querySelector('.stick-foot'), foot);
    this.layNames(stick, {foot, pad});
  }

  private layNames(stick: ScreenStick, {foot, pad}: {foot: ScreenPoint; pad: ScreenPoint}): void {
    const length = Math.hypot(pad[0] - foot[0], pad[1] - foot[1]);
    const side = sideOfB(stick, this.bench.wall.viewFrame.isMirrored);
    const isReversed = stick.direction[0] < -0.02;
    const turn = Math.atan2(stick.direction[1], stick.direction[0]) + (isReversed ? Math.PI : 0);
    for (const element of this.querySelectorAll<HTMLElement>('.stick-name')) {
      const sign = element.dataset.slot === 'b' ? 1 : -1;
      element.hidden = length < NAME_START + element.offsetWidth + 30;
      const away = (ROD_HALF_WIDTH + NAME_GAP) * sign;
      const x = foot[0] + stick.direction[0] * NAME_START + side[0] * away;
      const y = foot[1] + stick.direction[1] * NAME_START + side[1] * away;
      const back = isReversed ? ' translate(-100%, 0)' : '';
      element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) rotate(${turn.toFixed(4)}rad)${back} translate(0, -50%)`;
    }
  }

  private readonly onKey = (event: KeyboardEvent): void => {
    const stick = moveByKey(this.examination.state.stick, event);
    if (!stick) return;
    event.preventDefault();
    this.examination.change({stick});
  };

  private drag(event: PointerEvent, how: 'move' | 'turn'): void {
    const grip = event.currentTarget;
    if (!(grip instanceof HTMLElement)) return;
    event.preventDefault();
    grip.focus();
    grip.setPointerCapture(event.pointerId);
    const start = {stick: this.examination.state.stick, at_mm: this.bench.wall.mmFromEvent(event), pivot_mm: this.bench.wall.mmFromPixel(this.padAt)};
    const move = (moved: PointerEvent): void => {
      const to_mm = this.bench.wall.mmFromEvent(moved);
      const stick = how === 'move' ? movedByDrag(start.stick, start.at_mm, to_mm) : turnedAbout(start.pivot_mm, to_mm);
      this.examination.change({stick});
    };
    grip.addEventListener('pointermove', move);
    const stop = (): void => { grip.removeEventListener('pointermove', move); };
    grip.addEventListener('pointerup', stop, {once: true});
    grip.addEventListener('pointercancel', stop, {once: true});
  }
}

/** As at the easel: the pad rests where it is, the foot follows the hand. */
function turnedAbout(pivot_mm: PointMm, foot_mm: PointMm): Stick {
  return {x_mm: pivot_mm[0], y_mm: pivot_mm[1], angle_deg: angleTowards_deg(foot_mm, pivot_mm)};
}

function inset(point: ScreenPoint, direction: ScreenPoint, distance: number): ScreenPoint {
  return [point[0] + direction[0] * distance, point[1] + direction[1] * distance];
}

function place(element: HTMLElement | null, [x, y]: ScreenPoint): void {
  if (element) element.style.transform = `translate(${x.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`;
}

customElements.define('mahl-stick', StickElement);
