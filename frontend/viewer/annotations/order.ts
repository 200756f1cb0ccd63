/** Keys in the order in which people read them: A2 before A10. */

export function byKey(one: {key: string}, other: {key: string}): number {
  return one.key.localeCompare(other.key, 'en', {numeric: true});
}
