/** Canvases that stay sharp: sized in device pixels, drawn in CSS pixels. */

export function fitCanvas(canvas: HTMLCanvasElement, width: number, height: number): CanvasRenderingContext2D | null {
  const ratio = window.devicePixelRatio || 1;
  const wanted = [Math.round(width * ratio), Math.round(height * ratio)] as const;
  if (canvas.width !== wanted[0] || canvas.height !== wanted[1]) {
    [canvas.width, canvas.height] = wanted;
    canvas.style.width = `${String(width)}px`;
    canvas.style.height = `${String(height)}px`;
  }
  const context = canvas.getContext('2d');
  context?.setTransform(ratio, 0, 0, ratio, 0, 0);
  context?.clearRect(0, 0, width, height);
  return context;
}

/** Colours of the room, for canvases, which do not follow style sheets. */
export function roomColour(name: `--${string}`, fallback: string): string {
  const value = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  return value === '' ? fallback : value;
}
