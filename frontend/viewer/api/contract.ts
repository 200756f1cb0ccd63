/**
 * What the server embeds in the examination page (`<script type="application/json" id="examination-data">`) and what
 * its annotation addresses speak. Lengths are frame millimetres, x to the right, y down; 1 unit of a grid is 1 pixel.
 */
import type {Geometry, Polygon} from 'geojson';

export type PointMm = readonly [x_mm: number, y_mm: number];
export type PointPx = readonly [x_px: number, y_px: number];

export type Certainty = 'certain' | 'probable' | 'possible' | 'unlikely' | 'rejected';
export type TreatmentState = 'before' | 'during' | 'after';

export interface ExaminationData {
  face: {id: string; name: string; is_mirrored: boolean};
  artwork: {id: string; title: string; inventory_number: string};
  frame: FrameData;
  /** Rows of the table of images, oldest first. */
  states: StateRow[];
  /** Columns of the table of images. */
  modalities: {code: string; label: string}[];
  images: ImageData[];
  annotations_url: string;
  can_annotate: boolean;
  /** Who looks; null for a stranger. The shape of a mark is changed by its author alone. */
  person: string | null;
  csrf_token: string;
  language: string;
}

export interface FrameData {
  id: string;
  version: number;
  width_mm: number;
  height_mm: number;
  /** Outline of the painted surface, null while nobody has drawn it. */
  outline_mm: Polygon | null;
  /** Relative standard uncertainty (k = 1) of the frame's lengths; the `a` of `a L`. */
  scale_uncertainty: number;
  canvas_pitch_mm: number;
}

export interface StateRow {
  campaign_id: string;
  state: TreatmentState;
  label: string;
  /** A year, a span of years, or an ISO date. */
  date: string;
}

/** One technical image. A closed one that the reader may know of carries no addresses, grid or registration. */
export interface ImageData {
  id: string;
  label: string;
  short_label: string;
  /** A code of `modalities`, such as VIS or IRR. */
  modality: string;
  state: TreatmentState;
  campaign_id: string;
  version: number;
  is_closed: boolean;
  /** ISO date on which a closed image opens; null when no date is set. */
  closed_until: string | null;
  um_per_px: number | null;
  width_px: number | null;
  height_px: number | null;
  tile_url: string | null;
  window_url: string | null;
  grid: GridData | null;
  footprint_mm: PointMm[] | null;
  registration: RegistrationData | null;
}

/** Tiles of the published pyramid: zoom 0 is the coarsest, zoom `zooms - 1` has `pitch_mm`; edge tiles have full size. */
export interface GridData {
  x0_mm: number;
  y0_mm: number;
  pitch_mm: number;
  width_px: number;
  height_px: number;
  zooms: number;
  tile_size_px: number;
}

export interface RegistrationData {
  id: string;
  version: number;
  method: string;
  /** JSON form `mahlstick-map`: frame mm to the master's pixels. */
  map: unknown;
  uncertainty: UncertaintyGridData | null;
  rms_mm: number | null;
}

/** Local uncertainty of a registration at 95 %, row by row from the top; null where nothing was measured. */
export interface UncertaintyGridData {
  x0_mm: number;
  y0_mm: number;
  step_mm: number;
  columns: number;
  rows: number;
  u95_mm: (number | null)[];
}

export interface AnnotationData {
  id: string;
  key: string;
  face: string;
  geometry: Geometry;
  title: string;
  observation: string;
  interpretation: string;
  certainty: Certainty | null;
  certainty_reason: string;
  drawn_on_image: string | null;
  drawn_on_registration: string | null;
  author: {id: string; name: string};
  created_at: string;
  revision: number;
  /** What the server measured on the whole shape, also of several parts; uncertainties at 95 %. */
  measurements?: {
    length_mm: number | null;
    area_mm2: number | null;
    count: number | null;
    uncertainty_mm: number | null;
    area_uncertainty_mm2: number | null;
    can_resolve: boolean | null;
  };
}

export interface AnnotationDraft {
  face: string;
  /** The frame version whose millimetres the geometry is in. */
  frame: string;
  geometry: Geometry;
  /** Code of the word that started the drawing. */
  subject: string;
  title: string;
  observation: string;
  interpretation: string;
  text_language: string;
  certainty: Certainty | null;
  certainty_reason: string;
  drawn_on_image: string | null;
  drawn_on_registration: string | null;
}

/** What may be changed afterwards; where a mark was drawn stays on record. */
export type AnnotationChange = Partial<Omit<AnnotationDraft, 'face' | 'frame' | 'drawn_on_image' | 'drawn_on_registration'>>;

/** RFC 9457 problem details with the member `code`. */
export interface ProblemDetails {
  title: string;
  detail?: string;
  code?: string;
  status?: number;
}

export interface OpenImage extends ImageData {
  is_closed: false;
  tile_url: string;
  grid: GridData;
}

/** An image that may be shown: open, with a published pyramid. */
export function isOpen(image: ImageData): image is OpenImage {
  return !image.is_closed && image.tile_url !== null && image.grid !== null;
}

/** An image with the tiles of its own pixels: the unit of `raw_grid` is the pixel, its pitch is 1. */
export interface RawImageData extends ImageData {
  raw_tile_url: string | null;
  raw_grid: GridData | null;
}

/** What the control-point page carries (`points-data`). */
export interface PointsData {
  frame: FrameData;
  image: RawImageData;
  /** Laid images of the same face, to set points on. */
  references: ImageData[];
  points: {label: string; kind: 'control' | 'check'; x_mm: number; y_mm: number; x_px: number; y_px: number}[];
  registrations_url: string;
  /** Template with `{id}`. */
  judge_url: string;
  csrf_token: string;
  language: string;
}

/** What a fit answers. */
export interface RegistrationAnswer {
  id: string;
  version: number;
  model: string;
  quality: {
    rms_mm?: number | null;
    rms_px?: number | null;
    leave_one_out_rms_mm?: number | null;
    check_count?: number | null;
    check_rms_mm?: number | null;
    check_p95_mm?: number | null;
    check_worst_mm?: number | null;
  };
  quality_notes: {code: string; message: string}[];
  points: {
    label: string; kind: 'control' | 'check'; x_mm: number; y_mm: number; x_px: number; y_px: number;
    residual_mm: number | null; leave_one_out_mm: number | null; is_slip: boolean;
  }[];
}

/** What the frame page carries (`frame-setup-data`). */
export interface FrameSetupData {
  face: {id: string; name: string};
  frame: FrameData | null;
  stated: {width_mm: number | null; height_mm: number | null};
  datums: {code: string; label: string}[];
  images: RawImageData[];
  frames_url: string;
  csrf_token: string;
  language: string;
}
