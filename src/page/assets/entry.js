// The survey: readings typed as on paper, pasted, or in files.

import { dropSheet } from './sheet.js';
import { changed, checkNumber, el, id, number, renew, state } from './state.js';

const MOST = 200;
const table = { before: 'grid', after: 'after-grid' };
// A reading that is being typed is asked about when the cell is left, or after so long, ms.
const TYPING = 2500;

const tidy = (metres) => String(Number(metres.toFixed(4)));

function along(own, first, count) {
  if (own) return own;
  const [start, step] = [number(first) ?? 0, number(state.grid.spacing) ?? 0];
  return Array.from({ length: count }, (_, place) => tidy(start + place * step));
}
export const xs = () => along(state.grid.xs, state.grid.x0, state.grid.across);
export const ys = () => along(state.grid.ys, state.grid.y0, state.grid.rows);

const cellsOf = (when) => (when === 'after' ? state.after_cells : state.grid.cells);
const countOf = (when) => Object.values(cellsOf(when)).filter((text) => text.trim()).length;

// The grid CSV of the command line, without the empty rows and columns at its end.
export function csv(when = 'before') {
  const { quantity, unit } = state.grid;
  const cells = cellsOf(when);
  const read = (row, column) => (cells[`${row},${column}`] ?? '').trim().replace(',', '.');
  const places = Object.keys(cells).filter((at) => cells[at].trim()).map((at) => at.split(',').map(Number));
  const [rows, columns] = [0, 1].map((side) => 1 + Math.max(0, ...places.map((at) => at[side])));
  const across = xs().slice(0, columns);
  const lines = ys().slice(0, rows).map((y, row) => [y, ...across.map((_, column) => read(row, column))].join(','));
  return `${[[`${quantity}_${unit}`, ...across].join(','), ...lines].join('\n')}\n`;
}

export function drawGrid(when = 'before') {
  const cells = cellsOf(when);
  const input = (row, column, x, y) =>
    el('td', {}, el('input', {
      inputmode: state.keypad ? 'none' : 'decimal', enterkeyhint: 'next', autocomplete: 'off',
      'data-row': row, 'data-column': column, 'data-when': when, value: cells[`${row},${column}`] ?? '',
      'aria-label': `x ${x}, y ${y}`,
    }));
  const head = el('thead', {}, el('tr', {}, el('th', { scope: 'col' }, 'y \\ x'), xs().map((x) => el('th', { scope: 'col' }, x))));
  const body = el('tbody', {}, ys().map((y, row) =>
    el('tr', {}, el('th', { scope: 'row' }, y), xs().map((x, column) => input(row, column, x, y)))));
  id(table[when]).replaceChildren(head, body);
  count();
}

// Whether what is in the grid is enough to ask about: four readings, in two rows.
export function enough(when) {
  const cells = cellsOf(when);
  const rows = new Set(Object.keys(cells).filter((at) => cells[at].trim()).map((at) => at.split(',')[0]));
  return countOf(when) >= 4 && rows.size > 1;
}

function count() {
  const readings = `${countOf('before')} readings`;
  id('grid-count').textContent = enough('before') ? `${readings}.` : `${readings} so far; from four on, in two rows, there is an answer.`;
}

const cellAt = (when, row, column) => id(table[when]).querySelector(`[data-row="${row}"][data-column="${column}"]`);

// To the cell after this one; at the end of the grid a row is added.
function next(cell, back = false) {
  const { when } = cell.dataset;
  let [row, column] = [Number(cell.dataset.row), Number(cell.dataset.column)];
  column += back ? -1 : 1;
  if (column >= xs().length) [row, column] = [row + 1, 0];
  if (column < 0) [row, column] = [row - 1, xs().length - 1];
  if (row >= ys().length && when === 'before' && !state.grid.ys && state.grid.rows < MOST) {
    state.grid.rows += 1;
    id('measure').querySelector('[data-grid=rows]').value = state.grid.rows;
    drawGrid();
  }
  const to = cellAt(when, row, column);
  to?.focus();
  to?.select();
}

