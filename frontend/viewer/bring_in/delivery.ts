/** One row of the delivery slip: a file, what is stated of it, and how far it has come. */
import {ApiProblem, type ApiClient} from '../api/client';
import type {ProblemDetails} from '../api/contract';
import type {ImageProgress} from './contract';
import {toldByName} from './file_name';
import {Upload, type UploadProgress} from './upload';

const LOOK_MS = 2000;
const REMEMBERED = 'mahlstick-upload|';
/** How far a picture comes by itself; laying is a judgement of people. */
const AT_REST: readonly ImageProgress['status'][] = ['read', 'published', 'refused', 'withdrawn'];

export type Stage = 'slip' | 'sending' | 'received' | 'read' | 'refused';

/** What a browser remembers of an upload that did not end: enough to go on once the file is chosen again. */
export interface Interrupted {
  key: string;
  face: string;
  name: string;
  sizeBytes: number;
  slip: Record<string, string>;
}

export class Delivery {
  stage: Stage = 'slip';
  progress: UploadProgress | null = null;
  image: string | null = null;
  duplicateOf: string | null = null;
  problem: ProblemDetails | null = null;
  isMissing = false;
  readonly slip: Record<string, string>;
  private upload: Upload | null = null;

  constructor(readonly file: File, public face: string, private readonly around: {client: ApiClient; csrfToken: string; changed: () => void}) {
    const before = interruptedUploads().find((upload) => upload.name === file.name && upload.sizeBytes === file.size);
    this.slip = before ? {...before.slip} : {...toldByName(file.name), visibility: 'study'};
    if (before) this.face = before.face;
  }

  state(name: string, value: string): void {
    if (value === '') Reflect.deleteProperty(this.slip, name);
    else this.slip[name] = value;
    this.isMissing = false;
    this.around.changed();
  }

  get isAnswered(): boolean {
    return Boolean(this.slip.modality) && Boolean(this.slip.state);
  }

  get isSending(): boolean {
    return this.stage === 'sending' && this.progress?.state !== 'paused';
  }

  async send(): Promise<void> {
    if (!this.isAnswered) {
      this.isMissing = true;
      this.around.changed();
      return;
    }
    this.problem = null;
    this.stage = 'sending';
    const request = {file: this.file, face: this.face, slip: this.slip, csrfToken: this.around.csrfToken};
    this.upload ??= new Upload(request, (progress) => {
      this.progress = progress;
      this.around.changed();
    });
    try {
      const outcome = await this.upload.send();
      if (outcome) await this.follow(outcome.image, outcome.duplicateOf);
    } catch (reason) {
      this.refuse(reason);
    }
  }

  pause(): void {
    this.upload?.pause();
  }

  async cancel(): Promise<void> {
    await this.upload?.cancel();
  }

  /** Wait until the server has read the picture, and say what came of it. */
  private async follow(image: string, duplicateOf: string | null): Promise<void> {
    this.image = image;
    this.duplicateOf = duplicateOf;
    this.stage = 'received';
    this.around.changed();
    for (;;) {
      const {status, refusal} = await this.around.client.call<ImageProgress>(`/api/v1/images/${image}`);
      if (AT_REST.includes(status)) {
        this.stage = status === 'refused' ? 'refused' : 'read';
        if (status === 'refused') this.problem = {title: refusal};
        this.around.changed();
        return;
      }
      await new Promise((done) => setTimeout(done, LOOK_MS));
    }
  }

  private refuse(reason: unknown): void {
    if (!(reason instanceof ApiProblem)) throw reason;
    this.upload = null;
    this.stage = this.image ? 'received' : 'slip';
    this.problem = reason.problem;
    this.around.changed();
  }
}

/** Return the uploads that this browser began and that did not end. */
export function interruptedUploads(store: Storage = localStorage): Interrupted[] {
  const keys = Array.from({length: store.length}, (_, index) => store.key(index) ?? '');
  return keys.filter((key) => key.startsWith(REMEMBERED)).flatMap((key) => {
    const [, face = '', name = '', size = '', , ...slip] = key.split('|');
    try {
      return [{key, face, name, sizeBytes: Number(size), slip: JSON.parse(slip.join('|')) as Record<string, string>}];
    } catch {
      return [];
    }
  });
}
