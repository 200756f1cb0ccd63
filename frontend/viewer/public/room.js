// Runs before the first paint, so that no page flashes in another light than the one chosen on this device.
(function () {
  const page = document.documentElement;
  let chosen = null;
  try {
    chosen = localStorage.getItem('mahlstick.room');
  } catch {
    // Storage may be forbidden; the page's own light stays.
  }
  if (['neutral', 'paper', 'dark', 'red'].includes(chosen)) {
    page.dataset.room = chosen;
  } else if (page.dataset.room === 'paper' && matchMedia('(prefers-color-scheme: dark)').matches) {
    page.dataset.room = 'dark';
  }
})();
