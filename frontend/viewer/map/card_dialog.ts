/** Measuring the screen with a bank card: a rod is made as long as the card is wide. */
import {html, type TemplateResult} from 'lit';

import {BenchElement} from '../ui/bench_element';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';
import {ID1_CARD_WIDTH_MM, keepCardWidth, screenPitch} from './life_size';

const LEAST_CSS_PX = 90;

export class CardDialogElement extends BenchElement {
  private width_css_px = 0;

  protected override attached(): void {
    document.addEventListener('mahl-calibrate', () => {
      this.width_css_px = ID1_CARD_WIDTH_MM / screenPitch().mm_per_css_px;
      this.requestUpdate();
      this.querySelector('dialog')?.showModal();
    });
  }

  protected override render(): TemplateResult {
    const width = t('card.width', {width: formatNumber(this.width_css_px, 1)});
    return html`<dialog class="card-dialog paper" aria-labelledby="card-title">
      <h2 class="title" id="card-title">${t('card.title')}</h2><p class="prose">${t('card.help')}</p>
      <div class="card-rod"><div class="card-length"></div><div class="card-pad grip" role="slider" tabindex="0" aria-label=${t('card.pad')}
        aria-valuemin=${LEAST_CSS_PX} aria-valuemax="1200" aria-valuenow=${Math.round(this.width_css_px)} aria-valuetext=${width}
        @keydown=${this.onKey} @pointerdown=${this.drag}></div></div>
      <p class="second">${width}</p>
      <div class="keys"><button type="button" class="key key-strong" @click=${this.keep}>${t('card.keep')}</button>
      <button type="button" class="key" @click=${() => { this.close(); }}>${t('card.close')}</button></div></dialog>`;
  }

  protected override updated(): void {
    this.querySelector<HTMLElement>('.card-rod')?.style.setProperty('--card', `${String(this.width_css_px)}px`);
  }

  private readonly onKey = (event: KeyboardEvent): void => {
    const steps: Record<string, number> = {ArrowLeft: -0.5, ArrowRight: 0.5, ArrowDown: -5, ArrowUp: 5};
    const step = steps[event.key];
    if (step === undefined) return;
    event.preventDefault();
    this.become(this.width_css_px + step);
  };

  private readonly drag = (event: PointerEvent): void => {
    const pad = event.currentTarget;
    if (!(pad instanceof HTMLElement)) return;
    pad.setPointerCapture(event.pointerId);
    const from = this.width_css_px - event.clientX;
    const move = ({clientX}: PointerEvent): void => { this.become(from + clientX); };
    pad.addEventListener('pointermove', move);
    pad.addEventListener('lostpointercapture', () => { pad.removeEventListener('pointermove', move); }, {once: true});
  };

  private become(width_css_px: number): void {
    this.width_css_px = Math.max(LEAST_CSS_PX, Math.min(1200, width_css_px));
    this.requestUpdate();
  }

  private readonly keep = (): void => {
    keepCardWidth(this.width_css_px);
    this.close();
    this.examination.see(this.examination.sight);
  };

  private close(): void {
    this.querySelector('dialog')?.close();
  }
}

customElements.define('mahl-card', CardDialogElement);
