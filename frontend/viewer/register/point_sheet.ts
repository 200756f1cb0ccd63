/** The sheet of the control-point page: the points as a table, the fit and what it says of each, files in and out. */
import {html, LitElement, nothing, type TemplateResult} from 'lit';

import {ApiClient, ApiProblem} from '../api/client';
import type {RegistrationAnswer} from '../api/contract';
import {formatNumber, withUnit} from '../ui/numbers';
import {icon} from '../ui/icons';
import {t} from '../ui/texts';
import type {PointBench} from './point_bench';
import type {PointKeysElement} from './point_keys';
import type {SetPoint} from './point_set';
import {PointTableError, readPoints, writePoints} from './points_csv';

/** Fewer held-out points than this do not judge a registration. */
const WANTED_CHECKS = 8;

export class PointSheetElement extends LitElement {
  private bench!: PointBench;
  private isAttached = false;
  private keys!: PointKeysElement;
  private answer: RegistrationAnswer | null = null;
  private problem: {head: string; text: string} | null = null;
  private isFitting = false;
  private mayBeMirrored = false;

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  attach(bench: PointBench, keys: PointKeysElement): void {
    this.replaceChildren();
    this.isAttached = true;
    this.bench = bench;
    this.keys = keys;
    bench.set.on(() => { this.requestUpdate(); });
    this.requestUpdate();
  }

  /** Nothing is drawn before there is a bench; what the server wrote inside stays until then. */
  protected override shouldUpdate(): boolean {
    return this.isAttached;
  }

  protected override render(): TemplateResult {
    const {set} = this.bench;
    return html`<div class="sheet-body stack">
      <h2 class="title">${t('points.title')}</h2>
      <p class="prose points-sentence">${this.sentence()}</p>
      ${this.problem ? html`<div class="slip slip-bad" role="alert"><strong class="slip-head">${this.problem.head}</strong>${this.problem.text}</div>` : nothing}
      ${this.answer ? this.fitted(this.answer) : nothing}
      ${set.points.length === 0 ? html`<p class="empty">${t('points.none')}</p>` : this.table()}
      <div class="choice"><input type="checkbox" id="may-be-mirrored" .checked=${this.mayBeMirrored} @change=${(event: Event) => { this.mayBeMirrored = (event.target as HTMLInputElement).checked; }}>
        <label for="may-be-mirrored">${t('points.mirrored')}</label></div>
      <div class="keys"><label class="key" for="points-file">${icon('bring_in')}${t('points.read_table')}</label>
        <input class="visually-hidden" type="file" id="points-file" accept=".csv,text/csv" @change=${this.readFile}>
        <button type="button" class="key" ?disabled=${set.points.length === 0} @click=${this.writeFile}>${t('points.write_table')}</button></div>
    </div>
    <div class="sheet-foot"><button type="button" class="key key-strong" ?disabled=${this.isFitting || set.count('control') < 2} @click=${() => { void this.fit(); }}>
      ${t(this.isFitting ? 'points.fitting' : 'points.fit')}</button>
      ${this.answer ? html`<a class="key" href=${this.bench.data.judge_url.replace('{id}', this.answer.id)}>${icon('sign')}${t('points.judge')}</a>` : nothing}</div>`;
  }

  private sentence(): string {
    const {set} = this.bench;
    const counts = t('points.counts', {control: set.count('control'), check: set.count('check')});
    return set.count('check') < WANTED_CHECKS ? `${counts} ${t('points.want_checks', {wanted: WANTED_CHECKS})}` : counts;
  }

  private fitted({version, quality, quality_notes: notes}: RegistrationAnswer): TemplateResult {
    const row = (label: string, value: number | null | undefined): TemplateResult =>
      html`<tr><th scope="row">${label}</th><td class="figure-cell">${value === null || value === undefined ? '–' : withUnit(value, 'mm', 3)}</td></tr>`;
    return html`<section class="stack" role="status"><h3>${t('points.registration', {version})}</h3>
      <table class="table"><tbody>${row(t('points.check_p95'), quality.check_p95_mm)}${row(t('points.check_rms'), quality.check_rms_mm)}
        ${row(t('points.leave_one_out'), quality.leave_one_out_rms_mm)}${row(t('points.fit_alone'), quality.rms_mm)}</tbody></table>
      <p class="second">${t('points.fit_alone_note')}</p>
      ${notes.map(({message}) => html`<p class="slip slip-warn">${message}</p>`)}</section>`;
  }

