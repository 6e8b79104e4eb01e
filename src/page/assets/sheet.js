// The compound sheet: one of the invented ones, a file, or figures typed in.

import { changed, el, id, state, withUnit } from './state.js';

const FIELDS = {
  name: ['Name', 'text'], bag: ['A bag holds', '25 kg'], liquid: ['Liquid', 'water'], liquid_per_bag: ['Liquid for a bag', '5.5 l'],
  mixed_per_bag: ['A bag makes', '15.6 l'], coverage: ['or covers', '6 m2 at 2 mm'], consumption: ['or is used at', '1.7 kg/m2/mm'],
  least_depth: ['Least depth', '2 mm'], greatest_depth: ['Greatest depth', '30 mm'], working_time: ['Working time', '25 min'],
  mixing_time: ['Mixing time', '2 min'], walk_on: ['Walk on after', '3 h'], drying_per_day: ['Dries in a day', '1 mm'],
  primer_coverage: ['Primer covers', '5 m2/l'], price_per_bag: ['Price of a bag', '31.00 EUR'],
  mixed_density: ['Mixed density', '1.95 kg/l'], hardened_density: ['Hardened density', '1.72 kg/l'],
};
// The unit of a bare number, as on the example.
const UNIT = {
  bag: 'kg', liquid_per_bag: 'l', mixed_per_bag: 'l', least_depth: 'mm', greatest_depth: 'mm', working_time: 'min', mixing_time: 'min', walk_on: 'h',
  drying_per_day: 'mm', mixed_density: 'kg/l', hardened_density: 'kg/l',
};
let offered = [];

const LINE = /^\s*([a-z_]+)\s*=\s*"((?:[^"\\]|\\.)*)"/;

// The lines `key = "text"` of a sheet. Other lines stay in the sheet as they are.
function values(toml) {
  const found = {};
  for (const line of toml.split('\n')) {
    const [, key, text] = LINE.exec(line) ?? [];
    if (key) found[key] = text.replace(/\\(["\\])/g, '$1');
  }
  return found;
}

function set(key, text) {
  const lines = state.sheet.split('\n');
  const at = lines.findIndex((line) => LINE.exec(line)?.[1] === key);
  const line = `${key} = ${JSON.stringify(text)}`;
  if (at >= 0 && text) lines[at] = line;
  else if (at >= 0) lines.splice(at, 1);
  else if (text) lines.push(line);
  state.sheet = lines.join('\n');
}

export function drawSheet() {
  const now = values(state.sheet);
  const field = ([key, [words, example]]) => el('label', {}, `${words} `, el('input', {
    value: now[key] ?? '', placeholder: example, autocomplete: 'off', 'data-sheet': key,
    oninput: (event) => {
      const typed = event.target.value.trim().replace(/(\d),(\d)/, '$1.$2');
      set(key, UNIT[key] ? withUnit(typed, UNIT[key]) : typed);
      event.target.removeAttribute('aria-invalid');
      changed();
    },
  }));
  id('sheet-fields').replaceChildren(...(state.sheet ? Object.entries(FIELDS).map(field) : []));
}

// What the selector says: one of those offered, one's own, or none.
function choice() {
  const place = offered.indexOf(state.sheet);
  id('sheet-choice').value = place >= 0 ? place : state.sheet ? 'own' : '';
}

// Marks the figure on a line of the sheet that is wrong; says what it is called.
export function markFigure(line) {
  const key = state.sheet.split('\n')[line - 1]?.split('=')[0].trim();
  document.querySelector(`[data-sheet="${key}"]`)?.setAttribute('aria-invalid', 'true');
  return FIELDS[key]?.[0];
}

export async function dropSheet(file) {
  use(await file.text());
}

function use(text) {
  const own = state.sheet && !offered.includes(state.sheet) && text !== state.sheet;
  if (own && !confirm('Give up the figures that were put in?')) return choice();
  state.sheet = text;
  state.datum = null;
  choice();
  drawSheet();
  changed();
}

export async function startSheet() {
  id('sheet-choice').onchange = (event) => {
    if (event.target.value === 'own') use('name = "Own compound"\n');
    else if (event.target.value) use(offered[Number(event.target.value)]);
  };
  id('sheet-file').onchange = async (event) => {
    const [file] = event.target.files;
    if (file) await dropSheet(file);
    event.target.value = '';
  };
  drawSheet();
  offered = await (await fetch('/sheets.json')).json();
  id('sheet-choice').append(...offered.map((text, place) => el('option', { value: place }, `${values(text).name} (invented)`)), el('option', { value: 'own' }, 'my own figures'));
  choice();
}
