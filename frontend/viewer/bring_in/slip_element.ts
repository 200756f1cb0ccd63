/** The delivery slip: one row a file, with what its name told, what is asked, and how far it has come. */
import {html, LitElement, nothing, type TemplateResult} from 'lit';

import {ApiClient} from '../api/client';
import {icon} from '../ui/icons';
import {formatNumber} from '../ui/numbers';
import {embedded} from '../ui/page_parts';
import {loadTexts, t} from '../ui/texts';
import type {BringInData} from './contract';
import {Delivery, interruptedUploads} from './delivery';
import {renderFields} from './slip_fields';

const MEBIBYTE = 1024 * 1024;
const ACCEPTED = '.tif,.tiff,.jpg,.jpeg,.png,.heic,.heif';

export class BringInElement extends LitElement {
  private data: BringInData | null = null;
  private client!: ApiClient;
  private deliveries: Delivery[] = [];

  protected override createRenderRoot(): HTMLElement {
    return this;
  }

  override connectedCallback(): void {
    super.connectedCallback();
    void this.start();
  }

  private async start(): Promise<void> {
    const data = embedded<BringInData>('bring-in-data');
    await loadTexts(data.language);
    this.client = new ApiClient(data.csrf_token);
    this.data = data;
    this.requestUpdate();
  }

  protected override render(): TemplateResult | typeof nothing {
    const {data} = this;
    if (!data) return nothing;
    if (data.faces.length === 0) return html`<p class="slip slip-warn">${t('bring.no_face')}</p>`;
    return html`
      <div class="empty bring-ledge" @dragover=${(event: DragEvent) => { event.preventDefault(); }} @drop=${this.dropped}>
        <p>${t('bring.put_here')}</p>
        <p class="keys"><label class="key key-strong" for="bring-files">${icon('bring_in')}${t('bring.choose_files')}</label></p>
        <input class="visually-hidden" type="file" id="bring-files" multiple accept=${ACCEPTED} @change=${this.chosen}></div>
      ${this.interrupted()}
      ${this.deliveries.length > 0 ? html`<ol class="bring-rows">${this.deliveries.map((delivery, at) => this.row(delivery, {data, at}))}</ol>
        ${this.deliveries.filter(({stage}) => stage === 'slip').length > 1 ? html`<p class="keys"><button type="button" class="key key-strong" @click=${this.sendAll}>${t('bring.send_all')}</button></p>` : nothing}` : nothing}`;
  }

  private interrupted(): TemplateResult | typeof nothing {
    const waiting = interruptedUploads().filter(({face, name, sizeBytes}) => this.data?.faces.some(({id}) => id === face) && !this.deliveries.some(({file}) => file.name === name && file.size === sizeBytes));
    if (waiting.length === 0) return nothing;
    return html`<div class="slip slip-warn"><strong class="slip-head">${t('bring.interrupted')}</strong>
      <p>${t('bring.interrupted_do')}</p><ul>${waiting.map(({name, sizeBytes}) => html`<li>${name}, ${megabytes(sizeBytes)}</li>`)}</ul></div>`;
  }

  private row(delivery: Delivery, {data, at}: {data: BringInData; at: number}): TemplateResult {
    return html`<li class="paper bring-row" data-stage=${delivery.stage}>
      <div class="page-head"><h2 class="bring-name">${delivery.file.name}</h2><p class="second">${megabytes(delivery.file.size)}</p></div>
      ${this.checks(delivery)}
      ${delivery.problem ? html`<div class="slip slip-bad" role="alert"><strong class="slip-head">${delivery.problem.title}</strong>${delivery.problem.detail ?? ''}</div>` : nothing}
      ${delivery.stage === 'slip' ? renderFields(delivery, data, at) : this.waiting(delivery)}
      <p class="keys">${this.keys(delivery)}</p></li>`;
  }

