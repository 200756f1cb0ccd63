/** Entry of the frame page: the zero corner, the top edge and the outline are pressed on an image in its own pixels. */
import './ui/examination.css';
import './ui/register.css';
import './register/frame_sheet';

import type {FrameSetupData, PointPx, RawImageData} from './api/contract';
import {PlainView} from './map/plain_view';
import {drawFrameDraft} from './register/frame_drawing';
import {FrameDraft} from './register/frame_draft';
import type {FrameSheetElement} from './register/frame_sheet';
import {fullLabel} from './register/labels';
import {rawContent} from './register/pictures';
import {embedded, find} from './ui/page_parts';
import {setSheetHeight, startSheetGrip} from './ui/sheet_grip';
import {loadTexts, t} from './ui/texts';

const CATCH_MOUSE = 11;
const CATCH_TOUCH = 26;

function viewOf(host: HTMLElement, draft: FrameDraft, image: RawImageData): PlainView {
  const content = rawContent(image);
  if (!content) throw new Error('The image has no tiles in its own pixels.');
  const view: PlainView = new PlainView(host, content, {
    press: (place) => { draft.press(place); },
    catchAt: (at, isTouch) => nearest(draft.places(), (place) => view.screenOf(place), {at, reach: isTouch ? CATCH_TOUCH : CATCH_MOUSE}),
    drag: (caught, place) => { draft.move(caught, place); },
    draw: (context, toScreen) => { drawFrameDraft({context, toScreen}, draft); },
  });
  draft.on(() => { view.redraw(); });
  return view;
}

function nearest(
  places: PointPx[], toScreen: (place: PointPx) => readonly [number, number], {at, reach}: {at: readonly [number, number]; reach: number},
): number | null {
  const distances = places.map((place) => {
    const [x, y] = toScreen(place);
    return Math.hypot(x - at[0], y - at[1]);
  });
  const best = Math.min(...distances);
  return best <= reach ? distances.indexOf(best) : null;
}

async function start(): Promise<void> {
  const data = embedded<FrameSetupData>('frame-setup-data');
  await loadTexts(data.language);
  const image = data.images.find(({raw_tile_url: url}) => url !== null);
  if (!image) return;
  const draft = new FrameDraft();
  const host = find('#view-image');
  host.setAttribute('aria-label', t('points.view_image'));
  find('#painting-help').textContent = t('points.help');
  find('#image-name').textContent = fullLabel(image);
  viewOf(host, draft, image);
  find<FrameSheetElement>('mahl-frame-sheet').attach(data, draft, image);
  startSheetGrip(find('.sheet-grip'));
  setSheetHeight('closed');
}

void start();
