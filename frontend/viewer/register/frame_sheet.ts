/** The sheet of the frame page: the steps, what was measured, and the frame that follows. */
import {html, LitElement, nothing, type TemplateResult} from 'lit';

import {ApiClient, ApiProblem} from '../api/client';
import type {FrameSetupData, RawImageData, RegistrationAnswer} from '../api/contract';
import {formatNumber, formatPitch} from '../ui/numbers';
import {t} from '../ui/texts';
import {departure, type FrameDraft, type Step} from './frame_draft';
import {fullLabel} from './labels';

/** A measured pitch and a stated one must agree this well, or somebody has to say which is right. */
const AGREEMENT = 0.01;
const UM_PER_MM = 1000;

interface Fields {
  width_mm: number | null;
  height_mm: number | null;
  size_uncertainty_mm: number | null;
  datum: string;
  datum_note: string;
  canvas_pitch_mm: number | null;
}

interface Answer {id: string; version: number}

export class FrameSheetElement extends LitElement {
  private data!: FrameSetupData;
  private draft!: FrameDraft;
  private image!: RawImageData;
  private fields!: Fields;
  private problem: {head: string; text: string} | null = null;
  private frame: Answer | null = null;
  private registration: RegistrationAnswer | null = null;
  private isSending = false;
  private isAttached = false;

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  protected override shouldUpdate(): boolean {
    return this.isAttached;
  }

  attach(data: FrameSetupData, draft: FrameDraft, image: RawImageData): void {
    this.replaceChildren();
    this.data = data;
    this.draft = draft;
    this.image = image;
    const finest_um = Math.min(...data.images.map(({um_per_px}) => um_per_px ?? Infinity));
    this.fields = {
      width_mm: data.stated.width_mm,
      height_mm: data.stated.height_mm,
      size_uncertainty_mm: 1,
      datum: data.datums[0]?.code ?? '',
      datum_note: '',
      canvas_pitch_mm: Number.isFinite(finest_um) ? finest_um / UM_PER_MM : 0.02,
    };
    this.isAttached = true;
    draft.on(() => { this.requestUpdate(); });
    this.requestUpdate();
  }

  protected override render(): TemplateResult {
    if (this.frame) return this.done(this.frame);
    return html`<form class="sheet-body form" id="frame-form" novalidate @submit=${(event: Event) => { event.preventDefault(); void this.keep(); }}>
      <h2 class="title">${t('frame.title')}</h2>
      ${this.problem ? html`<div class="slip slip-bad" role="alert"><strong class="slip-head">${this.problem.head}</strong>${this.problem.text}</div>` : nothing}
      <ol class="setup-steps">${this.corner()}${this.edge()}${this.size()}${this.outline()}</ol></form>
      <div class="sheet-foot"><button type="submit" form="frame-form" class="key key-strong" ?disabled=${this.isSending}>${t(this.isSending ? 'say.keeping' : 'frame.keep')}</button></div>`;
  }

  private step(step: Step | null, head: string, content: TemplateResult): TemplateResult {
    const isNow = this.draft.step === step;
    return html`<li aria-current=${isNow ? 'step' : 'false'}><h3 class="head">${head}</h3>${content}
      ${step && !isNow ? html`<button type="button" class="text-key" @click=${() => { this.draft.choose(step); }}>${t('frame.press_this')}</button>` : nothing}</li>`;
  }

  private corner(): TemplateResult {
    const {datums} = this.data;
    return this.step('corner', t('frame.zero'), html`
      <div class="field"><label for="frame-datum">${t('frame.datum')}</label><select id="frame-datum" @change=${(event: Event) => { this.fields.datum = (event.target as HTMLSelectElement).value; }}>
        ${datums.map(({code, label}) => html`<option value=${code} ?selected=${code === this.fields.datum}>${label}</option>`)}</select></div>
      <div class="field"><label for="frame-note">${t('frame.note')}</label><input id="frame-note" maxlength="300" .value=${this.fields.datum_note}
        @input=${(event: Event) => { this.fields.datum_note = (event.target as HTMLInputElement).value; }}><p class="field-hint">${t('frame.note_hint')}</p></div>
      <p class="second">${this.placeText(this.draft.corner_px)}</p>`);
  }

  private edge(): TemplateResult {
    const {mm_per_px, edge_end_px} = this.draft;
    const off = departure(mm_per_px, this.image.um_per_px);
    return this.step('edge', t('frame.edge'), html`
      <p class="second">${this.placeText(edge_end_px)}</p>
      <div class="field"><label for="frame-edge">${t('frame.edge_length')}</label>
        <input id="frame-edge" type="number" step="any" min="0" class="field-short" .value=${String(this.draft.edge_length_mm ?? '')}
        @change=${(event: Event) => { this.draft.measureEdge(numberOf(event)); }}></div>
      ${mm_per_px === null ? nothing : html`<p class="second">${t('frame.pitch', {pitch: formatPitch(mm_per_px * UM_PER_MM)})}</p>`}
      ${off !== null && mm_per_px !== null && Math.abs(off) > AGREEMENT ? html`<p class="slip slip-warn">${t('frame.pitch_differs', {
        measured: formatPitch(mm_per_px * UM_PER_MM), stated: formatPitch(this.image.um_per_px ?? 0),
      })}</p>` : nothing}`);
  }

