import {describe, expect, it} from 'vitest';

import {PLAIN_TONE, isPlain, readTone, shownValue, toneTable, toned, writeTone} from './tone';

describe('a tone', () => {
  it('leaves every level alone when it is plain', () => {
    expect(toneTable(PLAIN_TONE)).toEqual(Array.from({length: 256}, (_, level) => level / 255));
    expect(isPlain(PLAIN_TONE)).toBe(true);
  });

  it('shows the black point black and the white point white', () => {
    const tone = toned(PLAIN_TONE, {black: 0.2, white: 0.6});
    expect([0.1, 0.2, 0.4, 0.6, 0.9].map((value) => Number(shownValue(tone, value).toFixed(9)))).toEqual([0, 0, 0.5, 1, 1]);
  });

  it('opens the darks with a gamma above one', () => {
    expect(shownValue(toned(PLAIN_TONE, {gamma: 2}), 0.25)).toBeCloseTo(0.5, 12);
  });

  it('inverts last', () => {
    expect(shownValue(toned(PLAIN_TONE, {black: 0.5, isInverted: true}), 0.25)).toBe(1);
  });

  it('never lets black pass white', () => {
    expect(toned({...PLAIN_TONE, white: 0.4}, {black: 0.9}).black).toBeCloseTo(0.38, 12);
    expect(toned({...PLAIN_TONE, black: 0.4}, {white: 0}).white).toBeCloseTo(0.42, 12);
  });

  it('comes back from the address, and nothing else does', () => {
    const tone = {black: 0.125, white: 0.75, gamma: 1.5, isInverted: true};
    expect(readTone(writeTone(tone))).toEqual(tone);
    for (const text of [null, '', '1_2_3', '0.5_0.4_1_0', 'a_b_c_d']) expect(readTone(text)).toBeNull();
  });
});
