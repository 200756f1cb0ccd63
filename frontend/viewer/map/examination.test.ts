import {describe, expect, it} from 'vitest';

import type {OpenImage} from '../api/contract';
import {firstPair} from './examination';

function image(id: string, modality: string, state: string, version = 1): OpenImage {
  return {id, modality, state, version} as OpenImage;
}

describe('the first pair', () => {
  it('is the visible image before treatment with the infrared one', () => {
    const images = [image('x', 'XR', 'before'), image('v2', 'VIS', 'after'), image('i', 'IRR', 'before'), image('v1', 'VIS', 'before')];
    expect(firstPair(images)).toEqual({a: 'v1', b: 'i'});
  });

  it('is what there is', () => {
    expect(firstPair([image('x', 'XR', 'before')])).toEqual({a: 'x', b: null});
    expect(firstPair([])).toEqual({a: null, b: null});
  });

  it('never compares an image with itself', () => {
    expect(firstPair([image('v1', 'VIS', 'before'), image('v2', 'VIS', 'after')])).toEqual({a: 'v1', b: 'v2'});
  });
});
