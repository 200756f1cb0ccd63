import {beforeEach, describe, expect, it} from 'vitest';

import {Upload, encodedMetadata, type UploadProgress, type UploadSurroundings} from './upload';

const SIZE = 3 * 1024 * 1024 + 17;

/** A server of tus 1.0 that keeps count as ours does: what has arrived is the length of the file. */
class Server {
  arrived: Uint8Array<ArrayBuffer> = new Uint8Array();
  length = -1;
  metadata = '';
  calls: string[] = [];
  outcome: Record<string, string> = {image: 'image-1', job: 'job-1'};
  isOutcomeLate = false;
  /** Each one is used up by one PATCH. */
  failures: ((body: Uint8Array<ArrayBuffer>) => Response | 'lost')[] = [];

  fetch = async (url: RequestInfo | URL, init?: RequestInit): Promise<Response> => {
    const method = init?.method ?? 'GET';
    const sent = new Headers(init?.headers);
    this.calls.push(method);
    expect(sent.get('Tus-Resumable')).toBe('1.0.0');
    if (method === 'POST') return this.create(sent);
    if (String(url) !== '/uploads/1' || this.length < 0) return problem(404, 'not_found');
    if (method === 'HEAD') return new Response(null, {headers: this.offset()});
    if (method === 'DELETE') {
      this.length = -1;
      return new Response(null, {status: 204});
    }
    if (method === 'GET') return Response.json(this.outcome);
    return this.append(sent, new Uint8Array(init?.body as ArrayBuffer));
  };

  private create(sent: Headers): Response {
    this.length = Number(sent.get('Upload-Length'));
    this.metadata = sent.get('Upload-Metadata') ?? '';
    this.arrived = new Uint8Array();
    return new Response(null, {status: 201, headers: {Location: '/uploads/1'}});
  }

  private append(sent: Headers, body: Uint8Array<ArrayBuffer>): Response {
    if (Number(sent.get('Upload-Offset')) !== this.arrived.length) return problem(409, 'upload_offset');
    const failure = this.failures.shift()?.(body);
    if (failure === 'lost') throw new TypeError('Failed to fetch');
    if (failure !== undefined) return failure;
    this.take(body);
    const isLast = this.arrived.length === this.length && !this.isOutcomeLate;
    return new Response(null, {status: 204, headers: {...this.offset(), ...(isLast ? {'Mahlstick-Image': 'image-1'} : {})}});
  }

  take(body: Uint8Array<ArrayBuffer>): void {
    const joined = new Uint8Array(this.arrived.length + body.length);
    joined.set(this.arrived);
    joined.set(body, this.arrived.length);
    this.arrived = joined;
  }

  private offset(): Record<string, string> {
    return {'Upload-Offset': String(this.arrived.length)};
  }
}

function problem(status: number, code: string, detail = code): Response {
  return Response.json({title: code, detail, code}, {status});
}

