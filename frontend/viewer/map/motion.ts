/** A jump between places takes 180 ms, or none for those who asked for less motion. */
const JUMP_MS = 180;

export function moveTime_ms(): number {
  return window.matchMedia('(prefers-reduced-motion: reduce)').matches ? 0 : JUMP_MS;
}
