/** The slip of what is being said: corners so far, their measure, then the words; errors stay beside what they concern. */
import {html, nothing, type TemplateResult} from 'lit';

import {ApiProblem} from '../api/client';
import type {AnnotationData, AnnotationDraft, Certainty} from '../api/contract';
import {measuredWhileDrawing, pixelOn_mm} from '../measure/measured';
import {renderMeasured} from '../measure/measured_text';
import type {Bench} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {withUnit} from '../ui/numbers';
import {language, t} from '../ui/texts';
import {renderCorners} from './corners_table';

const CERTAINTIES: readonly Certainty[] = ['certain', 'probable', 'possible', 'unlikely', 'rejected'];

export class SayingSlip {
  private title = '';
  private observation = '';
  private interpretation = '';
  private certainty: Certainty | null = null;
  private reason = '';
  private problem: ApiProblem | null = null;
  private isMissingWords = false;
  private isSending = false;
  private phase = 'idle';

  constructor(private readonly bench: Bench, private readonly redraw: () => void) {}

  /** Begin a clean slip when a new shape begins, and go to the words when the shape is done. */
  follow(): void {
    const {drawing} = this.bench;
    if (drawing.phase === this.phase) return;
    if (drawing.phase === 'drawing' && this.phase !== 'saying') this.clear();
    if (drawing.phase === 'reshaping') this.clear();
    this.phase = drawing.phase;
    if (drawing.phase === 'saying') requestAnimationFrame(() => document.querySelector<HTMLElement>('#saying-observation')?.focus());
  }

  private clear(): void {
    const {word} = this.bench.drawing;
    this.title = word ? t(word.label) : '';
    this.observation = '';
    this.interpretation = '';
    this.certainty = null;
    this.reason = '';
    this.problem = null;
    this.isMissingWords = false;
  }

  render(): TemplateResult {
    const {drawing} = this.bench;
    return html`<form class="sheet-body form saying" id="saying" novalidate @submit=${(event: Event) => { event.preventDefault(); void this.keep(); }}>
      <h2 class="title">${this.heading()}</h2>
      ${drawing.phase === 'drawing' ? html`<p class="prose saying-help">${t(drawing.kind === 'Point' ? 'say.help_point' : 'say.help_shape')}</p>` : nothing}
      ${this.measured()}
      ${this.problem ? this.problemSlip(this.problem) : nothing}
      ${drawing.phase === 'saying' && this.canKeep() ? this.words() : nothing}
      ${drawing.phase === 'saying' && !this.canKeep() ? html`<p class="second">${t('say.not_kept')}</p>` : nothing}
      ${drawing.corners.length > 0 ? renderCorners(drawing) : nothing}
    </form>
    ${this.foot()}`;
  }

  private heading(): string {
    const {drawing} = this.bench;
    if (drawing.reshaped) return t('say.reshaping', {key: drawing.reshaped.key});
    return this.title;
  }

  private canKeep(): boolean {
    return this.bench.examination.data.can_annotate;
  }

  private measured(): TemplateResult | typeof nothing {
    const measured = measuredWhileDrawing(this.bench.drawing, this.bench.examination);
    return measured ? html`<div class="saying-measured" aria-live="off"><p class="head">${t('record.measured')}</p>${renderMeasured(measured)}${this.viewHint()}</div>` : nothing;
  }

  /** A corner cannot be set finer than the screen shows it. */
  private viewHint(): TemplateResult | typeof nothing {
    const {drawing, examination} = this.bench;
    const image = drawing.corners.at(-1)?.image;
    const {mm_per_css_px} = examination.sight;
    if (drawing.phase !== 'drawing' || !image || mm_per_css_px <= 2 * pixelOn_mm(image)) return nothing;
    return html`<p class="measured-parts">${t('measured.view_coarser', {pitch: withUnit(mm_per_css_px, 'mm', 2)})}</p>`;
  }

