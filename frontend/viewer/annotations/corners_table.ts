/** The corners of a shape as numbers: exact to read, and while reshaping to set without a pointer. */
import {html, type TemplateResult} from 'lit';

import type {PointMm} from '../api/contract';
import type {Drawing} from '../draw/drawing';
import {LEAST_CORNERS} from '../draw/words';
import {icon} from '../ui/icons';
import {formatNumber} from '../ui/numbers';
import {t} from '../ui/texts';

export function renderCorners(drawing: Drawing): TemplateResult {
  const canEdit = drawing.phase !== 'drawing';
  return html`<details class="corners" ?open=${drawing.phase === 'reshaping'}><summary class="text-key">${t('corners.title', {count: drawing.corners.length})}</summary>
    <table class="table"><thead><tr><th scope="col">${t('corners.number')}</th><th scope="col">x, mm</th><th scope="col">y, mm</th>${canEdit ? html`<td></td>` : ''}</tr></thead>
    <tbody>${drawing.corners.map(({place_mm}, index) => html`<tr><th scope="row">${index + 1}</th>
      ${([0, 1] as const).map((axis) => html`<td class="figure">${canEdit ? field(drawing, {index, axis, place_mm}) : formatNumber(place_mm[axis], 2)}</td>`)}
      ${canEdit ? html`<td>${removeKey(drawing, index)}</td>` : ''}</tr>`)}</tbody></table></details>`;
}

function field(drawing: Drawing, {index, axis, place_mm}: {index: number; axis: 0 | 1; place_mm: PointMm}): TemplateResult {
  return html`<input type="number" step="0.01" aria-label=${t(axis === 0 ? 'corners.x' : 'corners.y', {number: index + 1})} .value=${place_mm[axis].toFixed(2)}
    @change=${(event: Event) => {
      const value = event.target instanceof HTMLInputElement ? event.target.valueAsNumber : NaN;
      if (Number.isFinite(value)) drawing.move(index, axis === 0 ? [value, place_mm[1]] : [place_mm[0], value]);
    }}>`;
}

function removeKey(drawing: Drawing, index: number): TemplateResult {
  const label = t('corners.remove', {number: index + 1});
  return html`<button type="button" class="key key-quiet" aria-label=${label} title=${label} ?disabled=${drawing.corners.length <= LEAST_CORNERS[drawing.kind]}
    @click=${() => { drawing.remove(index); }}>${icon('close')}</button>`;
}
