/** The record of a mark, as a catalogue entry: what was seen, concluded, how sure, and how large it is. */
import {html, nothing, type TemplateResult} from 'lit';

import type {AnnotationData} from '../api/contract';
import {measuredOf} from '../measure/measured';
import {renderMeasured} from '../measure/measured_text';
import type {Bench} from '../ui/bench_element';
import {icon} from '../ui/icons';
import {fullName} from '../ui/image_names';
import {formatMoment} from '../ui/numbers';
import {t} from '../ui/texts';
import {cornersOf} from '../draw/drawing';

export interface RecordActions {
  close: () => void;
  reshape: () => void;
}

export function renderRecord(mark: AnnotationData, {examination}: Bench, actions: RecordActions): TemplateResult {
  const image = examination.image(mark.drawn_on_image);
  const measured = measuredOf(mark, examination);
  const {can_annotate: canAnnotate, person} = examination.data;
  const canReshape = canAnnotate && mark.author.id === person && cornersOf(mark.geometry) !== null;
  return html`<article class="sheet-body record" aria-labelledby="record-title">
    <header class="record-head"><span class="record-key mark-key">${mark.key}</span>
      <h2 class="title" id="record-title" tabindex="-1">${mark.title}</h2>
      <button type="button" class="key key-quiet" aria-label=${t('record.close')} title=${t('record.close')} @click=${actions.close}>${icon('close')}</button></header>
    <dl class="entry entry-right">
      <dt>${t('record.seen')}</dt><dd>${mark.observation}<p class="second">${image
        ? t('record.seen_by', {author: mark.author.name, image: fullName(examination.data, image)})
        : mark.author.name}</p></dd>
      ${mark.interpretation ? html`<dt>${t('record.concluded')}</dt><dd>${mark.interpretation}</dd>` : nothing}
      ${mark.certainty ? html`<dt>${t('record.certainty')}</dt><dd><span class="certainty" data-certainty=${mark.certainty}>${t(`certainty.${mark.certainty}`)}</span>${mark.certainty_reason ? html`<p class="record-because">${mark.certainty_reason}</p>` : nothing}</dd>` : nothing}
      ${measured ? html`<dt>${t('record.measured')}</dt><dd>${renderMeasured(measured)}</dd>` : nothing}
      <dt>${t('record.history')}</dt><dd class="record-history">${t('record.kept', {moment: formatMoment(mark.created_at), revision: mark.revision})}
        <p class="second"><a href="/annotations/${mark.id}">${t('record.address')}</a></p></dd>
    </dl></article>
    ${canReshape ? html`<div class="sheet-foot"><button type="button" class="key" @click=${actions.reshape}>${icon('contour')}${t('record.reshape')}</button></div>` : nothing}`;
}
