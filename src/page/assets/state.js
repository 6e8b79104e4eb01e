// What was typed: kept in this browser, so that a reload or a phone gone to sleep loses nothing.

const KEY = 'lowspot-floor';

function grid() {
  return { quantity: 'staff', unit: 'mm', spacing: '0.5', x0: '0', y0: '0', xs: null, ys: null, across: 5, rows: 4, cells: {} };
}

function fresh() {
  return {
    step: 'measure', how: 'typed', grid: grid(), pasted: null, files: [], keypad: matchMedia('(pointer: coarse)').matches,
    units: '', up: 'z', cell: '', floor_height: '', classes: '', u: '',
    start_x: '0', start_y: '0', sides: [], exit_x: '', exit_y: '', fixed: [],
    sheet: '', datum: null, waste: '', vessel: '', crew: '', tap: null,
    down: [], depths: {}, bags_on_site: '',
    job: '', client: '', address: '', by: '', date: '', remarks: '',
    after_how: 'none', after_cells: {}, after_files: [], mark_before: '', mark_after: '', bags_used: '',
  };
}

function kept() {
  try {
    const text = localStorage.getItem(KEY);
    const before = text ? JSON.parse(text) : {};
    return { ...fresh(), ...before, grid: { ...grid(), ...before.grid }, depths: { ...before.depths } };
  } catch {
    return fresh();
  }
}

export const state = kept();
const listeners = [];
let waiting = 0;
// Another tab has changed the floor: this one must not write over it.
let stale = false;

export function onChange(listener) {
  listeners.push(listener);
}

// Keeps the state; `asks` says whether the answer may change with it, or after how many ms without another change to ask.
export function changed(asks = true) {
  clearTimeout(waiting);
  waiting = setTimeout(keep, 150);
  for (const listener of listeners) listener(asks);
}

function keep() {
  if (stale) return;
  try {
    localStorage.setItem(KEY, JSON.stringify(state));
  } catch {
    // Private windows keep nothing: the page works all the same.
  }
}
addEventListener('pagehide', keep);
addEventListener('visibilitychange', () => document.hidden && keep());
addEventListener('storage', (event) => {
  if (event.key !== KEY) return;
  stale = true;
  document.getElementById('stale').hidden = false;
});

export function renew() {
  Object.assign(state, fresh());
  keep();
}

// A tag with attributes, event handlers and children.
export function el(name, attributes = {}, ...children) {
  const svg = ['svg', 'g', 'image', 'polygon', 'polyline', 'circle', 'path', 'line', 'text'].includes(name);
  const tag = svg ? document.createElementNS('http://www.w3.org/2000/svg', name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith('on')) tag.addEventListener(key.slice(2), value);
    else if (value === true) tag.setAttribute(key, '');
    else if (value !== false && value != null) tag.setAttribute(key, value);
  }
  tag.append(...children.flat().filter((child) => child != null && child !== false));
  return tag;
}

export const id = (name) => document.getElementById(name);

// Marks a field with a keyboard for numbers, whole ones or any, that holds something else.
export function checkNumber(field) {
  const wanted = { numeric: Number.isInteger, decimal: Number.isFinite }[field.inputMode];
  const wrong = wanted && field.value.trim() !== '' && !wanted(number(field.value));
  if (wrong) field.setAttribute('aria-invalid', 'true');
  else field.removeAttribute('aria-invalid');
}

// A number as typed, with a decimal point or comma; null if it is none.
export function number(text) {
  const value = String(text ?? '').trim().replace(',', '.');
  return /^[-+]?(\d+\.?\d*|\.\d+)$/.test(value) ? Number(value) : null;
}

export const filled = (text) => (text && text.trim() ? text.trim() : undefined);
// A bare number gets the unit that stands beside it.
export const withUnit = (text, unit) => (filled(text) && number(text) !== null ? `${number(text)} ${unit}` : filled(text));