function typed(event) {
  const cell = event.target;
  if (!cell.dataset.when) return;
  cell.removeAttribute('aria-invalid');
  cellsOf(cell.dataset.when)[`${cell.dataset.row},${cell.dataset.column}`] = cell.value;
  count();
  changed(TYPING);
}

function keyed(event) {
  const cell = event.target;
  if (!cell.dataset.when) return;
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (event.key === 'Enter') {
    event.preventDefault();
    next(cell, event.shiftKey);
  } else if (step) {
    event.preventDefault();
    cellAt(cell.dataset.when, Number(cell.dataset.row) + step, cell.dataset.column)?.focus();
  }
}

// Marks the cell that an error points at: line and column of the CSV.
export function markCell(when, line, column) {
  const place = xs().findIndex((x) => Number(x) === Number(column));
  const at = place >= 0 ? place : Number(column) - 2;
  cellAt(when, line - 2, at)?.setAttribute('aria-invalid', 'true');
}

function split(text) {
  const lines = text.replace(/\r/g, '').split('\n').filter((line) => line.trim());
  const delimiter = ['\t', ';', ','].find((one) => lines.every((line) => line.includes(one))) ?? /\s+/;
  return lines.map((line) => line.split(delimiter).map((cell) => cell.trim()));
}

const CORNER = /^(staff|reading|height|level|z|rl|elevation)?[\s_(]*(mm|cm|m|in|ft)?\)?$/i;

// A grid read after the pour goes to the places of the grid before. Returns whether it could.
function fillAfter(across, rows) {
  const at = (own, wanted) => own.findIndex((one) => Math.abs(Number(one) - number(wanted)) < 0.0005);
  const [columns, lines] = [across.map((x) => at(xs(), x)), rows.map((row) => at(ys(), row[0]))];
  const fits = ![...columns, ...lines].includes(-1);
  id('after-note').textContent = fits ? '' : 'The distances pasted are not those of the survey before: nothing was taken over.';
  if (fits) rows.forEach((row, down) => columns.forEach((column, right) => {
    state.after_cells[`${lines[down]},${column}`] = row[right + 1] ?? '';
  }));
  return fits;
}

// Takes over what was pasted: a grid with distances, a block of readings from a cell on, or any list as it is.
function take(text, cell) {
  const rows = split(text);
  const numeric = (cells) => cells.every((one) => one === '' || number(one) !== null);
  const [corner, ...rest] = rows[0] ?? [''];
  const said = CORNER.exec(corner);
  if (rows.length > 1 && said && numeric(rest) && rest.length && rows.slice(1).every(numeric) && number(corner) === null) {
    if (cell?.dataset.when === 'after') {
      if (!fillAfter(rest, rows.slice(1))) return;
      showEntry();
      return changed();
    }
    if (countOf('before') && !confirm(`Put this in the place of the ${countOf('before')} readings in the grid?`)) return;
    const grid = state.grid;
    if (said[1]) grid.quantity = /^(staff|reading)$/i.test(said[1]) ? 'staff' : 'height';
    if (said[2]) grid.unit = said[2].toLowerCase();
    grid.xs = rest.map((x) => tidy(number(x) ?? 0));
    grid.ys = rows.slice(1).map((row) => tidy(number(row[0]) ?? 0));
    [grid.across, grid.rows, grid.cells] = [grid.xs.length, grid.ys.length, {}];
    fill(rows.slice(1).map((row) => row.slice(1)), 0, 0, 'before');
  } else if (rows.every(numeric)) {
    const [row, column, when] = cell ? [Number(cell.dataset.row), Number(cell.dataset.column), cell.dataset.when] : [0, 0, 'before'];
    if (when === 'before' && !state.grid.xs) {
      state.grid.rows = Math.min(MOST, Math.max(state.grid.rows, row + rows.length));
      state.grid.across = Math.min(MOST, Math.max(state.grid.across, column + Math.max(...rows.map((cells) => cells.length))));
    }
    fill(rows, row, column, when);
  } else if (cell?.dataset.when === 'after') {
    id('after-note').textContent = 'Only readings fit in here; a list can be given as a file.';
    return;
  } else {
    state.pasted = text;
  }
  showEntry();
  changed();
}

