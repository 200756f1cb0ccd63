/** How an image is named to people: what it shows, when, and which version. */
import type {ExaminationData, ImageData} from '../api/contract';
import {t} from './texts';

export function stateLabel(data: ExaminationData, image: ImageData): string {
  return data.states.find(({campaign_id}) => campaign_id === image.campaign_id)?.label ?? t(`state.${image.state}`);
}

export function fullName(data: ExaminationData, image: ImageData): string {
  return t('image.full_name', {label: image.label, state: stateLabel(data, image), version: image.version});
}

export function shortName(data: ExaminationData, image: ImageData): string {
  return t('image.short_name', {label: image.short_label, state: stateLabel(data, image)});
}
