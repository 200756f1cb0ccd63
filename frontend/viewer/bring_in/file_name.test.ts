import {describe, expect, it} from 'vitest';

import {toldByName} from './file_name';

describe('what a file name tells', () => {
  it.each([
    ['vis-bt-v2.tif', 'VIS', 'before'],
    ['OH0417_XRAY_before.TIF', 'XR', 'before'],
    ['uvl_at.tiff', 'UVL', 'after'],
    ['ir-dt.png', 'IRR', 'during'],
    ['scan 0042.tif', '', ''],
    ['visit.tif', '', ''],
  ])('reads %s', (name, modality, state) => {
    expect(toldByName(name)).toEqual({modality, state});
  });
});
