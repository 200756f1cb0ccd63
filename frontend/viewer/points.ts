/** Entry of the control-point page: the same features set on the work and on an image in its own pixels. */
import './ui/examination.css';
import './ui/register.css';
import './register/point_keys';
import './register/point_sheet';

import type {PointsData} from './api/contract';
import {embedded, find} from './ui/page_parts';
import {fullLabel} from './register/labels';
import {PointBench} from './register/point_bench';
import type {PointKeysElement} from './register/point_keys';
import {PointSet} from './register/point_set';
import type {PointSheetElement} from './register/point_sheet';
import {startSheetGrip} from './ui/sheet_grip';
import {loadTexts, t} from './ui/texts';

function offerReferences(bench: PointBench): void {
  const choice = find<HTMLSelectElement>('#reference');
  const bare = new Option(t('points.bare_frame'), '');
  choice.append(bare, ...bench.data.references.filter(({tile_url: url}) => url !== null).map((image) => new Option(fullLabel(image), image.id)));
  choice.value = bench.reference?.id ?? '';
  choice.addEventListener('change', () => { bench.showReference(choice.value); });
}

async function start(): Promise<void> {
  const data = embedded<PointsData>('points-data');
  await loadTexts(data.language);
  const set = new PointSet();
  const hosts = {work: find('#view-work'), image: find('#view-image')};
  hosts.work.setAttribute('aria-label', t('points.view_work'));
  hosts.image.setAttribute('aria-label', t('points.view_image'));
  find('#painting-help').textContent = t('points.help');
  const bench = new PointBench(data, set, hosts);
  const keys = find<PointKeysElement>('mahl-point-keys');
  keys.attach(bench);
  find<PointSheetElement>('mahl-point-sheet').attach(bench, keys);
  offerReferences(bench);
  startSheetGrip(find('.sheet-grip'));
  document.body.dataset.sheet = 'closed';
  set.replace(data.points);
}

void start();