  private words(): TemplateResult {
    const hasSeen = this.observation.trim() !== '';
    return html`
      <div class="field"><label for="saying-title">${t('say.what')}</label>
        <input id="saying-title" maxlength="120" autocomplete="off" .value=${this.title} @input=${(event: InputEvent) => { this.title = valueOf(event); }}></div>
      <div class="field"><label for="saying-observation">${t('say.seen')}</label>
        <textarea id="saying-observation" maxlength="4000" aria-describedby="saying-hint${this.isMissingWords ? ' saying-error' : ''}" aria-invalid=${this.isMissingWords}
          .value=${this.observation} @input=${(event: InputEvent) => { this.observation = valueOf(event); this.isMissingWords = false; this.redraw(); }}></textarea>
        <p class="field-hint" id="saying-hint">${t('say.seen_hint')}</p>
        ${this.isMissingWords ? html`<p class="field-error" id="saying-error">${t('say.seen_missing')}</p>` : nothing}</div>
      <div class="field"><label for="saying-concluded">${t('say.concluded')}</label>
        <textarea id="saying-concluded" class="short" maxlength="4000" ?disabled=${!hasSeen} aria-describedby="saying-concluded-hint" .value=${this.interpretation}
          @input=${(event: InputEvent) => { this.interpretation = valueOf(event); }}></textarea>
        <p class="field-hint" id="saying-concluded-hint">${t(hasSeen ? 'say.concluded_hint' : 'say.concluded_closed')}</p></div>
      <fieldset class="field certainty-choice"><legend>${t('record.certainty')}</legend>${CERTAINTIES.map((certainty) => html`
        <div class="choice"><input type="radio" name="certainty" id="certainty-${certainty}" .checked=${this.certainty === certainty}
          @change=${() => { this.certainty = certainty; this.redraw(); }}><label for="certainty-${certainty}" class="certainty" data-certainty=${certainty}>${t(`certainty.${certainty}`)}</label></div>`)}
      </fieldset>
      ${this.certainty ? html`<div class="field"><label for="saying-because">${t('say.because')}</label><input id="saying-because" maxlength="500" autocomplete="off"
        .value=${this.reason} @input=${(event: InputEvent) => { this.reason = valueOf(event); }}></div>` : nothing}`;
  }

  private problemSlip(problem: ApiProblem): TemplateResult {
    return html`<div class="slip slip-bad" role="alert"><strong class="slip-head">${problem.problem.title}</strong>
      ${problem.problem.detail ?? ''}
      ${problem.status === 412 ? html`<div class="keys"><button type="button" class="key" @click=${() => { void this.readAgain(); }}>${t('say.read_theirs')}</button></div>` : nothing}</div>`;
  }

  private foot(): TemplateResult {
    const {drawing} = this.bench;
    const canSend = drawing.phase === 'reshaping' || (drawing.phase === 'saying' && this.canKeep());
    return html`<div class="sheet-foot">
      ${canSend ? html`<button type="submit" form="saying" class="key key-strong" ?disabled=${this.isSending}>${t(this.isSending ? 'say.keeping' : 'say.keep')}</button>` : nothing}
      ${drawing.phase === 'drawing' && drawing.kind !== 'Point' ? html`<button type="button" class="key" ?disabled=${!drawing.canFinish} @click=${() => { drawing.finish(); }}>${t('say.done')}</button>` : nothing}
      ${drawing.phase !== 'reshaping' && drawing.corners.length > 0 ? html`<button type="button" class="key" @click=${() => { drawing.undo(); }}>${icon('undo')}${t('say.undo')}</button>` : nothing}
      <button type="button" class="key" @click=${() => { drawing.giveUp(); }}>${t('say.give_up')}</button></div>`;
  }

  private async keep(): Promise<void> {
    const {drawing, examination, annotations} = this.bench;
    const geometry = drawing.geometry();
    if (!geometry || this.isSending) return;
    if (drawing.phase === 'saying' && this.observation.trim() === '') {
      this.isMissingWords = true;
      this.redraw();
      document.querySelector<HTMLElement>('#saying-observation')?.focus();
      return;
    }
    const {reshaped} = drawing;
    await this.send(async () => {
      const kept = reshaped
        ? await annotations.change(reshaped, {geometry})
        : await annotations.keep({
            face: examination.data.face.id,
            frame: examination.data.frame.id,
            geometry,
            subject: drawing.word?.code ?? '',
            title: this.title.trim(),
            observation: this.observation.trim(),
            interpretation: this.interpretation.trim(),
            text_language: language(),
            certainty: this.certainty,
            certainty_reason: this.certainty ? this.reason.trim() : '',
            ...this.origin(),
          });
      drawing.giveUp();
      examination.putMark(kept);
    });
  }

  /** A mark remembers the image on which its first corner was set, and that image's registration. */
  private origin(): Pick<AnnotationDraft, 'drawn_on_image' | 'drawn_on_registration'> {
    const image = this.bench.drawing.corners[0]?.image ?? null;
    return {drawn_on_image: image?.id ?? null, drawn_on_registration: image?.registration?.id ?? null};
  }

  /** Somebody was quicker: show the list as it is now and take the newer text as the ground. */
  private async readAgain(): Promise<void> {
    const {drawing, examination, annotations} = this.bench;
    await this.send(async () => {
      const marks: AnnotationData[] = await annotations.list();
      const current = marks.find(({id}) => id === drawing.reshaped?.id) ?? null;
      drawing.giveUp();
      examination.change({marks, openMark: current?.id ?? null});
    });
  }

  private async send(work: () => Promise<void>): Promise<void> {
    this.isSending = true;
    this.problem = null;
    this.redraw();
    try {
      await work();
    } catch (reason) {
      if (!(reason instanceof ApiProblem)) throw reason;
      this.problem = reason;
    } finally {
      this.isSending = false;
      this.redraw();
    }
  }
}

function valueOf(event: Event): string {
  const {target} = event;
  return target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement ? target.value : '';
}
