/** What can be said, and the shape in which it is drawn first. */
import type {IconName} from '../ui/icons';
import type {TextKey} from '../ui/texts';

export type ShapeKind = 'Point' | 'LineString' | 'Polygon';

export interface Word {
  code: string;
  label: TextKey;
  icon: IconName;
  kind: ShapeKind;
}

export const WORDS: readonly Word[] = [
  {code: 'crack', label: 'word.crack', icon: 'crack', kind: 'LineString'},
  {code: 'loss', label: 'word.loss', icon: 'loss', kind: 'Polygon'},
  {code: 'contour', label: 'word.contour', icon: 'contour', kind: 'LineString'},
  {code: 'hole', label: 'word.hole', icon: 'hole', kind: 'Point'},
  {code: 'passage', label: 'word.passage', icon: 'passage', kind: 'Polygon'},
];

export const LENGTH: Word = {code: 'length', label: 'word.length', icon: 'measure', kind: 'LineString'};

/** Corners a shape needs before it can be finished. */
export const LEAST_CORNERS: Record<ShapeKind, number> = {Point: 1, LineString: 2, Polygon: 3};