describe('an upload', () => {
  let server: Server;
  let kept: Map<string, string>;
  let shown: UploadProgress[];
  let pauses: number[];
  const bytes = new Uint8Array(SIZE).map((_, place) => (place * 31) % 251);
  const file = new File([bytes], 'oh-0417_irr_bt.tif', {lastModified: 1});

  /** By bytes: comparing arrays of millions by their elements takes minutes. */
  function isWhole(): boolean {
    return Buffer.compare(server.arrived, bytes) === 0;
  }

  function upload(): Upload {
    const around: UploadSurroundings = {
      fetcher: server.fetch,
      store: {
        getItem: (key) => kept.get(key) ?? null,
        setItem: (key, value) => void kept.set(key, value),
        removeItem: (key) => void kept.delete(key),
      },
      pause: (milliseconds) => {
        pauses.push(milliseconds);
        return Promise.resolve();
      },
      now: () => performance.now(),
    };
    const request = {file, face: 'face-1', slip: {modality: 'IRR', state: 'before'}, csrfToken: 'check'};
    return new Upload(request, (progress) => shown.push(progress), around);
  }

  beforeEach(() => {
    server = new Server();
    kept = new Map();
    shown = [];
    pauses = [];
  });

  it('sends every byte once and gives the image', async () => {
    expect(await upload().send()).toEqual({image: 'image-1', job: '', duplicateOf: null});
    expect(isWhole()).toBe(true);
    expect(shown.at(-1)).toMatchObject({state: 'done', sentBytes: SIZE, totalBytes: SIZE});
    expect(kept.size).toBe(0);
  });

  it('says what is stated about the picture', async () => {
    await upload().send();
    const slip = server.metadata.split(',').find((pair) => pair.startsWith('slip '))?.split(' ')[1] ?? '';
    expect(JSON.parse(atob(slip))).toEqual({modality: 'IRR', state: 'before'});
  });

  it('goes on after a lost signal from what has arrived', async () => {
    server.failures = [
      (body) => {
        server.take(body.slice(0, 1000));
        return 'lost';
      },
    ];
    await upload().send();
    expect(isWhole()).toBe(true);
    expect(server.calls.filter((method) => method === 'HEAD')).toHaveLength(1);
    expect(pauses).toEqual([500]);
  });

  it.each([409, 423, 460, 503])('asks where it stands after %i and goes on', async (status) => {
    server.failures = [() => problem(status, 'busy'), () => problem(status, 'busy')];
    await upload().send();
    expect(isWhole()).toBe(true);
    expect(pauses).toEqual([500, 1000]);
  });

  it('goes on after a reload', async () => {
    const first = upload();
    server.failures = [
      (body) => {
        server.take(body);
        first.pause();
        return 'lost';
      },
    ];
    expect(await first.send()).toBeNull();
    expect(shown.at(-1)?.state).toBe('paused');
    const arrived = server.arrived.length;
    expect(arrived).toBeGreaterThan(0);
    await upload().send();
    expect(server.calls.filter((method) => method === 'POST')).toHaveLength(1);
    expect(isWhole()).toBe(true);
  });

  it('begins anew when the server has dropped it', async () => {
    server.failures = [
      () => {
        server.length = -1;
        return 'lost';
      },
    ];
    await upload().send();
    expect(server.calls.filter((method) => method === 'POST')).toHaveLength(2);
    expect(isWhole()).toBe(true);
  });

  it('shows the sentence of the server when the file is refused', async () => {
    server.failures = [() => problem(422, 'unknown_format', 'letter.tif holds a PDF document.')];
    await expect(upload().send()).rejects.toThrow('letter.tif holds a PDF document.');
    expect(shown.at(-1)).toMatchObject({state: 'refused', sentence: 'letter.tif holds a PDF document.'});
    expect(kept.size).toBe(0);
  });

  it('waits for a server that still checks the whole file', async () => {
    server.isOutcomeLate = true;
    const outcomes = [{}, {}, {image: 'image-1', job: 'job-1', duplicate_of: 'image-0'}];
    Object.defineProperty(server, 'outcome', {get: () => outcomes.shift()});
    expect(await upload().send()).toEqual({image: 'image-1', job: 'job-1', duplicateOf: 'image-0'});
    expect(pauses).toEqual([2000, 2000]);
  });

  it('is dropped by the server when it is cancelled', async () => {
    const cancelled = upload();
    server.failures = [
      () => {
        void cancelled.cancel();
        return 'lost';
      },
    ];
    expect(await cancelled.send()).toBeNull();
    expect(server.calls.at(-1)).toBe('DELETE');
    expect(kept.size).toBe(0);
  });

  it('gives up with the last sentence after many failures', async () => {
    server.failures = Array.from({length: 100}, () => () => problem(503, 'away', 'The server is away.'));
    await expect(upload().send()).rejects.toThrow('The server is away.');
    expect(Math.max(...pauses)).toBe(30_000);
  });
});

describe('metadata', () => {
  it('is Base64 of UTF-8', () => {
    expect(encodedMetadata({filename: 'Röntgen.tif'})).toBe('filename UsO2bnRnZW4udGlm');
  });
});
