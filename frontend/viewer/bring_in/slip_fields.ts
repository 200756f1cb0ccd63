/** What is asked of a picture: two answers always, the rest where it tells this kind of picture apart. */
import {html, nothing, type TemplateResult} from 'lit';

import {t, type TextKey} from '../ui/texts';
import type {BringInData, Choice} from './contract';
import type {Delivery} from './delivery';

interface Asked {
  name: string;
  label: TextKey;
  type?: 'number' | 'date';
  /** Only for these modalities; for all without it. */
  of?: readonly string[];
}

const CAPTURE: readonly Asked[] = [
  {name: 'band_nm', label: 'bring.band', of: ['UVL', 'UVR', 'NIR', 'IRR', 'FCIR', 'MSI']},
  {name: 'light_azimuth_deg', label: 'bring.azimuth', type: 'number', of: ['RAK', 'SPC']},
  {name: 'light_elevation_deg', label: 'bring.elevation', type: 'number', of: ['RAK', 'SPC']},
  {name: 'tube_kv', label: 'bring.tube_kv', type: 'number', of: ['XR']},
  {name: 'tube_ma', label: 'bring.tube_ma', type: 'number', of: ['XR']},
  {name: 'element_line', label: 'bring.element_line', of: ['XRF']},
  {name: 'exposure_s', label: 'bring.exposure', type: 'number'},
  {name: 'distance_mm', label: 'bring.distance', type: 'number'},
  {name: 'filter', label: 'bring.filter'},
  {name: 'light_source', label: 'bring.light_source'},
  {name: 'photographer', label: 'bring.photographer'},
  {name: 'place_hint', label: 'bring.place_hint'},
  {name: 'title', label: 'bring.remark'},
];
/** Kinds of picture that are made with what can hurt people or works. */
const WITH_CARE: Readonly<Record<string, TextKey>> = {XR: 'bring.care_xray', XRF: 'bring.care_xray', UVL: 'bring.care_uv', UVR: 'bring.care_uv'};

export function renderFields(delivery: Delivery, data: BringInData, at: number): TemplateResult {
  const care = WITH_CARE[delivery.slip.modality ?? ''];
  return html`
    <div class="field-row">
      ${data.faces.length > 1 ? select({id: `face-${String(at)}`, label: t('bring.face'), value: delivery.face, choices: data.faces.map(({id, label}) => ({code: id, label})), change: (value) => { delivery.face = value; }}) : nothing}
      ${choice(delivery, {name: 'modality', label: 'bring.modality', choices: data.modalities, at, isAsked: true})}
      ${choice(delivery, {name: 'state', label: 'bring.state', choices: data.states, at, isAsked: true})}
      ${input(delivery, {name: 'campaign_date', label: 'bring.date', type: 'date'}, at)}
      ${input(delivery, {name: 'um_per_px', label: 'bring.um_per_px', type: 'number'}, at)}
    </div>
    ${care ? html`<p class="caution">${t(care)}</p>` : nothing}
    <details class="drop-down"><summary class="head">${t('bring.capture')}</summary>
      <div class="field-row bring-capture">${CAPTURE.filter(({of}) => !of || of.includes(delivery.slip.modality ?? '')).map((asked) => input(delivery, asked, at))}</div></details>
    <details class="drop-down"><summary class="head">${t('bring.who_may_see')}</summary>
      <div class="field-row bring-capture">
        ${choice(delivery, {name: 'visibility', label: 'bring.visibility', choices: data.visibilities, at})}
        ${input(delivery, {name: 'embargo_until', label: 'bring.embargo', type: 'date'}, at)}
        ${choice(delivery, {name: 'rights_uri', label: 'bring.rights', choices: data.rights.filter(({uri}) => uri !== '').map(({uri, label}) => ({code: uri, label})), at})}
        ${input(delivery, {name: 'credit_line', label: 'bring.credit'}, at)}
      </div></details>`;
}

function input(delivery: Delivery, {name, label, type}: Asked, at: number): TemplateResult {
  const id = `${name}-${String(at)}`;
  return html`<div class="field"><label for=${id}>${t(label)}</label>
    <input id=${id} type=${type ?? 'text'} step="any" maxlength="300" .value=${delivery.slip[name] ?? ''}
      @change=${(event: Event) => { delivery.state(name, (event.target as HTMLInputElement).value.trim()); }}></div>`;
}

interface Chosen {
  name: string;
  label: TextKey;
  choices: readonly Choice[];
  at: number;
  isAsked?: boolean;
}

function choice(delivery: Delivery, {name, label, choices, at, isAsked = false}: Chosen): TemplateResult {
  return select({
    id: `${name}-${String(at)}`, label: t(label), value: delivery.slip[name] ?? '', choices,
    change: (value) => { delivery.state(name, value); },
    isMissing: isAsked && delivery.isMissing && !delivery.slip[name],
  });
}

interface Select {
  id: string;
  label: string;
  value: string;
  choices: readonly Choice[];
  change: (value: string) => void;
  isMissing?: boolean;
}

function select({id, label, value, choices, change, isMissing = false}: Select): TemplateResult {
  return html`<div class="field"><label for=${id}>${label}</label>
    <select id=${id} aria-invalid=${isMissing} aria-describedby=${isMissing ? `${id}-error` : nothing} @change=${(event: Event) => { change((event.target as HTMLSelectElement).value); }}>
      ${value === '' ? html`<option value="" selected>${t('bring.choose')}</option>` : nothing}
      ${choices.map(({code, label: word}) => html`<option value=${code} ?selected=${code === value}>${word}</option>`)}</select>
    ${isMissing ? html`<p class="field-error" id="${id}-error">${t('bring.missing')}</p>` : nothing}</div>`;
}
