/** A tone as a filter of the browser: one table for all three channels, read exactly at each of the 256 levels. */
import type {Slot} from '../map/examination';
import {isPlain, toneTable, type Tone} from './tone';

const SVG = 'http://www.w3.org/2000/svg';

/** Return the value for `style.filter`; an empty text for a plain tone. */
export function toneFilter(slot: Slot, tone: Tone | null): string {
  if (!tone || isPlain(tone)) return '';
  const table = toneTable(tone).map((value) => value.toFixed(4)).join(' ');
  for (const channel of channelsOf(slot)) channel.setAttribute('tableValues', table);
  return `url("#tone-${slot}")`;
}

function channelsOf(slot: Slot): Element[] {
  const known = document.querySelector(`#tone-${slot}`);
  const filter = known ?? newFilter(slot);
  return [...filter.querySelectorAll('feFuncR, feFuncG, feFuncB')];
}

function newFilter(slot: Slot): Element {
  const svg = document.createElementNS(SVG, 'svg');
  svg.setAttribute('class', 'visually-hidden');
  svg.setAttribute('aria-hidden', 'true');
  const filter = document.createElementNS(SVG, 'filter');
  filter.id = `tone-${slot}`;
  filter.setAttribute('color-interpolation-filters', 'sRGB');
  const transfer = document.createElementNS(SVG, 'feComponentTransfer');
  for (const name of ['feFuncR', 'feFuncG', 'feFuncB']) {
    const channel = document.createElementNS(SVG, name);
    channel.setAttribute('type', 'table');
    transfer.append(channel);
  }
  filter.append(transfer);
  svg.append(filter);
  document.body.append(svg);
  return filter;
}
