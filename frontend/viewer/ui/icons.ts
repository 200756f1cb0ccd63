/** Our own signs on a 20-unit grid; the same drawings serve the Django tag `{% icon %}`. */
import {svg, html, nothing, type TemplateResult} from 'lit';

import drawings from './icons.json';

interface Drawing {
  line?: string;
  dashed?: string;
  solid?: string;
}

export type IconName = keyof typeof drawings;

/** Return the sign, hidden from readers: the word beside it or the accessible name says what it is. */
export function icon(name: IconName): TemplateResult {
  const drawing: Drawing = drawings[name];
  return html`<svg class="icon" viewBox="0 0 20 20" aria-hidden="true" focusable="false">
    ${drawing.line ? svg`<path d=${drawing.line}></path>` : nothing}
    ${drawing.dashed ? svg`<path class="icon-dashed" d=${drawing.dashed}></path>` : nothing}
    ${drawing.solid ? svg`<path class="icon-solid" d=${drawing.solid}></path>` : nothing}
  </svg>`;
}
