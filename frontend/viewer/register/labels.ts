/** Names of images on pages without a table of images. */
import type {ImageData} from '../api/contract';
import {t} from '../ui/texts';

export function fullLabel(image: ImageData): string {
  return t('image.full_name', {label: image.label, state: t(`state.${image.state}`), version: image.version});
}
