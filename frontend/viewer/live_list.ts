/** Keeps a list of the server fresh while it is in sight: every element with `data-live-list` is fetched anew. */
const PAUSE_MS = 2000;

async function refresh(list: HTMLElement): Promise<void> {
  const name = list.dataset['liveList'] ?? '';
  const answer = await fetch(location.href, {headers: {'X-Part': name}});
  if (!answer.ok) {
    return;
  }
  const text = await answer.text();
  // Replacing the list takes the focus away, so it waits while somebody works in it.
  if (list.contains(document.activeElement) || list.innerHTML === text) {
    return;
  }
  list.innerHTML = text;
}

async function keepFresh(list: HTMLElement): Promise<void> {
  for (;;) {
    await new Promise((done) => setTimeout(done, PAUSE_MS));
    if (!document.hidden) {
      // A lost connection is no reason to stop: the next turn asks again.
      await refresh(list).catch(() => undefined);
    }
  }
}

for (const list of document.querySelectorAll<HTMLElement>('[data-live-list]')) {
  void keepFresh(list);
}
