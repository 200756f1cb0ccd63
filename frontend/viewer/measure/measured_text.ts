/** How a measure is written: a value with its uncertainty and its parts, or a sentence. */
import {html, nothing, type TemplateResult} from 'lit';

import {formatNumber, withUnit} from '../ui/numbers';
import {language, t} from '../ui/texts';
import {localDigits, measureText, roundedPair, type RoundedPair} from './digits';
import type {Measured} from './measured';
import {COVERAGE_FACTOR, type Contribution, type Measurement} from './measurements';

const NARROW_SPACE = '\u202f';
/** From one square centimetre on, areas are told in square centimetres. */
const MM2_PER_CM2 = 100;

export interface WrittenValue {
  pair: RoundedPair;
  unit: string;
  /** What the parts are multiplied with to be in the unit written. */
  factor: number;
}

export function written({quantity, value, uncertainty}: Measurement): WrittenValue {
  if (quantity === 'area') return writtenArea(value, uncertainty);
  return {pair: roundedPair(value, uncertainty), unit: 'mm', factor: 1};
}

function writtenArea(area_mm2: number, uncertainty_mm2: number): WrittenValue {
  const isLarge = area_mm2 >= MM2_PER_CM2;
  const factor = isLarge ? 1 / MM2_PER_CM2 : 1;
  return {pair: roundedPair(area_mm2 * factor, uncertainty_mm2 * factor), unit: isLarge ? 'cm²' : 'mm²', factor};
}

export function renderMeasured(measured: Measured): TemplateResult {
  if (measured.kind === 'place') return html`<p class="measured-value">${placeText(measured)}</p>`;
  if (measured.kind === 'cannot') return renderCannot(measured);
  if (measured.kind === 'several') return renderSeveral(measured);
  const {share, measurement, isRegistrationKnown} = measured;
  return html`${renderValue(measurement)}
    ${renderShare(share)}
    <p class="measured-parts">${t('measured.coverage')}<br>${partsText(measurement, isRegistrationKnown)}</p>`;
}

export function renderMeasuredShort(measured: Measured): TemplateResult {
  if (measured.kind === 'place') return html`<p class="measured-value">${placeText(measured)}</p>`;
  if (measured.kind === 'cannot') return html`<p class="cannot-resolve">${t('measured.cannot', {image: measured.image.short_label})}</p>`;
  if (measured.kind === 'several') return renderSeveral(measured);
  return renderValue(measured.measurement);
}

function renderSeveral({count, area_mm2, area_uncertainty_mm2, share}: Extract<Measured, {kind: 'several'}>): TemplateResult {
  return html`${count === null ? nothing : html`<p class="value">${t('measured.count', {count})}</p>`}
    ${area_mm2 === null || area_uncertainty_mm2 === null ? nothing : html`${renderDigits(writtenArea(area_mm2, area_uncertainty_mm2))}${renderShare(share)}
    <p class="measured-parts">${t('measured.coverage')}</p>`}`;
}

function renderShare(share: number | null): TemplateResult | typeof nothing {
  return share === null ? nothing : html`<p class="measured-value">${t('measured.share', {percent: formatNumber(share * 100, share < 0.001 ? 4 : 2)})}</p>`;
}

function renderValue(measurement: Measurement): TemplateResult {
  return renderDigits(written(measurement));
}

function renderDigits({pair, unit}: WrittenValue): TemplateResult {
  const digits = (text: string): string => `${localDigits(text, language())}${NARROW_SPACE}${unit}`;
  return html`<p class="value">${digits(pair.value_digits)}${NARROW_SPACE}<span class="value-uncertainty">±${NARROW_SPACE}${digits(pair.uncertainty_digits)}</span></p>`;
}

/** The value as one line, for readers. */
export function spokenValue(measurement: Measurement): string {
  const {pair, unit} = written(measurement);
  return measureText(pair, unit, language());
}

/** Each part at 95 %, to the decimals of the whole and one more. */
export function partsText(measurement: Measurement, isRegistrationKnown: boolean): string {
  const {pair, factor} = written(measurement);
  const decimals = Math.min(6, (pair.uncertainty_digits.split('.')[1]?.length ?? 0) + 1);
  const part = (...sources: Contribution['source'][]): string => {
    const standards = measurement.parts.filter(({source}) => sources.includes(source)).map(({standard}) => standard);
    return formatNumber(COVERAGE_FACTOR * factor * Math.hypot(...standards), decimals);
  };
  const parts = {
    picking: part('first end', 'second end', 'vertices'),
    registration: part('registration'),
    scale: part('scale'),
  };
  return t(isRegistrationKnown ? (measurement.quantity === 'area' ? 'measured.parts_area' : 'measured.parts') : 'measured.parts_unknown', parts);
}

function placeText({place_mm}: {place_mm: readonly [number, number]}): string {
  return t('measured.at', {x: formatNumber(place_mm[0], 2), y: formatNumber(place_mm[1], 2)});
}

/** Two strokes that never meet, and words in place of a number. */
function renderCannot({image, resolvable_mm, finer}: Extract<Measured, {kind: 'cannot'}>): TemplateResult {
  return html`<svg class="cannot-strokes" viewBox="0 0 66 12" aria-hidden="true"><path d="M0 6 H28 M38 6 H66"></path></svg>
    <p class="cannot-resolve">${t('measured.cannot', {image: image.short_label})} ${t('measured.resolves', {length: withUnit(resolvable_mm, 'mm', 2)})}
    ${finer ? t('measured.finer', {image: finer.image.short_label, length: withUnit(finer.resolvable_mm, 'mm', 2)}) : t('measured.no_finer')}</p>`;
}
