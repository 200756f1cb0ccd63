/** Strict reading of the fields of a map document; every refusal names its field. Twin of `map_fields.py`. */

export class MapFormatError extends Error {
  readonly code = 'map_format';

  constructor(readonly field: string, got: string, needed: string) {
    super(`No map can be made of this: '${field}' is ${got}, needed is ${needed}.`);
    this.name = 'MapFormatError';
  }
}

function described(value: unknown): string {
  if (value === undefined || value === null) return 'missing';
  if (Array.isArray(value)) return `a list of ${String(value.length)}`;
  if (typeof value === 'object') return 'an object';
  return typeof value === 'string' ? `'${value.slice(0, 40)}'` : String(value as number | boolean);
}

export function knownFields(
  document: unknown, field: string, {required, optional = []}: {required: readonly string[]; optional?: readonly string[]},
): Record<string, unknown> {
  if (typeof document !== 'object' || document === null || Array.isArray(document)) throw new MapFormatError(field, described(document), 'an object');
  for (const name of required) if (!(name in document)) throw new MapFormatError(`${field}.${name}`, 'missing', 'a value');
  for (const name of Object.keys(document)) {
    if (!required.includes(name) && !optional.includes(name)) throw new MapFormatError(`${field}.${name}`, 'unknown', 'a field of this version');
  }
  return document as Record<string, unknown>;
}

export function literal(value: unknown, field: string, expected: string | number): void {
  if (value !== expected) throw new MapFormatError(field, described(value), String(expected));
}

export function finiteNumber(value: unknown, field: string): number {
  if (typeof value !== 'number' || !Number.isFinite(value)) throw new MapFormatError(field, described(value), 'a finite number');
  return value;
}

export function positiveNumber(value: unknown, field: string): number {
  const number = finiteNumber(value, field);
  if (number <= 0) throw new MapFormatError(field, described(value), 'a number above zero');
  return number;
}

export function wholeNumber(value: unknown, field: string, atLeast: number): number {
  const number = finiteNumber(value, field);
  if (!Number.isInteger(number) || number < atLeast) throw new MapFormatError(field, described(value), `a whole number from ${String(atLeast)} up`);
  return number;
}

export function finiteList(value: unknown, field: string, length?: number): number[] {
  if (!Array.isArray(value)) throw new MapFormatError(field, described(value), 'a list of numbers');
  if (length !== undefined && value.length !== length) throw new MapFormatError(field, `${String(value.length)} numbers`, `${String(length)} numbers`);
  return value.map((number, index) => finiteNumber(number, `${field}[${String(index)}]`));
}

export function finiteRows(value: unknown, field: string, {rows, columns}: {rows?: number; columns: number}): number[][] {
  if (!Array.isArray(value)) throw new MapFormatError(field, described(value), 'a list of rows');
  if (rows !== undefined && value.length !== rows) throw new MapFormatError(field, `${String(value.length)} rows`, `${String(rows)} rows`);
  return value.map((row, index) => finiteList(row, `${field}[${String(index)}]`, columns));
}
