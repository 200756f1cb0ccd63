/** How a measure is written: a value with its uncertainty and its parts, or a sentence. */
import {html, nothing, type TemplateResult} from 'lit';

import {decimalsForUncertainty, formatNumber, withUnit} from '../ui/numbers';
import {t} from '../ui/texts';
import type {Measured} from './measured';

const UNITS = {length: 'mm', area: 'mm²'} as const;

export function renderMeasured(measured: Measured): TemplateResult {
  if (measured.kind === 'place') return html`<p class="measured-value">${placeText(measured)}</p>`;
  if (measured.kind === 'cannot') return renderCannot(measured);
  const unit = UNITS[measured.kind];
  const decimals = decimalsForUncertainty(measured.expanded);
  const {picking, registration, scale} = measured.parts;
  const part = (value: number): string => formatNumber(value, decimals);
  return html`<p class="value">${withUnit(measured.value, unit, decimals)} <span class="value-uncertainty">±&#8239;${withUnit(measured.expanded, unit, decimals)}</span></p>
    ${measured.share === null ? nothing : html`<p class="measured-value">${t('measured.share', {percent: formatNumber(measured.share * 100, 3)})}</p>`}
    <p class="measured-parts">${t('measured.coverage')}<br>${registration === null
      ? t('measured.parts_unknown', {picking: part(picking), scale: part(scale)})
      : t('measured.parts', {picking: part(picking), registration: part(registration), scale: part(scale)})}</p>`;
}

export function renderMeasuredShort(measured: Measured): TemplateResult {
  if (measured.kind === 'place') return html`<p class="measured-value">${placeText(measured)}</p>`;
  if (measured.kind === 'cannot') return html`<p class="cannot-resolve">${t('measured.cannot', {image: measured.image.short_label})}</p>`;
  const unit = UNITS[measured.kind];
  const decimals = decimalsForUncertainty(measured.expanded);
  return html`<p class="value">${withUnit(measured.value, unit, decimals)} <span class="value-uncertainty">±&#8239;${withUnit(measured.expanded, unit, decimals)}</span></p>`;
}

function placeText({place_mm}: {place_mm: readonly [number, number]}): string {
  return t('measured.at', {x: formatNumber(place_mm[0], 2), y: formatNumber(place_mm[1], 2)});
}

/** Two strokes that never meet, and words in place of a number. */
function renderCannot({image, resolves_mm, finer}: Extract<Measured, {kind: 'cannot'}>): TemplateResult {
  return html`<svg class="cannot-strokes" viewBox="0 0 66 12" aria-hidden="true"><path d="M0 6 H28 M38 6 H66"></path></svg>
    <p class="cannot-resolve">${t('measured.cannot', {image: image.short_label})} ${t('measured.resolves', {length: withUnit(resolves_mm, 'mm', 2)})}
    ${finer ? t('measured.finer', {image: finer.image.short_label, length: withUnit(finer.resolves_mm, 'mm', 2)}) : t('measured.no_finer')}</p>`;
}
