/** Open the view of the address, and keep the address true while people look round. */
import {firstPair, type Examination} from './examination';
import type {ExaminationMap} from './examination_map';
import {readAddress, writeAddress, type ViewAddress} from './view_address';

/** A browser refuses too many changes of address in a row. */
const REST_MS = 250;

/** Set what the address says before the wall is built; images it names that are closed or gone give way to the first pair. */
export function openAddress(examination: Examination): ViewAddress {
  const view = readAddress(window.location.search);
  const open = examination.openImages();
  const first = firstPair(open);
  const known = (id: string | undefined, otherwise: string | null): string | null => (open.some((image) => image.id === id) ? (id ?? null) : otherwise);
  const a = known(view.a, first.a);
  examination.change({
    a,
    b: known(view.b, view.a ? null : first.b),
    mode: view.mode ?? 'wipe',
    fade: view.fade ?? examination.state.fade,
    stick: view.stick ?? examination.state.stick,
    isMirrored: view.isMirrored ?? examination.state.isMirrored,
    openMark: view.mark ?? null,
  });
  if (view.tone_a) examination.setTone('a', view.tone_a);
  if (view.tone_b) examination.setTone('b', view.tone_b);
  return view;
}

export function keepAddress({examination, wall, view}: {examination: Examination; wall: ExaminationMap; view: ViewAddress}): void {
  let timer = 0;
  let isPlaced = false;
  const place = (): void => {
    const [width = 0, height = 0] = wall.map.getSize() ?? [];
    if (isPlaced || width === 0 || height === 0) return;
    isPlaced = true;
    placeView(wall, view);
    wall.placed();
  };
  const write = (): void => {
    if (!isPlaced || timer !== 0) return;
    timer = window.setTimeout(() => {
      timer = 0;
      writeNow(examination, wall);
    }, REST_MS);
  };
  wall.map.on('change:size', place);
  place();
  examination.on('change', write);
  examination.on('sight', write);
}

function placeView(wall: ExaminationMap, view: ViewAddress): void {
  wall.showWhole();
  if (view.x_mm !== undefined && view.y_mm !== undefined && view.mm_per_css_px !== undefined) {
    wall.go({
      centre_mm: [view.x_mm, view.y_mm],
      mm_per_css_px: view.mm_per_css_px,
      rotation_rad: ((view.rotation_deg ?? 0) * Math.PI) / 180,
    });
  }
}

function writeNow(examination: Examination, wall: ExaminationMap): void {
  const {state} = examination;
  const {centre_mm, mm_per_css_px, rotation_rad} = wall.placing;
  const view: ViewAddress = {
    x_mm: centre_mm[0],
    y_mm: centre_mm[1],
    mm_per_css_px,
    rotation_deg: (rotation_rad * 180) / Math.PI,
    mode: state.mode,
    fade: state.fade,
    stick: state.stick,
  };
  if (state.isMirrored !== examination.data.face.is_mirrored) view.isMirrored = state.isMirrored;
  if (state.a) view.a = state.a;
  if (state.b) view.b = state.b;
  if (state.openMark) view.mark = state.openMark;
  const [toneA, toneB] = [examination.toneOf('a'), examination.toneOf('b')];
  if (toneA) view.tone_a = toneA;
  if (toneB) view.tone_b = toneB;
  window.history.replaceState(window.history.state, '', `?${writeAddress(view)}${window.location.hash}`);
}
