/** A paper that drops from a summary closes on Escape, on a press elsewhere, and when the focus leaves it. */
export function startDrops(page: Document): void {
  page.addEventListener('keydown', (event) => {
    if (event.key !== 'Escape') return;
    const open = openDrops(page).at(-1);
    if (!open) return;
    open.open = false;
    open.querySelector('summary')?.focus();
  });
  page.addEventListener('pointerdown', (event) => closeAllBut(page, event.target));
  page.addEventListener('focusin', (event) => closeAllBut(page, event.target));
}

function openDrops(page: Document): HTMLDetailsElement[] {
  return [...page.querySelectorAll<HTMLDetailsElement>('details.drop[open]')];
}

function closeAllBut(page: Document, target: EventTarget | null): void {
  for (const drop of openDrops(page)) {
    if (!(target instanceof Node && drop.contains(target))) drop.open = false;
  }
}
