/** Entries of the margin stand at their heights, or as near as they can without lying on each other. */

/** Return the tops of the entries, in the given order; none leaves the margin while there is room. */
export function spreadHeights(wanted: readonly number[], {entry, limit}: {entry: number; limit: number}): number[] {
  const order = wanted.map((top, index) => ({top, index})).sort((one, other) => one.top - other.top || one.index - other.index);
  const tops = new Array<number>(wanted.length).fill(0);
  let free = 0;
  for (const {top, index} of order) {
    tops[index] = Math.max(free, top);
    free = (tops[index] ?? 0) + entry;
  }
  let ceiling = limit - entry;
  for (const {index} of order.toReversed()) {
    if ((tops[index] ?? 0) <= ceiling) break;
    tops[index] = Math.max(0, ceiling);
    ceiling -= entry;
  }
  return tops;
}