function fill(rows, top, left, when) {
  rows.forEach((row, down) => row.forEach((text, right) => {
    cellsOf(when)[`${top + down},${left + right}`] = text;
  }));
}

export function keypad() {
  const keys = ['7', '8', '9', '⌫', '4', '5', '6', '±', '1', '2', '3', '.', '0', '00', 'Back', 'Next'];
  const press = (key) => {
    const cell = document.activeElement;
    if (!cell?.matches('input:not([type=radio])')) return cellAt(state.step === 'after' ? 'after' : 'before', 0, 0)?.focus();
    if (key === 'Next' || key === 'Back') return cell.dataset.when && next(cell, key === 'Back');
    const { selectionStart: from, selectionEnd: to } = cell;
    if (key === '⌫') cell.value = from === to ? cell.value.slice(0, Math.max(0, from - 1)) + cell.value.slice(to) : cell.value.slice(0, from) + cell.value.slice(to);
    else if (key === '±') cell.value = cell.value.startsWith('-') ? cell.value.slice(1) : `-${cell.value}`;
    else cell.value = cell.value.slice(0, from) + key + cell.value.slice(to);
    cell.dispatchEvent(new Event('input', { bubbles: true }));
  };
  const names = { '⌫': 'Delete', '±': 'Above or below zero', Back: 'Cell before', Next: 'Next cell' };
  // A press must not take the focus from the cell.
  const button = (key) => el('button', { type: 'button', 'aria-label': names[key], onpointerdown: (event) => event.preventDefault(), onclick: () => press(key) }, key);
  const after = state.step === 'after';
  const typing = (after ? state.after_how : state.how) === 'typed' && (after || state.pasted === null);
  id(after ? 'after-typed' : 'typed').append(id('keypad'));
  id('keypad').replaceChildren(...(state.keypad && typing ? keys.map(button) : []));
  id('keypad-on').setAttribute('aria-pressed', state.keypad);
}

async function send(file, list) {
  const entry = { name: file.name, number: null, bytes: file.size, share: 0 };
  list.push(entry);
  showFiles();
  entry.number = await new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open('POST', `/upload?name=${encodeURIComponent(file.name)}`);
    request.upload.onprogress = (event) => {
      entry.share = event.loaded / event.total;
      showFiles();
    };
    request.onload = () => {
      if (request.status !== 200) entry.failed = request.responseText;
      resolve(request.status === 200 ? Number(request.responseText) : null);
    };
    request.onerror = () => {
      entry.failed = 'It did not come through: is lowspot still running?';
      resolve(null);
    };
    request.send(file);
  });
  showFiles();
  changed();
}

function showFiles() {
  for (const [list, files] of [['file-list', state.files], ['after-list', state.after_files]]) {
    const remove = (file) => () => {
      files.splice(files.indexOf(file), 1);
      showFiles();
      changed();
    };
    const words = (file) => file.failed ?? (file.number === null ? `${Math.round(100 * file.share)} % sent` : `${(file.bytes / 1e6).toFixed(1)} MB`);
    id(list).replaceChildren(...files.map((file) => el('li', {}, `${file.name}: ${words(file)} `, el('button', { type: 'button', onclick: remove(file), 'aria-label': `Remove ${file.name}` }, 'Remove'))));
  }
}

