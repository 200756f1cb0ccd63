/**
 * Bring one file in by the open protocol tus 1.0: in pieces, each with its checksum, going on wherever it stopped.
 *
 * The server counts what has arrived; this side only remembers where the upload lives, so a reload, a lost signal or
 * a restarted server cost at most one piece.
 */
import {ApiProblem} from '../api/client';
import type {ProblemDetails} from '../api/contract';

const MEBIBYTE = 1024 * 1024;
/** Pieces grow and shrink so that each takes about this long: progress is seen, and little is lost. */
const PIECE_S = 4;
export const SMALLEST_PIECE_BYTES = MEBIBYTE;
export const LARGEST_PIECE_BYTES = 16 * MEBIBYTE;
const FIRST_PAUSE_MS = 500;
const LONGEST_PAUSE_MS = 30_000;
/** So many failures in a row without a byte of progress, about 15 minutes, and somebody has to look. */
const MOST_FAILURES = 35;
const ASK_AGAIN_MS = 2000;
const TUS: Readonly<Record<string, string>> = {'Tus-Resumable': '1.0.0'};
const NOT_HERE_ANY_MORE = [404, 410];
/** The server is busy, away or counts differently: ask where it stands, then go on. */
const WORTH_ANOTHER_TRY = [0, 409, 423, 429, 460, 500, 502, 503, 504];

export type UploadState = 'waiting' | 'sending' | 'pausing' | 'paused' | 'finishing' | 'done' | 'refused' | 'cancelled';

export interface UploadOutcome {
  readonly image: string;
  readonly job: string;
  readonly duplicateOf: string | null;
}

export interface UploadProgress {
  readonly state: UploadState;
  readonly sentBytes: number;
  readonly totalBytes: number;
  /** Bytes a second over the last pieces; 0 while unknown. */
  readonly pace: number;
  readonly secondsLeft: number | null;
  /** The server's sentence when it was refused, or why it waits. */
  readonly sentence: string;
}

export interface UploadRequest {
  readonly file: File;
  readonly face: string;
  /** What is stated about the picture, by the names of the slip: modality, state, um_per_px ... */
  readonly slip: Readonly<Record<string, string>>;
  readonly csrfToken: string;
}

/** What a test replaces. */
export interface UploadSurroundings {
  readonly fetcher: typeof fetch;
  readonly store: Pick<Storage, 'getItem' | 'setItem' | 'removeItem'>;
  readonly pause: (milliseconds: number, signal: AbortSignal) => Promise<void>;
  readonly now: () => number;
}

const BROWSER: UploadSurroundings = {
  fetcher: (...call) => fetch(...call),
  store: {
    getItem: (key) => localStorage.getItem(key),
    setItem: (key, value) => { localStorage.setItem(key, value); },
    removeItem: (key) => { localStorage.removeItem(key); },
  },
  pause: pauseUnlessAborted,
  now: () => performance.now(),
};

export class Upload {
  private location: string | null = null;
  private state: UploadState = 'waiting';
  private sentBytes = 0;
  private pieceBytes = SMALLEST_PIECE_BYTES;
  private pace = 0;
  private abort = new AbortController();

  constructor(
    private readonly request: UploadRequest,
    private readonly onProgress: (progress: UploadProgress) => void = () => undefined,
    private readonly around: UploadSurroundings = BROWSER,
  ) {}

  /** Send the file, or go on with it; resolves to the image, null when paused or cancelled; rejects when refused. */
  async send(): Promise<UploadOutcome | null> {
    this.abort = new AbortController();
    let failures = 0;
    for (;;) {
      const before = this.sentBytes;
      try {
        return await this.attempt();
      } catch (error) {
        if (this.abort.signal.aborted) return this.stopped();
        const problem = problemFrom(error);
        if (NOT_HERE_ANY_MORE.includes(problem.status) && this.location !== null) this.forget();
        else if (!WORTH_ANOTHER_TRY.includes(problem.status)) throw this.refused(problem);
        failures = this.sentBytes > before ? 1 : failures + 1;
        if (failures > MOST_FAILURES) throw this.refused(problem);
        this.say('waiting', problem.message);
        await this.around.pause(Math.min(FIRST_PAUSE_MS * 2 ** (failures - 1), LONGEST_PAUSE_MS), this.abort.signal);
        if (this.abort.signal.aborted) return this.stopped();
      }
    }
  }

