/** The sheet: what is on the wall, the record of the open mark, or the slip of what is being said. */
import {html, nothing, type TemplateResult} from 'lit';

import type {OpenImage} from '../api/contract';
import type {Slot} from '../map/examination';
import {placePads, renderTone} from '../tone/tone_sheet';
import {BenchElement} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {fullName} from '../ui/image_names';
import {formatPitch, withUnit} from '../ui/numbers';
import {t} from '../ui/texts';
import {byKey} from './order';
import {renderRecord} from './record';
import {SayingSlip} from './saying_slip';

/** Longer lists are read on the picture: the margin shows what is in view. */
const MOST_ROWS = 200;

export class SheetElement extends BenchElement {
  private slip!: SayingSlip;
  private openBefore: string | null = null;

  protected override attached(): void {
    this.addEventListener('keydown', (event) => {
      const {openMark} = this.examination.state;
      if (event.key === 'Escape' && openMark && !this.bench.drawing.isActive) this.closeRecord(openMark);
    });
    this.slip = new SayingSlip(this.bench, () => { this.requestUpdate(); });
    this.bench.drawing.on(() => {
      this.slip.follow();
      this.requestUpdate();
    });
  }

  protected override render(): TemplateResult {
    const mark = this.examination.mark(this.examination.state.openMark);
    if (this.bench.drawing.isActive) return this.slip.render();
    const {tonePanel} = this.examination.state;
    if (tonePanel && this.examination.shown(tonePanel)) return renderTone(tonePanel, this.bench);
    if (mark) {
      return renderRecord(mark, this.bench, {
        close: () => { this.closeRecord(mark.id); },
        reshape: () => { this.bench.drawing.reshape(mark); },
      });
    }
    return this.overview();
  }

  protected override updated(): void {
    placePads(this);
    const {openMark} = this.examination.state;
    const wasOpen = this.openBefore;
    this.openBefore = openMark;
    // What was pressed to open a record is gone with the list it stood in: the record takes the focus.
    if (openMark && openMark !== wasOpen && document.activeElement === document.body) this.querySelector<HTMLElement>('#record-title')?.focus();
  }

  /** Back to the shape: its entry in the margin, or the painting. */
  private closeRecord(id: string): void {
    this.examination.change({openMark: null});
    const entry = document.querySelector<HTMLElement>(`.margin [data-mark="${CSS.escape(id)}"] button`);
    (entry?.offsetParent ? entry : this.bench.wall.target).focus();
  }

  private overview(): TemplateResult {
    const {state, data} = this.examination;
    const marks = [...state.marks].sort(byKey);
    return html`<div class="sheet-body">
      <h2 class="title">${t('sheet.title')}</h2>
      <dl class="entry entry-right sheet-images">${this.shownImage('a')}${this.shownImage('b')}</dl>
      <div class="ledge-head sheet-marks-head"><h2 class="head">${t('marks.title')}</h2>
        ${marks.length > 0 ? html`<button type="button" class="text-key" @click=${() => { this.examination.change({areMarksShown: !state.areMarksShown}); }}>
          ${t(state.areMarksShown ? 'marks.hide' : 'marks.show')}</button>` : nothing}</div>
      ${marks.length === 0 ? html`<p class="empty">${t(data.can_annotate ? 'marks.none' : 'marks.none_reader')}</p>` : html`
      <ol class="rows mark-rows">${marks.slice(0, MOST_ROWS).map((mark) => html`<li><button type="button" class="mark-row" @click=${() => { this.examination.change({openMark: mark.id}); }}>
        <span class="mark-key">${mark.key}</span><span class="mark-row-title">${mark.title}</span>
        <span class="second">${mark.certainty ? t(`certainty.${mark.certainty}`) : mark.author.name}</span></button></li>`)}</ol>
      ${marks.length > MOST_ROWS ? html`<p class="second">${t('marks.more', {count: marks.length - MOST_ROWS})}</p>` : nothing}`}
      </div>
      <div class="sheet-foot">${icon('sheet')}<p class="second">${t('sheet.foot')}</p></div>`;
  }

  private shownImage(slot: Slot): TemplateResult {
    const image = this.examination.shown(slot);
    const other = slot === 'b' ? t('sheet.no_second') : t('sheet.no_first');
    return html`<dt>${slot}</dt><dd>${image ? html`${fullName(this.examination.data, image)}<p class="second">${facts(image)}</p>` : html`<i>${other}</i>`}</dd>`;
  }
}

/** One line on how fine an image is and how well it lies. */
function facts(image: OpenImage): string {
  const parts = [];
  if (image.um_per_px !== null) parts.push(t('image.pitch', {pitch: formatPitch(image.um_per_px)}));
  const {registration} = image;
  if (registration) parts.push(t('image.registration', {version: registration.version, method: methodName(registration.method)}));
  if (registration?.rms_mm) parts.push(t('image.rms', {rms: withUnit(registration.rms_mm, 'mm', 2)}));
  return parts.join(' · ');
}

/** Codes of methods in words; a method this page does not know yet is told as it is. */
function methodName(code: string): string {
  switch (code) {
    case 'control_points': return t('method.control_points');
    case 'stated_scale': return t('method.stated_scale');
    case 'same_grid': return t('method.same_grid');
    default: return code.replaceAll('_', ' ');
  }
}

customElements.define('mahl-sheet', SheetElement);
