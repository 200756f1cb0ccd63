/** The light of the room: four rooms, chosen per device; `public/room.js` applies the choice before the first paint. */
export const ROOMS = ['neutral', 'paper', 'dark', 'red'] as const;
export type Room = (typeof ROOMS)[number];

const STORAGE_KEY = 'mahlstick.room';

export function isRoom(text: unknown): text is Room {
  return typeof text === 'string' && (ROOMS as readonly string[]).includes(text);
}

export function roomOf(page: Document): Room {
  const room = page.documentElement.dataset.room;
  return isRoom(room) ? room : 'neutral';
}

/** Dress the page, keep the choice, and tell the canvases, which do not follow style sheets by themselves. */
export function enterRoom(page: Document, room: Room): void {
  page.documentElement.dataset.room = room;
  try {
    localStorage.setItem(STORAGE_KEY, room);
  } catch {
    // A device that keeps nothing still shows the room until the page is left.
  }
  page.dispatchEvent(new CustomEvent('mahlstick-room', {detail: room}));
}

export function startRoomLight(page: Document): void {
  const keys = [...page.querySelectorAll<HTMLButtonElement>('[data-room-choice]')];
  const show = (): void => {
    for (const key of keys) {
      const isPressed = key.dataset.roomChoice === roomOf(page);
      key.setAttribute('aria-pressed', String(isPressed));
      if (!isPressed) continue;
      const name = page.querySelector('[data-room-name]');
      if (name) name.textContent = key.dataset.roomLabel ?? key.textContent.trim();
    }
  };
  for (const key of keys) {
    key.addEventListener('click', () => {
      if (isRoom(key.dataset.roomChoice)) enterRoom(page, key.dataset.roomChoice);
      show();
    });
  }
  show();
}