  /** Stop sending; what has arrived stays, and `send` goes on from there. */
  pause(): void {
    this.say('pausing');
    this.abort.abort();
  }

  /** Stop for good: the server drops what has arrived. */
  async cancel(): Promise<void> {
    this.state = 'cancelled';
    this.abort.abort();
    const location = this.location ?? this.around.store.getItem(this.fingerprint);
    this.forget();
    if (location !== null) await this.call(location, {method: 'DELETE'}).catch(() => undefined);
    this.say('cancelled');
  }

  private async attempt(): Promise<UploadOutcome> {
    const location = await this.found();
    let outcome: UploadOutcome | null = null;
    while (this.sentBytes < this.request.file.size) {
      this.say('sending');
      outcome = await this.sendPiece(location);
    }
    this.say('finishing');
    outcome ??= await this.finished(location);
    this.forget();
    this.say('done');
    return outcome;
  }

  /** Return where the upload lives: remembered and still there, or made now. */
  private async found(): Promise<string> {
    const location = this.location ?? this.around.store.getItem(this.fingerprint);
    if (location !== null) {
      this.location = location;
      const answer = await this.call(location, {method: 'HEAD'});
      this.sentBytes = numberOf(answer, 'Upload-Offset');
      return location;
    }
    const {file, face, slip} = this.request;
    const metadata = {filename: file.name, face, slip: JSON.stringify(slip)};
    const answer = await this.call('/uploads/', {
      method: 'POST',
      headers: {'Upload-Length': String(file.size), 'Upload-Metadata': encodedMetadata(metadata)},
    });
    this.location = answer.headers.get('Location') ?? '';
    this.sentBytes = 0;
    this.around.store.setItem(this.fingerprint, this.location);
    return this.location;
  }

  private async sendPiece(location: string): Promise<UploadOutcome | null> {
    const piece = this.request.file.slice(this.sentBytes, this.sentBytes + this.pieceBytes);
    const body = await piece.arrayBuffer();
    const begunMs = this.around.now();
    const answer = await this.call(location, {
      method: 'PATCH',
      body,
      headers: {
        'Content-Type': 'application/offset+octet-stream',
        'Upload-Offset': String(this.sentBytes),
        ...(await checksumHeader(body)),
      },
    });
    this.sentBytes = numberOf(answer, 'Upload-Offset');
    this.adapt(body.byteLength, (this.around.now() - begunMs) / 1000);
    return outcomeOf(answer.headers);
  }

  private adapt(bytes: number, seconds: number): void {
    const pace = bytes / Math.max(seconds, 0.001);
    this.pace = this.pace === 0 ? pace : 0.7 * this.pace + 0.3 * pace;
    this.pieceBytes = Math.round(Math.min(Math.max(this.pace * PIECE_S, SMALLEST_PIECE_BYTES), LARGEST_PIECE_BYTES));
  }

  /** Ask until the server has hashed and checked the whole file. */
  private async finished(location: string): Promise<UploadOutcome> {
    for (;;) {
      const answer = await this.call(location, {method: 'GET'});
      const document = (await answer.json()) as Record<string, string | undefined>;
      if (document.image) {
        return {image: document.image, job: document.job ?? '', duplicateOf: document.duplicate_of ?? null};
      }
      if (document.error) throw new ApiProblem(422, {title: document.error, detail: document.error, code: document.code ?? ''});
      await this.around.pause(ASK_AGAIN_MS, this.abort.signal);
      if (this.abort.signal.aborted) throw new DOMException('paused', 'AbortError');
    }
  }

