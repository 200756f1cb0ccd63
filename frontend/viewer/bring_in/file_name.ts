/** What a file's name says of the picture in it, so that only the rest has to be asked. */

/** Words that stand in file names for each modality; the first that is found counts. */
const MODALITY_WORDS: readonly (readonly [string, readonly string[]])[] = [
  ['FCIR', ['fcir', 'falsecolour', 'falsecolor']],
  ['XRF', ['xrf']],
  ['XR', ['xr', 'xray', 'radiograph', 'radiography']],
  ['UVR', ['uvr']],
  ['UVL', ['uvl', 'uv', 'uvf', 'luminescence']],
  ['NIR', ['nir']],
  ['IRR', ['irr', 'ir', 'infrared']],
  ['RAK', ['rak', 'raking']],
  ['SPC', ['spc', 'specular']],
  ['TRL', ['trl', 'transmitted']],
  ['MSI', ['msi', 'multispectral']],
  ['MAC', ['mac', 'macro']],
  ['VIS', ['vis', 'visible', 'rgb']],
];
const STATE_WORDS: readonly (readonly [string, readonly string[]])[] = [
  ['before', ['bt', 'before']],
  ['during', ['dt', 'during']],
  ['after', ['at', 'after']],
];

export interface Told {
  modality: string;
  state: string;
}

/** Return modality and state as the name tells them; empty texts where it does not. */
export function toldByName(name: string): Told {
  const words = new Set(name.toLowerCase().replace(/\.[a-z0-9]+$/, '').split(/[^a-z]+/));
  const found = (table: readonly (readonly [string, readonly string[]])[]): string =>
    table.find(([, known]) => known.some((word) => words.has(word)))?.[0] ?? '';
  return {modality: found(MODALITY_WORDS), state: found(STATE_WORDS)};
}
