/** The margin between wall and sheet: the key of each mark at the height of its place; the open one has a leader line. */
import {html, type TemplateResult} from 'lit';

import type {AnnotationData, PointMm} from '../api/contract';
import {BenchElement} from '../ui/bench_element';
import {t} from '../ui/texts';
import {byKey} from './order';
import {placeOf} from './place';
import {spreadHeights} from './spread';

const ENTRY_HEIGHT = 51;

export class MarginElement extends BenchElement {
  private heights = new Map<string, number>();
  private shown: AnnotationData[] = [];

  protected override attached(): void {
    this.examination.on('sight', () => { this.follow(); });
  }

  /** Entries are made anew only when marks come into the view or leave it. */
  private follow(): void {
    const inView = this.inView();
    const isSame = inView.length === this.shown.length && inView.every((mark, index) => mark === this.shown[index]);
    if (isSame) this.lay();
    else this.requestUpdate();
  }

  private inView(): AnnotationData[] {
    const {state} = this.examination;
    if (!state.areMarksShown) return [];
    const {wall} = this.bench;
    const {height, width} = wall.placing;
    return state.marks
      .filter((mark) => {
        const [x, y] = wall.pixelFromMm(placeOf(mark.geometry));
        return mark.id === state.openMark || (y >= 0 && y <= height && x >= -width && x <= 2 * width);
      })
      .sort((one, other) => Number(other.id === state.openMark) - Number(one.id === state.openMark) || byKey(one, other))
      .slice(0, Math.max(1, Math.floor(height / ENTRY_HEIGHT)))
      .sort(byKey);
  }

  protected override render(): TemplateResult {
    const {state} = this.examination;
    this.shown = this.inView();
    const marks = this.shown;
    return html`<ol class="margin-entries" aria-label=${t('marks.title')}>${marks.map((mark) => html`
      <li data-mark=${mark.id}><button type="button" class="margin-entry" aria-pressed=${mark.id === state.openMark}
        aria-label=${t('marks.open', {key: mark.key, title: mark.title})} @click=${() => { this.open(mark); }}>
        <span class="mark-key">${mark.key}</span><span class="margin-word">${mark.title}</span></button></li>`)}</ol>
      <div class="leader" hidden></div>`;
  }

  protected override updated(): void {
    this.lay();
  }

  private open(mark: AnnotationData): void {
    const isOpen = this.examination.state.openMark === mark.id;
    this.examination.change({openMark: isOpen ? null : mark.id});
  }

  private lay(): void {
    const {wall} = this.bench;
    const {height} = wall.placing;
    const wanted = [...this.querySelectorAll<HTMLElement>('li')].map((item) => {
      const mark = this.examination.mark(item.dataset.mark ?? null);
      const at = mark ? wall.pixelFromMm(placeOf(mark.geometry)) : null;
      return {item, y: at ? at[1] : -1, isInView: at !== null && at[1] >= 0 && at[1] <= height};
    });
    const visible = wanted.filter(({isInView}) => isInView);
    const tops = spreadHeights(visible.map(({y}) => y - 14), {entry: ENTRY_HEIGHT, limit: height});
    for (const {item, isInView} of wanted) item.hidden = !isInView;
    visible.forEach(({item}, index) => {
      item.style.transform = `translateY(${(tops[index] ?? 0).toFixed(0)}px)`;
      this.heights.set(item.dataset.mark ?? '', (tops[index] ?? 0) + 14);
    });
    this.lead();
  }

  private lead(): void {
    const leader = this.querySelector<HTMLElement>('.leader');
    const mark = this.examination.mark(this.examination.state.openMark);
    if (!leader) return;
    const {wall} = this.bench;
    const [x = 0, y = 0] = mark ? wall.pixelFromMm(rightmost(mark)) : [];
    const {width, height} = wall.placing;
    const to = mark ? this.heights.get(mark.id) : undefined;
    leader.hidden = !mark || to === undefined || x < 0 || x > width || y < 0 || y > height;
    if (leader.hidden || to === undefined) return;
    const length = Math.hypot(width - x, to - y);
    leader.style.width = `${length.toFixed(1)}px`;
    leader.style.transform = `translate(${(x - width).toFixed(1)}px, ${y.toFixed(1)}px) rotate(${Math.atan2(to - y, width - x).toFixed(4)}rad)`;
  }
}

function rightmost(mark: AnnotationData): PointMm {
  return placeOf(mark.geometry);
}

customElements.define('mahl-margin', MarginElement);
