/** The graduated rule on which the painting stands: millimetres of the frame along the foot of the view. */
import {html, type TemplateResult} from 'lit';
import {createRef, ref} from 'lit/directives/ref.js';

import {BenchElement} from '../ui/bench_element';
import {fitCanvas} from '../ui/canvas';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';
import {graduationFor} from './graduation';

const HEIGHT = 26;

export class RuleElement extends BenchElement {
  private readonly canvas = createRef<HTMLCanvasElement>();

  protected override attached(): void {
    this.examination.on('sight', () => { this.draw(); });
    this.examination.on('pointer', () => { this.draw(); });
    document.addEventListener('mahlstick-room', () => { this.draw(); });
    document.fonts.addEventListener('loadingdone', () => { this.draw(); });
  }

  protected override render(): TemplateResult {
    return html`<canvas class="rule-scale" role="img" aria-label=${t('rule.name')} ${ref(this.canvas)}></canvas>`;
  }

  protected override updated(): void {
    this.draw();
  }

  private draw(): void {
    const canvas = this.canvas.value;
    if (!canvas) return;
    const {placing} = this.bench.wall;
    const context = fitCanvas(canvas, placing.width, HEIGHT);
    if (!context || placing.width === 0) return;
    const look = getComputedStyle(this);
    context.strokeStyle = look.color;
    context.fillStyle = look.color;
    context.font = `14px ${look.fontFamily}`;
    context.textBaseline = 'alphabetic';
    this.drawTicks(context);
    this.drawPointer(context);
  }

  /** A turned view has no single x along its foot: then the rule counts lengths from its left end. */
  private drawTicks(context: CanvasRenderingContext2D): void {
    const {placing} = this.bench.wall;
    const {tick_mm, long_every, number_every} = graduationFor(placing.mm_per_css_px);
    const isTurned = Math.abs(placing.rotation_rad) > 1e-3;
    const sign = placing.isMirrored && !isTurned ? -1 : 1;
    const left_mm = isTurned ? 0 : this.bench.wall.mmFromPixel([0, placing.height])[0];
    const across_mm = placing.width * placing.mm_per_css_px;
    const [from, to] = sign > 0 ? [left_mm, left_mm + across_mm] : [left_mm - across_mm, left_mm];
    const decimals = Math.max(0, -Math.floor(Math.log10(tick_mm * number_every) + 1e-9));
    let isFirst = true;
    context.beginPath();
    for (let index = Math.ceil(from / tick_mm); index <= Math.floor(to / tick_mm); index += 1) {
      const x = (sign * (index * tick_mm - left_mm)) / placing.mm_per_css_px;
      const hasNumber = index % number_every === 0;
      context.moveTo(x, 0);
      context.lineTo(x, hasNumber ? 12 : index % long_every === 0 ? 9 : 5);
      if (!hasNumber || x > placing.width - 50) continue;
      const text = formatNumber(index * tick_mm, decimals);
      context.fillText(isFirst ? `${text}\u202fmm` : text, x + 4, 20);
      isFirst = false;
    }
    context.stroke();
  }

  private drawPointer(context: CanvasRenderingContext2D): void {
    const pointer_mm = this.examination.pointer_mm;
    if (!pointer_mm) return;
    const [x] = this.bench.wall.pixelFromMm(pointer_mm);
    context.beginPath();
    context.moveTo(x - 5, 0);
    context.lineTo(x + 5, 0);
    context.lineTo(x, 7);
    context.fill();
  }
}

customElements.define('mahl-rule', RuleElement);