  private size(): TemplateResult {
    return this.step(null, t('frame.size'), html`<div class="field-row">
      ${this.number('height_mm', t('frame.height'))}${this.number('width_mm', t('frame.width'))}</div>
      <div class="field-row">${this.number('size_uncertainty_mm', t('frame.uncertainty'))}${this.number('canvas_pitch_mm', t('frame.canvas'))}</div>
      <p class="field-hint">${t('frame.size_hint')}</p>`);
  }

  private outline(): TemplateResult {
    const {outline_px, mm_per_px} = this.draft;
    const count = outline_px.length;
    return this.step('outline', t('frame.outline'), html`<p class="second">${count === 0 ? t('frame.outline_none') : t('corners.title', {count})}</p>
      ${count > 0 && mm_per_px === null ? html`<p class="field-hint">${t('frame.outline_needs_edge')}</p>` : nothing}
      ${count > 0 ? html`<button type="button" class="text-key" @click=${() => { this.draft.takeBackOutline(); }}>${t('say.undo')}</button>` : nothing}`);
  }

  private number(name: 'width_mm' | 'height_mm' | 'size_uncertainty_mm' | 'canvas_pitch_mm', label: string): TemplateResult {
    return html`<div class="field"><label for="frame-${name}">${label}</label><input id="frame-${name}" type="number" step="any" min="0"
      .value=${String(this.fields[name] ?? '')} @change=${(event: Event) => { this.fields[name] = numberOf(event); }}></div>`;
  }

  private placeText(place_px: readonly [number, number] | null): string {
    if (!place_px) return t('frame.not_pressed');
    return t('frame.pressed', {x: formatNumber(place_px[0], 1), y: formatNumber(place_px[1], 1)});
  }

  private done({version}: Answer): TemplateResult {
    const {registration, problem} = this;
    return html`<div class="sheet-body stack"><h2 class="title">${t('frame.kept', {version})}</h2>
      ${registration ? html`<p class="prose">${t('frame.image_laid', {image: fullLabel(this.image)})}</p>` : nothing}
      ${problem ? html`<div class="slip slip-warn" role="alert"><strong class="slip-head">${problem.head}</strong>${problem.text}</div>` : nothing}
      <div class="keys">${registration ? html`<a class="key key-strong" href="/registrations/${registration.id}/">${t('points.judge')}</a>` : nothing}
        <a class="key" href="/images/${this.image.id}/points/">${t('frame.to_points')}</a></div></div>`;
  }

  private async keep(): Promise<void> {
    const {width_mm, height_mm} = this.fields;
    if (!width_mm || !height_mm) {
      this.refuse(t('frame.size_missing'), t('frame.size_missing_do'));
      document.querySelector<HTMLElement>(width_mm ? '#frame-height_mm' : '#frame-width_mm')?.focus();
      return;
    }
    this.isSending = true;
    this.problem = null;
    this.requestUpdate();
    const client = new ApiClient(this.data.csrf_token);
    try {
      this.frame = await client.call<Answer>(this.data.frames_url, {method: 'POST', body: {...this.fields, outline_mm: this.draft.outline_mm()}});
      await this.layImage(client);
    } catch (reason) {
      if (!(reason instanceof ApiProblem)) throw reason;
      this.refuse(reason.problem.title, reason.problem.detail ?? '');
    } finally {
      this.isSending = false;
      this.requestUpdate();
    }
  }

  /** Corner and edge are two control points: the image they were pressed on can be laid at once, for judgement. */
  private async layImage(client: ApiClient): Promise<void> {
    const {corner_px, edge_end_px, edge_length_mm} = this.draft;
    if (!corner_px || !edge_end_px || edge_length_mm === null) return;
    const point = (label: string, x_mm: number, [x_px, y_px]: readonly [number, number]): object => ({label, kind: 'control', x_mm, y_mm: 0, x_px, y_px});
    this.registration = await client.call<RegistrationAnswer>(`/api/v1/images/${this.image.id}/registrations`, {
      method: 'POST',
      body: {model: 'similarity', points: [point('corner', 0, corner_px), point('edge', edge_length_mm, edge_end_px)]},
    });
  }

  private refuse(head: string, text: string): void {
    this.problem = {head, text};
    this.requestUpdate();
  }
}

function numberOf(event: Event): number | null {
  const value = (event.target as HTMLInputElement).valueAsNumber;
  return Number.isFinite(value) ? value : null;
}

customElements.define('mahl-frame-sheet', FrameSheetElement);