function download() {
  const link = el('a', { href: URL.createObjectURL(new Blob([state.pasted ?? csv()], { type: 'text/csv' })), download: 'survey.csv' });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

export function showEntry() {
  for (const radio of document.querySelectorAll('[name=how]')) radio.checked = radio.value === state.how;
  for (const radio of document.querySelectorAll('[name=after-how]')) radio.checked = radio.value === state.after_how;
  id('typed').hidden = state.how !== 'typed';
  id('files').hidden = state.how !== 'files';
  id('after-typed').hidden = state.after_how !== 'typed';
  id('after-files').hidden = state.after_how !== 'files';
  id('pasted').hidden = state.pasted === null;
  id('pasted-rows').textContent = String(state.pasted?.trim().split('\n').length ?? '');
  id('by-hand').hidden = state.pasted !== null;
  for (const field of document.querySelectorAll('[data-grid]')) field.value = state.grid[field.dataset.grid];
  drawGrid('before');
  drawGrid('after');
  keypad();
  showFiles();
}

function gridSet(event) {
  const { grid } = event.target.dataset;
  const value = event.target.value;
  checkNumber(event.target);
  if (grid === 'across' || grid === 'rows') {
    const count = Math.min(MOST, Math.max(1, Math.round(number(value) ?? 0)));
    if (!number(value)) return;
    state.grid[grid] = count;
  } else state.grid[grid] = value;
  if (['across', 'rows', 'spacing', 'x0', 'y0'].includes(grid)) [state.grid.xs, state.grid.ys] = [null, null];
  drawGrid('before');
  drawGrid('after');
  changed();
}

export function startEntry() {
  for (const name of Object.values(table)) {
    id(name).addEventListener('input', typed);
    id(name).addEventListener('keydown', keyed);
    id(name).addEventListener('change', () => changed());
    // Clear of the keypad, the steps and the row's own heading: the style sheet says how far.
    id(name).addEventListener('focusin', (event) => event.target.scrollIntoView({ block: 'nearest', inline: 'nearest' }));
    id(name).addEventListener('paste', (event) => {
      const text = event.clipboardData.getData('text');
      if (!/[\t\n]/.test(text.trim())) return;
      event.preventDefault();
      take(text, event.target.dataset.when ? event.target : null);
    });
  }
  for (const field of document.querySelectorAll('[data-grid]')) field.addEventListener('input', gridSet);
  const choose = (name, key) => {
    for (const radio of document.querySelectorAll(`[name=${name}]`)) {
      radio.addEventListener('change', () => {
        state[key] = radio.value;
        showEntry();
        changed();
      });
    }
  };
  choose('how', 'how');
  choose('after-how', 'after_how');
  id('keypad-on').onclick = () => {
    state.keypad = !state.keypad;
    showEntry();
    changed(false);
  };
  id('download').onclick = download;
  id('empty').onclick = () => {
    if (!confirm('Forget this floor and begin a new one?')) return;
    fetch('/forget', { method: 'POST' }).catch(() => {});
    renew();
    location.reload();
  };
  id('paste-go').onclick = () => take(id('paste').value, null);
  id('unpaste').onclick = () => {
    state.pasted = null;
    showEntry();
    changed();
  };
  const pick = (input, list) => {
    id(input).onchange = (event) => {
      for (const file of event.target.files) send(file, list());
      event.target.value = '';
    };
  };
  pick('pick', () => state.files);
  pick('after-pick', () => state.after_files);
  const drop = id('drop');
  addEventListener('dragover', (event) => event.preventDefault());
  drop.addEventListener('dragenter', () => drop.classList.add('over'));
  drop.addEventListener('dragleave', () => drop.classList.remove('over'));
  addEventListener('drop', (event) => {
    event.preventDefault();
    drop.classList.remove('over');
    if (!event.dataTransfer.files.length || state.down.length) return;
    if (event.dataTransfer.files[0].name.endsWith('.toml')) return dropSheet(event.dataTransfer.files[0]);
    const after = state.step === 'after';
    state[after ? 'after_how' : 'how'] = 'files';
    showEntry();
    for (const file of event.dataTransfer.files) send(file, after ? state.after_files : state.files);
  });
  showEntry();
}
