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
  // On a slow link the picture goes before the letters: fonts are asked for once it stands.
  if (navigator.connection && navigator.connection.downlink < 2.5) {
    page.dataset.fonts = 'late';
    return;
  }
  for (const address of (document.currentScript.dataset.fonts || '').split(' ').filter(Boolean)) {
    const link = document.createElement('link');
    link.rel = 'preload';
    link.as = 'font';
    link.type = 'font/woff2';
    link.crossOrigin = 'anonymous';
    link.href = address;
    document.head.append(link);
  }
})();
