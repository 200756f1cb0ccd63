import {afterEach, beforeEach, describe, expect, it, vi} from 'vitest';

import type {OpenImage} from '../api/contract';
import {TileMissingError, TileStore} from './tile_store';

const image = {id: 'i', tile_url: '/t/p/{z}/{x}/{y}'} as OpenImage;
let asked: string[] = [];
let isServing = true;

/** A picture that arrives, or not, as soon as the running code is done. */
class FakePicture {
  onload: (() => void) | null = null;
  onerror: (() => void) | null = null;
  decoding = '';

  set src(address: string) {
    asked.push(address);
    queueMicrotask(() => { (isServing ? this.onload : this.onerror)?.(); });
  }
}

describe('the tiles of an image', () => {
  beforeEach(() => {
    asked = [];
    isServing = true;
    vi.useFakeTimers();
    vi.stubGlobal('Image', FakePicture);
  });

  afterEach(() => {
    vi.useRealTimers();
    vi.unstubAllGlobals();
  });

  it('are asked for once, however many want them', async () => {
    const store = new TileStore(image);
    const [first, second] = await Promise.all([store.load(3, 2, 1), store.load(3, 2, 1)]);
    expect(first).toBe(second);
    expect(await store.load(3, 2, 1)).toBe(first);
    expect(store.peek(3, 2, 1)).toBe(first);
    expect(asked).toEqual(['/t/p/3/2/1']);
    expect(store.arrivals).toBe(1);
  });

  it('are not asked for again at once when they do not come, but later they are', async () => {
    const store = new TileStore(image);
    isServing = false;
    await expect(store.load(0, 0, 0)).rejects.toBeInstanceOf(TileMissingError);
    await expect(store.load(0, 0, 0)).rejects.toBeInstanceOf(TileMissingError);
    expect(asked).toHaveLength(1);
    expect(store.failures).toBe(1);
    isServing = true;
    vi.advanceTimersByTime(6000);
    await store.load(0, 0, 0);
    expect(asked).toHaveLength(2);
    expect(store.failures).toBe(0);
  });
});
