/** How the work stands before the eye: nearer, farther, whole, life size, turned, from the other side. */
import {html, type TemplateResult} from 'lit';

import {BenchElement} from '../ui/bench_element';
import {icon, type IconName} from '../ui/icons';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';
import {screenPitch} from './life_size';
import {moveTime_ms} from './motion';

const QUARTER_TURN = Math.PI / 2;

export class ViewKeysElement extends BenchElement {
  protected override readonly follows = ['change', 'sight'] as const;

  protected override render(): TemplateResult {
    const {state, sight} = this.examination;
    const turn_deg = Math.round(((sight.rotation_rad * 180) / Math.PI) * 10) / 10;
    return html`<div class="view-keys" role="group" aria-label=${t('view.title')}>
      ${this.key('nearer', t('view.nearer'), () => { this.bench.wall.scaleBy(0.5, {duration_ms: moveTime_ms()}); })}
      ${this.key('farther', t('view.farther'), () => { this.bench.wall.scaleBy(2, {duration_ms: moveTime_ms()}); })}
      ${this.key('whole', t('view.whole'), () => { this.bench.wall.showWhole(moveTime_ms()); })}
      ${this.key('life_size', t('view.life_size'), this.showLifeSize)}
      ${this.key('turn', t('view.turn'), () => { this.bench.wall.go({rotation_rad: nextQuarter(sight.rotation_rad)}); })}
      ${this.key('mirror', t('view.mirror'), () => { this.examination.change({isMirrored: !state.isMirrored}); }, state.isMirrored)}
      </div>
      <p class="ledge-line second">${scaleText(sight.mm_per_css_px)}${turn_deg ? ` · ${t('view.turned', {angle: formatNumber(turn_deg, 1)})}` : ''}${state.isMirrored ? ` · ${t('view.mirrored')}` : ''}
      <button type="button" class="text-key" @click=${() => { this.dispatchEvent(new CustomEvent('mahl-calibrate', {bubbles: true})); }}>${t('view.measure_screen')}</button></p>`;
  }

  private key(name: IconName, word: string, action: () => void, isPressed?: boolean): TemplateResult {
    return html`<button type="button" class="key" title=${word} aria-label=${word} aria-pressed=${isPressed ?? 'undefined'} @click=${action}>${icon(name)}</button>`;
  }

  private readonly showLifeSize = (): void => {
    this.bench.wall.go({mm_per_css_px: screenPitch().mm_per_css_px, duration_ms: moveTime_ms()});
  };

  protected override updated(): void {
    for (const key of this.querySelectorAll('[aria-pressed="undefined"]')) key.removeAttribute('aria-pressed');
  }
}

/** Return the next quarter turn, so that a crooked view becomes straight first. */
export function nextQuarter(rotation_rad: number): number {
  const quarters = Math.floor(rotation_rad / QUARTER_TURN + 1e-6) + 1;
  return (quarters % 4) * QUARTER_TURN;
}

/** Say how large the work is shown: 3 times life size, or a fraction of it. */
export function scaleText(mm_per_css_px: number): string {
  const {mm_per_css_px: life_mm, isMeasured} = screenPitch();
  const times = life_mm / mm_per_css_px;
  const size = times >= 1 ? formatNumber(times, times < 10 ? 1 : 0) : `1\u202f:\u202f${formatNumber(1 / times, 1 / times < 10 ? 1 : 0)}`;
  const text = Math.abs(times - 1) < 0.005 ? t('view.is_life_size') : times >= 1 ? t('view.times', {size}) : t('view.part', {size});
  return isMeasured ? text : t('view.about', {text});
}

customElements.define('mahl-view-keys', ViewKeysElement);
