/** Say what you see: the word starts the drawing. */
import {html, nothing, type TemplateResult} from 'lit';

import type {Slot} from '../map/examination';
import {BenchElement} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {t} from '../ui/texts';
import {LENGTH, WORDS, type Word} from './words';

export class SayKeysElement extends BenchElement {
  protected override attached(): void {
    this.bench.drawing.on(() => { this.requestUpdate(); });
  }

  protected override render(): TemplateResult {
    const canSay = this.examination.data.can_annotate;
    const words = canSay ? [...WORDS, LENGTH] : [LENGTH];
    return html`
      <div class="ledge-head"><h2 class="head">${t(canSay ? 'say.title' : 'say.measure_only')}</h2></div>
      <div class="say-words" role="group" aria-label=${t('say.title')}>${words.map((word) => this.key(word))}</div>
      ${this.bench.drawing.phase === 'drawing' ? html`<p class="ledge-line second">${this.hint()}</p>` : html`<p class="ledge-line">${this.toneKey('a')}${this.toneKey('b')}</p>`}`;
  }

  private key(word: Word): TemplateResult {
    const {drawing} = this.bench;
    const isPressed = drawing.isActive && drawing.word === word;
    return html`<button type="button" class="key key-stack" aria-pressed=${isPressed}
      @click=${() => { if (isPressed) drawing.giveUp(); else this.begin(word); }}>${icon(word.icon)}<span>${t(word.label)}</span></button>`;
  }

  private toneKey(slot: Slot): TemplateResult | typeof nothing {
    if (!this.examination.shown(slot)) return nothing;
    const isOpen = this.examination.state.tonePanel === slot;
    return html`<button type="button" class="text-key" aria-pressed=${isOpen}
      @click=${() => { this.examination.change({tonePanel: isOpen ? null : slot, openMark: null}); }}>${t('tone.title', {slot})}</button>`;
  }

  private begin(word: Word): void {
    this.bench.drawing.begin(word);
    this.bench.wall.target.focus({preventScroll: true});
  }

  private hint(): string {
    const {drawing} = this.bench;
    if (drawing.kind === 'Point') return t('say.hint_point');
    return t(drawing.canFinish ? 'say.hint_finish' : 'say.hint_corner');
  }
}

customElements.define('mahl-say-keys', SayKeysElement);
