/** On a slow link fonts wait for the picture (`public/room.js` says so); pages without one take them once they stand. */
const NAME = 'first-full-view';

export function startLateFonts(page: Document): void {
  const root = page.documentElement;
  if (root.dataset.fonts !== 'late') return;
  const take = (): void => { delete root.dataset.fonts; };
  if (!page.querySelector('#painting')) {
    window.addEventListener('load', take, {once: true});
    return;
  }
  const observer = new PerformanceObserver((list) => {
    if (list.getEntriesByName(NAME).length === 0) return;
    observer.disconnect();
    take();
  });
  observer.observe({type: 'mark', buffered: true});
}
