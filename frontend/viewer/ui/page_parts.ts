/** What every entry needs of its page: the embedded data and elements that must be there. */

export function embedded<T>(id: string): T {
  const text = document.querySelector(`#${id}`)?.textContent;
  if (!text) throw new Error(`The page carries no ${id}.`);
  return JSON.parse(text) as T;
}

export function find<E extends HTMLElement>(selector: string): E {
  const element = document.querySelector<E>(selector);
  if (!element) throw new Error(`The page has no ${selector}.`);
  return element;
}
