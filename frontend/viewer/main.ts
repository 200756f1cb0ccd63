/** Entry of the examination page: reads what the server embedded, builds the bench, and keeps the address. */
import './ui/examination.css';

import './annotations/margin_element';
import './annotations/sheet_element';
import './compare/compare_keys';
import './compare/names_element';
import './compare/spots_element';
import './compare/stick_element';
import './draw/say_keys';
import './map/card_dialog';
import './map/readout_element';
import './map/rule_element';
import './map/view_keys';
import './ui/loupe_element';
import './ui/phone_keys';

import {AnnotationsApi, ApiClient} from './api/client';
import type {ExaminationData} from './api/contract';
import {Drawing} from './draw/drawing';
import {Hand} from './draw/hand';
import {MarksLayer} from './draw/marks_layer';
import {keepAddress, openAddress} from './map/address_keeper';
import {Examination} from './map/examination';
import {ExaminationMap} from './map/examination_map';
import {imageUnder} from './map/image_under';
import type {ViewAddress} from './map/view_address';
import type {ReadoutElement} from './map/readout_element';
import type {BenchElement} from './ui/bench_element';
import { type Bench} from './ui/bench_element';
import {measuredWhileDrawing} from './measure/measured';
import {spokenValue} from './measure/measured_text';
import type {LoupeElement} from './ui/loupe_element';
import {embedded, find} from './ui/page_parts';
import {raiseSheet, startSheetGrip} from './ui/sheet_grip';
import {loadTexts, t} from './ui/texts';

function buildBench(examination: Examination): Bench {
  const {data} = examination;
  const wall = new ExaminationMap(find('#painting'), examination);
  const drawing = new Drawing(examination, (place_mm) => imageUnder({examination}, place_mm)?.image ?? null);
  const annotations = new AnnotationsApi(new ApiClient(data.csrf_token), data.annotations_url);
  return {examination, wall, drawing, annotations};
}

/** The wall has its size only once the ledge has been drawn; then the view can be placed. */
async function layBench(bench: Bench, view: ViewAddress): Promise<void> {
  const elements = [...document.querySelectorAll<BenchElement>('[data-bench]')];
  for (const element of elements) element.attach(bench);
  await Promise.all(elements.map((element) => element.updateComplete));
  bench.wall.map.updateSize();
  keepAddress({examination: bench.examination, wall: bench.wall, view});
}

function startHand(bench: Bench): void {
  const {wall, examination, drawing} = bench;
  const marks = new MarksLayer(wall, examination, drawing);
  const readout = find<ReadoutElement>('mahl-readout');
  const loupe = find<LoupeElement>('mahl-loupe');
  speakCorners(bench, readout);
  new Hand(wall, examination, drawing, {marks, events: {
    aim: (place_mm) => { loupe.aim(place_mm); },
    keyed: () => { readout.sayPlace(); },
  }});
}

/** Tell readers of each corner that is set, with the measure so far. */
function speakCorners({drawing, examination}: Bench, readout: ReadoutElement): void {
  let spoken = 0;
  drawing.on(() => {
    const count = drawing.corners.length;
    if (count > spoken && drawing.phase !== 'reshaping') {
      const measured = measuredWhileDrawing(drawing, examination);
      const value = measured?.kind === 'value' ? spokenValue(measured.measurement) : '';
      readout.say(t('say.corner_set', {count, value}).trim());
    }
    spoken = count;
  });
}

async function readMarks({annotations, examination}: Bench): Promise<void> {
  try {
    const marks = await annotations.list();
    examination.change({marks});
  } catch (reason) {
    const slip = document.createElement('p');
    slip.className = 'slip slip-bad';
    slip.setAttribute('role', 'alert');
    slip.textContent = `${t('problem.no_marks')} ${reason instanceof Error ? reason.message : ''}`;
    find('.sheet').prepend(slip);
  }
}

async function start(): Promise<void> {
  const data = embedded<ExaminationData>('examination-data');
  await loadTexts(data.language);
  const examination = new Examination(data);
  const view = openAddress(examination);
  const bench = buildBench(examination);
  await layBench(bench, view);
  startHand(bench);
  startSheetGrip(find('.sheet-grip'));
  document.body.dataset.sheet = 'closed';
  bench.examination.on('change', ({openMark, tonePanel}) => { if (openMark || tonePanel) raiseSheet(); });
  bench.drawing.on(() => { if (bench.drawing.phase === 'reshaping') raiseSheet(); });
  const painting = find('#painting');
  painting.setAttribute('aria-label', t('painting.name', {title: data.artwork.title, face: data.face.name}));
  find('#painting-help').textContent = t('painting.help');
  const follow = (): void => { painting.dataset.marks = bench.examination.state.areMarksShown && bench.examination.state.marks.length > 0 ? 'shown' : 'none'; };
  bench.examination.on('change', follow);
  follow();
  await readMarks(bench);
  // An address that names a mark leads to its record, on small screens as well.
  if (examination.mark(examination.state.openMark)) raiseSheet();
}

void start();
