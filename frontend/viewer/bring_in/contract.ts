/** What the server embeds in the page where images are brought in (frontend/pages/bring_in.py). */
export interface Choice {
  code: string;
  label: string;
}

export interface BringInData {
  artwork: string;
  faces: {id: string; label: string}[];
  modalities: Choice[];
  states: Choice[];
  visibilities: Choice[];
  rights: {uri: string; label: string}[];
  campaigns: {id: string; state: string; label: string}[];
  image_url: string;
  csrf_token: string;
  language: string;
}

/** The part of an image's document that a row waits for. */
export interface ImageProgress {
  status: 'waiting' | 'read' | 'published' | 'refused' | 'withdrawn';
  refusal: string;
}
