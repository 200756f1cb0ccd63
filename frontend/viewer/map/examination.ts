/** What the page is showing at this moment. Everything on it reads from here and writes through `change`. */
import {isOpen, type AnnotationData, type ExaminationData, type ImageData, type OpenImage, type PointMm} from '../api/contract';
import {agreementAt_mm} from '../compare/agreement';
import type {Stick} from '../compare/stick';
import type {Tone} from '../tone/tone';
import type {CompareMode} from './view_address';

export type Slot = 'a' | 'b';

export interface Sight {
  centre_mm: PointMm;
  mm_per_css_px: number;
  rotation_rad: number;
}

export interface ExaminationState {
  a: string | null;
  b: string | null;
  mode: CompareMode;
  /** Part of b in the fade, 0 to 1. */
  fade: number;
  stick: Stick;
  isMirrored: boolean;
  marks: AnnotationData[];
  areMarksShown: boolean;
  openMark: string | null;
  /** Tones by the id of the image, so that an image keeps its own on either side. */
  tones: Readonly<Record<string, Tone>>;
  /** The side whose tone lies on the sheet. */
  tonePanel: Slot | null;
}

export interface ExaminationEvents {
  change: Partial<ExaminationState>;
  pointer: PointMm | null;
  sight: Sight;
  /** The first view stands: what waited for the link may come now. */
  full: null;
}

type Listener<K extends keyof ExaminationEvents> = (detail: ExaminationEvents[K]) => void;

export class Examination {
  private readonly listeners = new Map<keyof ExaminationEvents, Set<Listener<never>>>();
  state: ExaminationState;
  /** Where the pointer is on the painting; null while it is elsewhere, and then the centre of the view counts. */
  pointer_mm: PointMm | null = null;
  sight: Sight;

  constructor(readonly data: ExaminationData) {
    const {width_mm, height_mm} = data.frame;
    this.sight = {centre_mm: [width_mm / 2, height_mm / 2], mm_per_css_px: 1, rotation_rad: 0};
    this.state = {
      a: null,
      b: null,
      mode: 'wipe',
      fade: 0.5,
      stick: {x_mm: width_mm / 2, y_mm: height_mm / 2, angle_deg: 78},
      isMirrored: data.face.is_mirrored,
      marks: [],
      areMarksShown: true,
      openMark: null,
      tones: {},
      tonePanel: null,
    };
  }

  on<K extends keyof ExaminationEvents>(kind: K, listener: Listener<K>): () => void {
    const all = this.listeners.get(kind) ?? new Set<Listener<never>>();
    all.add(listener as Listener<never>);
    this.listeners.set(kind, all);
    return () => all.delete(listener as Listener<never>);
  }

  change(patch: Partial<ExaminationState>): void {
    // A record that is opened takes the sheet from the tone.
    this.state = {...this.state, ...(patch.openMark ? {tonePanel: null} : {}), ...patch};
    this.tell('change', patch);
  }

  point(pointer_mm: PointMm | null): void {
    this.pointer_mm = pointer_mm;
    this.tell('pointer', pointer_mm);
  }

  see(sight: Sight): void {
    this.sight = sight;
    this.tell('sight', sight);
  }

  /** Said once, when the first view is drawn as fine as it can be. */
  standFull(): void {
    this.tell('full', null);
  }

  get spot_mm(): PointMm {
    if (this.pointer_mm) return this.pointer_mm;
    // In a tall window the middle of the view may lie above a work that stands on the ledge.
    const {width_mm, height_mm} = this.data.frame;
    const [x_mm, y_mm] = this.sight.centre_mm;
    return [Math.min(width_mm, Math.max(0, x_mm)), Math.min(height_mm, Math.max(0, y_mm))];
  }

  image(id: string | null): ImageData | null {
    return this.data.images.find((image) => image.id === id) ?? null;
  }

  shown(slot: Slot): OpenImage | null {
    const image = this.image(this.state[slot]);
    return image && isOpen(image) ? image : null;
  }

  openImages(): OpenImage[] {
    return this.data.images.filter(isOpen);
  }

  toneOf(slot: Slot): Tone | null {
    const id = this.state[slot];
    return id === null ? null : (this.state.tones[id] ?? null);
  }

  setTone(slot: Slot, tone: Tone): void {
    const id = this.state[slot];
    if (id !== null) this.change({tones: {...this.state.tones, [id]: tone}});
  }

  agreement_mm(place_mm: PointMm): number | null {
    return agreementAt_mm(this.shown('a'), this.shown('b'), place_mm);
  }

  mark(id: string | null): AnnotationData | null {
    return this.state.marks.find((mark) => mark.id === id) ?? null;
  }

  /** Put one mark into the list, in place of its older revision. */
  putMark(mark: AnnotationData): void {
    const others = this.state.marks.filter(({id}) => id !== mark.id);
    this.change({marks: [...others, mark], openMark: mark.id});
  }

  private tell<K extends keyof ExaminationEvents>(kind: K, detail: ExaminationEvents[K]): void {
    for (const listener of this.listeners.get(kind) ?? []) (listener as Listener<K>)(detail);
  }
}

/** What one compares first with what: paint as the eye sees it, then what lies below. */
const FIRST_A = ['VIS', 'MSI', 'RAK'];
const FIRST_B = ['IRR', 'NIR', 'XR', 'UVL', 'RAK'];
const STATE_ORDER = ['before', 'during', 'after'];

/** Choose what to show first: the visible image before treatment and the infrared one, or what there is. */
export function firstPair(images: OpenImage[]): {a: string | null; b: string | null} {
  const best = (wanted: readonly string[], not: string | null): string | null => {
    const rank = ({modality, state}: OpenImage): number => {
      const place = wanted.indexOf(modality);
      return (place < 0 ? wanted.length : place) * STATE_ORDER.length + STATE_ORDER.indexOf(state);
    };
    const [first] = images
      .filter(({id}) => id !== not)
      .sort((one, other) => rank(one) - rank(other) || other.version - one.version);
    return first?.id ?? null;
  };
  const a = best(FIRST_A, null);
  return {a, b: best(FIRST_B, a)};
}