  private async call(url: string, {method, body, headers = {}}: {method: string; body?: ArrayBuffer; headers?: Record<string, string>}): Promise<Response> {
    const init: RequestInit = {
      method,
      headers: {...TUS, 'X-CSRFToken': this.request.csrfToken, ...headers},
      credentials: 'same-origin',
      ...(body === undefined ? {} : {body}),
      ...(method === 'DELETE' ? {} : {signal: this.abort.signal}),
    };
    const answer = await this.around.fetcher(url, init);
    if (!answer.ok) throw new ApiProblem(answer.status, await problemOf(answer));
    return answer;
  }

  private stopped(): null {
    if (this.state !== 'cancelled') this.say('paused');
    return null;
  }

  private refused(problem: ApiProblem): ApiProblem {
    this.forget();
    this.say('refused', problem.message);
    return problem;
  }

  private forget(): void {
    this.around.store.removeItem(this.fingerprint);
    this.location = null;
    this.sentBytes = 0;
  }

  /** The same file with the same slip for the same face goes on where it was, also after a reload. */
  private get fingerprint(): string {
    const {file, face, slip} = this.request;
    return ['mahlstick-upload', face, file.name, file.size, file.lastModified, JSON.stringify(slip)].join('|');
  }

  private say(state: UploadState, sentence = ''): void {
    this.state = state;
    const totalBytes = this.request.file.size;
    const secondsLeft = this.pace > 0 ? (totalBytes - this.sentBytes) / this.pace : null;
    const {sentBytes, pace} = this;
    this.onProgress({state, sentBytes: state === 'done' ? totalBytes : sentBytes, totalBytes, pace, secondsLeft, sentence});
  }
}

/** Upload-Metadata: names and Base64 of UTF-8. */
export function encodedMetadata(values: Readonly<Record<string, string>>): string {
  return Object.entries(values).map(([name, value]) => `${name} ${base64(new TextEncoder().encode(value))}`).join(',');
}

function base64(bytes: Uint8Array): string {
  let text = '';
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
}

/** Browsers hash only on safe connections; without a hash the piece goes as it is. */
async function checksumHeader(body: ArrayBuffer): Promise<Record<string, string>> {
  const subtle = (globalThis.crypto as Crypto | undefined)?.subtle as SubtleCrypto | undefined;
  if (subtle === undefined) return {};
  return {'Upload-Checksum': `sha256 ${base64(new Uint8Array(await subtle.digest('SHA-256', body)))}`};
}

function outcomeOf(headers: Headers): UploadOutcome | null {
  const image = headers.get('Mahlstick-Image');
  if (image === null) return null;
  return {image, job: headers.get('Mahlstick-Job') ?? '', duplicateOf: headers.get('Mahlstick-Duplicate-Of')};
}

function numberOf(answer: Response, name: string): number {
  const value = Number(answer.headers.get(name));
  if (!Number.isSafeInteger(value)) throw new ApiProblem(502, {title: name, detail: `${name}: ${answer.headers.get(name) ?? ''}`});
  return value;
}

function problemFrom(error: unknown): ApiProblem {
  if (error instanceof ApiProblem) return error;
  const message = error instanceof Error ? error.message : String(error);
  return new ApiProblem(0, {title: message, detail: message, code: 'no_signal'});
}

async function problemOf(answer: Response): Promise<ProblemDetails> {
  try {
    return (await answer.json()) as ProblemDetails;
  } catch {
    return {title: answer.statusText || String(answer.status)};
  }
}

function pauseUnlessAborted(milliseconds: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    const end = (): void => {
      clearTimeout(timer);
      signal.removeEventListener('abort', end);
      removeEventListener('online', end);
      resolve();
    };
    const timer = setTimeout(end, milliseconds);
    signal.addEventListener('abort', end);
    // A phone that has signal again need not wait for the end of the pause.
    addEventListener('online', end);
  });
}
