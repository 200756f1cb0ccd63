import {describe, expect, it} from 'vitest';

import {byKey} from './order';
import {placeOf} from './place';
import {spreadHeights} from './spread';

describe('the margin', () => {
  it('leaves entries at their heights while they are apart', () => {
    expect(spreadHeights([10, 100, 300], {entry: 40, limit: 500})).toEqual([10, 100, 300]);
  });

  it('lets none lie on another, whatever their order', () => {
    expect(spreadHeights([100, 90, 95], {entry: 40, limit: 500})).toEqual([170, 90, 130]);
  });

  it('moves them up at the foot', () => {
    expect(spreadHeights([480, 490], {entry: 40, limit: 500})).toEqual([420, 460]);
  });

  it('reads A2 before A10', () => {
    expect([{key: 'A10'}, {key: 'A2'}].sort(byKey).map(({key}) => key)).toEqual(['A2', 'A10']);
  });

  it('leads from the rightmost corner', () => {
    expect(placeOf({type: 'Polygon', coordinates: [[[402, 190], [448, 186], [455, 229], [409, 236], [402, 190]]]})).toEqual([455, 229]);
  });
});