  private checks(delivery: Delivery): TemplateResult {
    const check = (isGood: boolean, word: string): TemplateResult => html`<span class="check" data-check=${isGood ? 'fits' : 'open'}>${word}</span>`;
    const {modality, state} = delivery.slip;
    const label = (choices: readonly {code: string; label: string}[] | undefined, code: string | undefined): string => choices?.find((one) => one.code === code)?.label ?? '';
    const isThere = delivery.stage === 'received' || delivery.stage === 'read';
    return html`<p class="row bring-checks">
      ${check(Boolean(modality), label(this.data?.modalities, modality) || t('bring.modality'))}
      ${check(Boolean(state), label(this.data?.states, state) || t('bring.state'))}
      ${check(isThere, t('bring.received'))}${check(delivery.stage === 'read', t('bring.read'))}</p>`;
  }

  private waiting({stage, progress, file, duplicateOf}: Delivery): TemplateResult {
    if (stage === 'sending') {
      const sent = progress?.sentBytes ?? 0;
      return html`<progress max=${file.size} .value=${sent} aria-label=${t('bring.sending')}></progress>
        <p class="second" role="status">${t('bring.so_far', {sent: formatNumber(sent / MEBIBYTE, 1), all: megabytes(file.size)})}${this.left(progress?.secondsLeft ?? null)}
        ${progress?.sentence ? html`<br>${progress.sentence}` : nothing}</p>`;
    }
    return html`<p class="second" role="status">${t(stage === 'read' ? 'bring.is_read' : 'bring.is_received')}</p>
      ${duplicateOf ? html`<p class="slip slip-warn">${t('bring.duplicate')} <a href=${this.imageAddress(duplicateOf)}>${t('bring.the_other')}</a></p>` : nothing}`;
  }

  private left(seconds: number | null): string {
    if (seconds === null) return '';
    return ` · ${seconds < 90 ? t('bring.seconds_left', {count: Math.ceil(seconds)}) : t('bring.minutes_left', {count: Math.ceil(seconds / 60)})}`;
  }

  private keys(delivery: Delivery): TemplateResult {
    const key = (word: string, action: () => void, kind = ''): TemplateResult => html`<button type="button" class="key ${kind}" @click=${action}>${word}</button>`;
    const off = key(t('bring.take_off'), () => { this.takeOff(delivery); }, 'key-quiet');
    if (delivery.stage === 'slip') return html`${key(t('bring.send'), () => { void delivery.send(); }, 'key-strong')}${off}`;
    if (delivery.isSending) return html`${key(t('bring.pause'), () => { delivery.pause(); })}${off}`;
    if (delivery.stage === 'sending') return html`${key(t('bring.go_on'), () => { void delivery.send(); }, 'key-strong')}${off}`;
    return delivery.image && delivery.stage !== 'refused' ? html`<a class="key" href=${this.imageAddress(delivery.image)}>${t('bring.open_image')}</a>` : off;
  }

  private imageAddress(image: string): string {
    return (this.data?.image_url ?? '').replace('{id}', image);
  }

  private takeOff(delivery: Delivery): void {
    void delivery.cancel();
    this.deliveries = this.deliveries.filter((one) => one !== delivery);
    this.requestUpdate();
  }

  private readonly sendAll = async (): Promise<void> => {
    for (const delivery of this.deliveries.filter(({stage}) => stage === 'slip')) await delivery.send();
  };

  private readonly chosen = (event: Event): void => {
    const field = event.target as HTMLInputElement;
    this.take([...(field.files ?? [])]);
    // The same file may be chosen again after it was taken off.
    field.value = '';
  };

  private readonly dropped = (event: DragEvent): void => {
    event.preventDefault();
    this.take([...(event.dataTransfer?.files ?? [])]);
  };

  private take(files: File[]): void {
    const {data} = this;
    const face = data?.faces[0]?.id;
    if (!data || !face) return;
    const around = {client: this.client, csrfToken: data.csrf_token, changed: () => { this.requestUpdate(); }};
    this.deliveries = [...this.deliveries, ...files.map((file) => new Delivery(file, face, around))];
    this.requestUpdate();
  }
}

function megabytes(bytes: number): string {
  const size = bytes / MEBIBYTE;
  return t('bring.megabytes', {size: formatNumber(size, size < 10 ? 1 : 0)});
}

customElements.define('mahlstick-bring-in', BringInElement);