  private table(): TemplateResult {
    const {set} = this.bench;
    return html`<div class="table-scroll"><table class="table points-table"><thead><tr><th scope="col">${t('points.point')}</th><th scope="col">${t('points.kind')}</th>
      <th scope="col" class="figure-cell">${t('points.off_by')}</th><th scope="col" class="figure-cell">${t('points.left_out')}</th></tr></thead>
      <tbody>${set.points.map((point) => this.row(point))}</tbody></table></div>`;
  }

  private row(point: SetPoint): TemplateResult {
    const {set} = this.bench;
    const fitted = set.fitted.get(point.label);
    const isChosen = set.chosen === point.label;
    const figure = (value: number | null | undefined): string => (value === null || value === undefined ? '–' : formatNumber(value, 3));
    return html`<tr class=${isChosen ? 'is-chosen' : ''}>
      <th scope="row"><button type="button" class="text-key" aria-expanded=${isChosen} @click=${() => { if (isChosen) set.choose(null); else this.bench.goTo(point); }}>${point.label}</button>${fitted?.is_slip ? html` <b>${t('points.slip')}</b>` : nothing}</th>
      <td><button type="button" class="text-key" title=${t('points.change_kind')} @click=${() => { set.change(point.label, {kind: point.kind === 'control' ? 'check' : 'control'}); }}>${t(`points.${point.kind}`)}</button></td>
      <td class="figure-cell">${figure(fitted?.residual_mm)}</td><td class="figure-cell">${figure(fitted?.leave_one_out_mm)}</td></tr>
      ${isChosen ? html`<tr class="is-chosen"><td colspan="4">${this.fields(point)}</td></tr>` : nothing}`;
  }

  private fields(point: SetPoint): TemplateResult {
    const field = (name: 'x_mm' | 'y_mm' | 'x_px' | 'y_px', label: string): TemplateResult => html`<div class="field">
      <label for="point-${name}">${label}</label><input id="point-${name}" type="number" step="any" .value=${String(Math.round(point[name] * 1000) / 1000)}
      @change=${(event: Event) => {
        const value = (event.target as HTMLInputElement).valueAsNumber;
        if (Number.isFinite(value)) this.bench.set.change(point.label, {[name]: value});
      }}></div>`;
    return html`<div class="field-row">${field('x_mm', t('points.x_mm'))}${field('y_mm', t('points.y_mm'))}${field('x_px', t('points.x_px'))}${field('y_px', t('points.y_px'))}</div>
      <button type="button" class="key" @click=${() => { this.bench.set.remove(point.label); }}>${icon('close')}${t('points.remove', {label: point.label})}</button>`;
  }

  private async fit(): Promise<void> {
    const {data, set} = this.bench;
    this.isFitting = true;
    this.problem = null;
    this.requestUpdate();
    try {
      const answer = await new ApiClient(data.csrf_token).call<RegistrationAnswer>(data.registrations_url, {
        method: 'POST',
        body: {model: this.keys.model, points: set.points, may_be_mirrored: this.mayBeMirrored},
      });
      this.answer = answer;
      set.take(answer.points);
    } catch (reason) {
      if (!(reason instanceof ApiProblem)) throw reason;
      this.problem = {head: reason.problem.title, text: reason.problem.detail ?? ''};
    } finally {
      this.isFitting = false;
      this.requestUpdate();
    }
  }

  private readonly readFile = async (event: Event): Promise<void> => {
    const input = event.target as HTMLInputElement;
    const file = input.files?.[0];
    if (!file) return;
    this.problem = null;
    try {
      this.bench.set.replace(readPoints(await file.text()));
    } catch (reason) {
      if (!(reason instanceof PointTableError)) throw reason;
      this.problem = {head: t('csv.refused', {file: file.name}), text: reason.message};
    }
    input.value = '';
    this.requestUpdate();
  };

  private readonly writeFile = (): void => {
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([writePoints(this.bench.set.points)], {type: 'text/csv'}));
    link.download = `points_${this.bench.data.image.id}.csv`;
    link.click();
    URL.revokeObjectURL(link.href);
  };
}

customElements.define('mahl-point-sheet', PointSheetElement);
