/** The phone page, for one hand: four keys and a thumb grip that moves the stick from afar. */
import {html, nothing, type TemplateResult} from 'lit';

import {moveByKey} from '../compare/stick_moves';
import {slid, turned} from '../compare/stick';
import {LENGTH} from '../draw/words';
import {measuredWhileDrawing} from '../measure/measured';
import {renderMeasuredShort} from '../measure/measured_text';
import {BenchElement} from './bench_element';
import {icon, type IconName} from './icons';
import {sheetHeight, setSheetHeight} from './sheet_grip';
import {t, type TextKey} from './texts';

type Panel = 'spots' | 'compare' | 'say';

/** Degrees the stick turns for each CSS pixel of the thumb's way. */
const TURN_PER_PX = 0.25;

export class PhoneKeysElement extends BenchElement {
  private panel: Panel = 'spots';

  protected override attached(): void {
    this.bench.drawing.on(() => {
      if (this.bench.drawing.phase === 'drawing' && this.bench.drawing.corners.length === 0) this.open('spots');
      this.requestUpdate();
    });
    this.open('spots');
  }

  protected override render(): TemplateResult {
    const {drawing} = this.bench;
    const isMeasuring = drawing.isActive && drawing.word === LENGTH;
    return html`${this.valueLine()}
      <div class="phone-keys" role="group" aria-label=${t('phone.keys')}>
        ${this.key('wipe', 'phone.compare', {isOn: this.panel === 'compare', action: () => { this.toggle('compare'); }})}
        ${this.key('contour', 'phone.say', {isOn: this.panel === 'say', action: () => { this.toggle('say'); }})}
        ${this.key('measure', 'phone.measure', {isOn: isMeasuring, action: () => { if (isMeasuring) drawing.giveUp(); else drawing.begin(LENGTH); }})}
        ${this.key('sheet', 'phone.record', {isOn: sheetHeight() !== 'closed', action: this.toggleSheet})}
        <div class="thumb-grip grip" role="slider" tabindex="0" aria-label=${t('stick.thumb')} aria-valuemin="0" aria-valuemax="360"
          aria-valuenow=${this.examination.state.stick.angle_deg} @keydown=${this.onKey} @pointerdown=${this.drag}>
          <svg viewBox="0 0 40 40" aria-hidden="true"><path d="M12 33 L28 7 M4 20 H13 M8 16 L4 20 L8 24 M36 20 H27 M32 16 L36 20 L32 24"></path></svg></div>
      </div>`;
  }

  private key(name: IconName, word: TextKey, {isOn, action}: {isOn: boolean; action: () => void}): TemplateResult {
    return html`<button type="button" class="key" aria-pressed=${isOn} @click=${action}>${icon(name)}<span>${t(word)}</span></button>`;
  }

  /** The value under the hand, and the way on from here. */
  private valueLine(): TemplateResult | typeof nothing {
    const {drawing} = this.bench;
    if (!drawing.isActive || drawing.phase === 'reshaping') return nothing;
    const measured = measuredWhileDrawing(drawing, this.examination);
    const done = (): void => {
      drawing.finish();
      this.showSheet();
    };
    return html`<div class="value-line"><div>${measured ? renderMeasuredShort(measured) : html`<p class="second">${t(drawing.kind === 'Point' ? 'say.hint_point' : 'say.hint_corner')}</p>`}</div>
      ${drawing.phase === 'drawing' ? html`<button type="button" class="key" @click=${() => { drawing.giveUp(); }} aria-label=${t('say.give_up')}>${icon('close')}</button>
        <button type="button" class="key key-strong" ?disabled=${!drawing.canFinish} @click=${done}>${t('say.done')}</button>`
        : html`<button type="button" class="key key-strong" @click=${() => { this.showSheet(); }}>${t('phone.say')}</button>`}</div>`;
  }

  private toggle(panel: Panel): void {
    this.open(this.panel === panel ? 'spots' : panel);
  }

  private open(panel: Panel): void {
    this.panel = panel;
    document.body.dataset.panel = panel;
    this.requestUpdate();
  }

  private readonly toggleSheet = (): void => {
    setSheetHeight(sheetHeight() === 'closed' ? 'half' : 'closed');
    this.requestUpdate();
  };

  private showSheet(): void {
    setSheetHeight('full');
    this.requestUpdate();
  }

  private readonly onKey = (event: KeyboardEvent): void => {
    const stick = moveByKey(this.examination.state.stick, event);
    if (!stick) return;
    event.preventDefault();
    this.examination.change({stick});
  };

  private readonly drag = (event: PointerEvent): void => {
    const grip = event.currentTarget;
    if (!(grip instanceof HTMLElement)) return;
    event.preventDefault();
    grip.setPointerCapture(event.pointerId);
    const start = {...this.examination.state.stick};
    const move = ({clientX, clientY}: PointerEvent): void => {
      const across_mm = (clientX - event.clientX) * this.examination.sight.mm_per_css_px;
      const by_deg = (event.clientY - clientY) * TURN_PER_PX;
      this.examination.change({stick: turned(slid(start, across_mm), Math.abs(by_deg) < 4 ? 0 : by_deg)});
    };
    grip.addEventListener('pointermove', move);
    grip.addEventListener('lostpointercapture', () => { grip.removeEventListener('pointermove', move); }, {once: true});
  };
}

customElements.define('mahl-phone-keys', PhoneKeysElement);
