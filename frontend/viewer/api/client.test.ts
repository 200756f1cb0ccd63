import {describe, expect, it, vi} from 'vitest';

import {AnnotationsApi, ApiClient, ApiProblem} from './client';
import type {AnnotationData} from './contract';

function answering(body: unknown, status = 200): ReturnType<typeof vi.fn<typeof fetch>> {
  return vi.fn<typeof fetch>(() => Promise.resolve(new Response(JSON.stringify(body), {status})));
}

const mark = {id: 'm1', revision: 4} as AnnotationData;

describe('the annotations of a face', () => {
  it('are read page by page', async () => {
    const fetcher = vi.fn<typeof fetch>()
      .mockResolvedValueOnce(new Response(JSON.stringify({results: [{id: '1'}], next: '/next'})))
      .mockResolvedValueOnce(new Response(JSON.stringify({results: [{id: '2'}], next: null})));
    const found = await new AnnotationsApi(new ApiClient('token', fetcher), '/api/v1/annotations/?face=f').list();
    expect(found.map(({id}) => id)).toEqual(['1', '2']);
    expect(fetcher.mock.calls[1]?.[0]).toBe('/next');
  });

  it('are changed only from the revision that was read', async () => {
    const fetcher = answering({...mark, revision: 5});
    await new AnnotationsApi(new ApiClient('token', fetcher), '/api/v1/annotations/?face=f').change(mark, {title: 'Crack'});
    const [url, init] = fetcher.mock.calls[0] ?? [];
    expect(url).toBe('/api/v1/annotations/m1');
    expect(init?.method).toBe('PATCH');
    expect(init?.headers).toMatchObject({'If-Match': '"4"', 'X-CSRFToken': 'token'});
  });

  it('carry the problem details of a refusal', async () => {
    const fetcher = answering({title: 'Mirel Adeyo changed this at 14:01.', code: 'edit_conflict'}, 412);
    const change = new AnnotationsApi(new ApiClient('token', fetcher), '/api/v1/annotations/').change(mark, {title: 'Crack'});
    await expect(change).rejects.toMatchObject({status: 412, code: 'edit_conflict', message: 'Mirel Adeyo changed this at 14:01.'});
  });

  it('say what to do when something else than JSON comes back', async () => {
    const fetcher = vi.fn<typeof fetch>(() => Promise.resolve(new Response('<html>', {status: 502})));
    await expect(new ApiClient('token', fetcher).call('/x')).rejects.toThrow(/Nothing was lost/);
  });

  it('name a lost connection', async () => {
    const fetcher = vi.fn<typeof fetch>(() => Promise.reject(new TypeError('offline')));
    await expect(new ApiClient('token', fetcher).call('/x')).rejects.toBeInstanceOf(ApiProblem);
    await expect(new ApiClient('token', fetcher).call('/x')).rejects.toMatchObject({code: 'no_signal'});
  });
});
