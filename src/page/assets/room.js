// The room: walls side by side, the door, fixed levels.

import { changed, checkNumber, el, id, number, state } from './state.js';

const STEP = { right: [1, 0], up: [0, 1], left: [-1, 0], down: [0, -1] };
const ARROW = { right: '→', up: '↑', left: '←', down: '↓' };

// A length in metres; null where it is none.
const metresOf = (text) => number(String(text).replace(/\s*m$/, ''));

// Corners of the walls, m; the last one need not be the first again.
function corners() {
  const start = [number(state.start_x) ?? 0, number(state.start_y) ?? 0];
  const found = [start];
  for (const { way, length } of state.sides) {
    const [x, y] = found.at(-1);
    const [dx, dy] = STEP[way];
    const metres = metresOf(length) ?? 0;
    found.push([x + dx * metres, y + dy * metres]);
  }
  return found;
}

const gap = (found) => Math.hypot(found.at(-1)[0] - found[0][0], found.at(-1)[1] - found[0][1]);

// The outline for --outline; null while there are too few walls.
export function outline() {
  const found = corners();
  if (gap(found) < 0.0005) found.pop();
  if (found.length < 3 || state.sides.some((side) => !metresOf(side.length))) return null;
  return `x_m,y_m\n${found.map((at) => at.map((m) => m.toFixed(4)).join(',')).join('\n')}\n`;
}

function drawSides() {
  const side = (one, place) => el('li', {}, el('div', { class: 'row' },
    el('label', {}, `${ARROW[one.way]} ${one.way}, m `, el('input', {
      inputmode: 'decimal', autocomplete: 'off', value: one.length, enterkeyhint: 'next',
      oninput: (event) => {
        one.length = event.target.value;
        sketch();
        changed();
      },
    })),
    el('button', { type: 'button', 'aria-label': `Remove wall ${place + 1}`, onclick: () => {
      state.sides.splice(place, 1);
      drawSides();
      changed();
    } }, 'Remove')));
  id('sides').replaceChildren(...state.sides.map(side));
  sketch();
}

function sketch() {
  const found = corners();
  const open = gap(found);
  const [dx, dy] = [found[0][0] - found.at(-1)[0], found[0][1] - found.at(-1)[1]];
  const straight = Math.abs(dx) < 0.0005 || Math.abs(dy) < 0.0005;
  const metres = `${open.toFixed(3).replace(/\.?0+$/, '')} m`;
  let said = '';
  const without = state.sides.findIndex((side) => !metresOf(side.length));
  if (state.sides.length > 1 && without >= 0) said = `Wall ${without + 1} has no length in metres yet: until then the floor is what was measured.`;
  else if (state.sides.length > 1 && open < 0.0005) said = 'The walls close.';
  else if (state.sides.length > 1) said = straight ? `One wall of ${metres} closes the room.` : `The walls are ${metres} apart at the end: that wall runs askew, or a length is wrong.`;
  id('closing').textContent = said;
  id('sketch').toggleAttribute('hidden', state.sides.length < 2);
  const [left, right] = [Math.min(...found.map(([x]) => x)), Math.max(...found.map(([x]) => x))];
  const [low, high] = [Math.min(...found.map(([, y]) => y)), Math.max(...found.map(([, y]) => y))];
  const air = 0.05 * Math.max(right - left, high - low, 0.1);
  const svg = id('sketch');
  svg.setAttribute('viewBox', `${left - air} ${-high - air} ${right - left + 2 * air} ${high - low + 2 * air}`);
  const points = found.map(([x, y]) => `${x},${-y}`).join(' ');
  svg.replaceChildren(
    el('polygon', { points, fill: '#dfe9ef' }),
    el('polyline', { points, fill: 'none', stroke: '#12425c', 'stroke-width': air / 3 }),
    el('circle', { cx: found[0][0], cy: -found[0][1], r: air / 1.5, fill: '#b34700' }));
}

function drawFixed() {
  const field = (one, key, words) => el('label', {}, `${words} `, el('input', {
    value: one[key] ?? '', autocomplete: 'off', inputmode: key === 'name' ? 'text' : 'decimal',
    oninput: (event) => {
      one[key] = event.target.value;
      if (['x', 'y', 'x2', 'y2'].includes(key)) checkNumber(event.target);
      event.target.closest('li').querySelector('.hint').textContent = lacks(one);
      changed();
    },
  }));
  const lacks = (one) => (['name', 'x', 'y', 'level', 'allowance'].every((key) => one[key]?.trim()) ? '' : 'Counts once it has a name, x, y, a level and how far it may be off.');
  const item = (one, place) => el('li', {}, el('p', { class: 'hint' }, lacks(one)), el('div', { class: 'row' },
    field(one, 'name', 'Name'), field(one, 'x', 'x, m'), field(one, 'y', 'y, m'), field(one, 'x2', 'to x, m'), field(one, 'y2', 'to y, m'),
    field(one, 'level', 'Level'), field(one, 'below', 'Finish below it by'), field(one, 'allowance', 'May be off by'),
    el('button', { type: 'button', 'aria-label': `Remove fixed level ${place + 1}`, onclick: () => {
      state.fixed.splice(place, 1);
      drawFixed();
      changed();
    } }, 'Remove')));
  id('fixed').replaceChildren(...state.fixed.map(item));
}

export function setDoor([x, y]) {
  [state.exit_x, state.exit_y] = [x.toFixed(2), y.toFixed(2)];
  for (const key of ['exit_x', 'exit_y']) document.querySelector(`[data-state=${key}]`).value = state[key];
  id('tap-door').setAttribute('aria-pressed', 'false');
  changed();
}

export const tapsDoor = () => id('tap-door').getAttribute('aria-pressed') === 'true';

export function startRoom() {
  for (const button of document.querySelectorAll('[data-way]')) {
    button.onclick = () => {
      state.sides.push({ way: button.dataset.way, length: '' });
      drawSides();
      id('sides').querySelector('li:last-child input').focus();
      changed();
    };
  }
  for (const key of ['start_x', 'start_y']) document.querySelector(`[data-state=${key}]`).addEventListener('input', sketch);
  id('tap-door').onclick = () => {
    id('tap-door').setAttribute('aria-pressed', !tapsDoor());
    if (tapsDoor()) id('map').scrollIntoView({ block: 'center' });
  };
  id('add-fixed').onclick = () => {
    state.fixed.push({ name: `level ${state.fixed.length + 1}`, x: '', y: '', x2: '', y2: '', level: '', below: '', allowance: '2' });
    drawFixed();
    changed();
  };
  drawSides();
  drawFixed();
}
