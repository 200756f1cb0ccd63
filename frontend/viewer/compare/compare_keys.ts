/** Compare a with b: the ways there are, and what belongs to the way chosen. */
import {html, type TemplateResult} from 'lit';

import type {CompareMode} from '../map/view_address';
import {BenchElement} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';

const MODES: readonly CompareMode[] = ['wipe', 'fade'];

export class CompareKeysElement extends BenchElement {
  protected override render(): TemplateResult {
    const {state} = this.examination;
    const hasBoth = this.examination.shown('a') !== null && this.examination.shown('b') !== null;
    return html`
      <div class="ledge-head"><h2 class="head">${t('compare.title')}</h2></div>
      <div class="compare-modes" role="group" aria-label=${t('compare.title')}>${MODES.map((mode) => html`
        <button type="button" class="key key-stack" aria-pressed=${state.mode === mode} @click=${() => { this.examination.change({mode}); }}>
          ${icon(mode)}<span>${t(`compare.${mode}`)}</span></button>`)}</div>
      ${hasBoth ? this.belonging() : html`<p class="ledge-line second">${t('compare.need_two')}</p>`}`;
  }

  private belonging(): TemplateResult {
    return this.examination.state.mode === 'wipe' ? this.stickLine() : this.fadeLine();
  }

  private stickLine(): TemplateResult {
    const {stick} = this.examination.state;
    const key = (angle_deg: number, word: string): TemplateResult => html`<button type="button" class="text-key"
      @click=${() => { this.examination.change({stick: {...stick, angle_deg}}); }}>${word}</button>`;
    return html`<p class="ledge-line"><span class="second">${t('stick.angle', {angle: formatNumber(stick.angle_deg, 1)})}</span>
      ${key(90, t('stick.upright'))} ${key(0, t('stick.level'))}
      <button type="button" class="text-key" @click=${this.layHere}>${t('stick.lay_here')}</button></p>`;
  }

  private readonly layHere = (): void => {
    const {stick} = this.examination.state;
    const [x_mm, y_mm] = this.examination.sight.centre_mm;
    this.examination.change({stick: {...stick, x_mm, y_mm}});
  };

  private fadeLine(): TemplateResult {
    const percent = Math.round(this.examination.state.fade * 100);
    return html`<div class="fade-rod" @pointerdown=${this.drag}>
      <span class="fade-scale" aria-hidden="true"></span>
      <div class="fade-pad grip" role="slider" tabindex="0" aria-label=${t('fade.name')} aria-valuemin="0" aria-valuemax="100"
        aria-valuenow=${percent} aria-valuetext=${t('fade.place', {percent})} @keydown=${this.onKey}></div>
      <span class="fade-end" aria-hidden="true">a</span><span class="fade-end" aria-hidden="true">b</span></div>`;
  }

  protected override updated(): void {
    this.querySelector<HTMLElement>('.fade-rod')?.style.setProperty('--fade', String(this.examination.state.fade));
  }

  private readonly onKey = (event: KeyboardEvent): void => {
    const steps: Record<string, number> = {ArrowLeft: -0.05, ArrowDown: -0.05, ArrowRight: 0.05, ArrowUp: 0.05, Home: -1, End: 1};
    const step = steps[event.key];
    if (step === undefined) return;
    event.preventDefault();
    this.fadeTo(this.examination.state.fade + step);
  };

  private readonly drag = (event: PointerEvent): void => {
    const rod = event.currentTarget;
    if (!(rod instanceof HTMLElement)) return;
    event.preventDefault();
    rod.querySelector<HTMLElement>('.fade-pad')?.focus();
    rod.setPointerCapture(event.pointerId);
    const move = ({clientX}: PointerEvent): void => {
      const box = rod.querySelector('.fade-scale')?.getBoundingClientRect();
      if (box) this.fadeTo((clientX - box.left) / box.width);
    };
    move(event);
    rod.addEventListener('pointermove', move);
    const stop = (): void => { rod.removeEventListener('pointermove', move); };
    rod.addEventListener('pointerup', stop, {once: true});
    rod.addEventListener('pointercancel', stop, {once: true});
  };

  private fadeTo(part: number): void {
    this.examination.change({fade: Math.round(Math.min(1, Math.max(0, part)) * 100) / 100});
  }
}

customElements.define('mahl-compare-keys', CompareKeysElement);
