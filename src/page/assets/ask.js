// Asks the program: the form goes out, the answer comes back line by line. Nothing is worked out in the page.

import { csv, enough } from './entry.js';
import { outline } from './room.js';
import { el, filled, id, number, state, withUnit } from './state.js';

const WAIT = 200;
let waiting = 0;
let asking = null;
let said = () => {};

export function onAnswer(listener) {
  said = listener;
}

const place = (x, y) => (number(x) !== null && number(y) !== null ? [`${number(x)} m`, `${number(y)} m`] : undefined);

function survey(how, typed, files) {
  if (how === 'typed') return typed && { typed };
  const sent = files.map((file) => file.number).filter((one) => one !== null);
  return sent.length && sent.length === files.length ? { files: sent } : null;
}

const typed = (when) => (enough(when) ? csv(when) : null);

function fixed(unit) {
  const given = (one) => filled(one.name) && place(one.x, one.y) && filled(one.level) && filled(one.allowance);
  return state.fixed.filter(given).map((one) => ({
    name: one.name.trim(),
    at: [place(one.x, one.y), place(one.x2, one.y2)].filter(Boolean),
    level: withUnit(one.level, unit), allowance: withUnit(one.allowance, 'mm'), below: withUnit(one.below, 'mm'),
  }));
}

const quoted = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

// What is down and what was measured in it, for --poured.
function down() {
  if (!state.down.length) return undefined;
  const batches = state.down.map((one) => `${one.n},${number(one.bags) ?? ''},,`);
  const depths = Object.entries(state.depths).filter(([, depth]) => number(depth) !== null).map(([pin, depth]) => `,,${quoted(pin)},${number(depth)}`);
  return `batch,bags,point,depth_mm\n${[...batches, ...depths].join('\n')}\n`;
}

const whole = (text) => (Number.isInteger(number(text)) ? number(text) : undefined);

// Bags in all, as counted while pouring; undefined unless every batch was counted.
function bagsCounted() {
  const counted = state.down.map((one) => number(one.bags));
  return counted.length && !counted.includes(null) ? counted.reduce((sum, one) => sum + one) : undefined;
}

// What is asked; null while there is too little to ask about.
export function form() {
  const before = survey(state.how, state.pasted ?? typed('before'), state.files);
  if (!before) return null;
  const unit = state.how === 'typed' ? state.grid.unit : state.units || 'mm';
  const files = state.how === 'files';
  const after = state.after_how === 'none' ? null : survey(state.after_how, typed('after'), state.after_files);
  const marks = filled(state.mark_before) && filled(state.mark_after);
  return {
    survey: before,
    after: after ?? undefined,
    outline: outline() ?? undefined,
    sheets: state.sheet ? [state.sheet] : [],
    heading: {
      job: filled(state.job) ?? 'Floor measured on site', client: filled(state.client), address: filled(state.address),
      by: filled(state.by), date: filled(state.date), remarks: filled(state.remarks),
    },
    down: state.sheet ? down() : undefined,
    bags: whole(state.bags_on_site),
    floor: {
      name: 'Floor',
      class: (state.classes.match(/[^,;\s]+/g) ?? []),
      u: withUnit(state.u, 'mm'),
      units: files ? filled(state.units) : undefined,
      up: files && state.up !== 'z' ? state.up : undefined,
      cell: files ? withUnit(state.cell, 'mm') : undefined,
      floor_height: files ? withUnit(state.floor_height, 'm') : undefined,
      datum: state.datum ?? undefined,
      waste: withUnit(state.waste, '%'),
      vessel: withUnit(state.vessel, 'l'),
      crew: whole(state.crew),
      exit: place(state.exit_x, state.exit_y),
      fixed: fixed(unit),
      benchmark: marks ? { before: withUnit(state.mark_before, unit), after: withUnit(state.mark_after, unit) } : undefined,
      bags_used: state.sheet ? [number(state.bags_used) ?? bagsCounted()].filter((bags) => bags !== undefined) : [],
    },
    places: state.tap ? [state.tap] : [],
  };
}

// Asks soon: typing on puts it off, and a newer question ends an older one.
export function ask(wait = WAIT) {
  clearTimeout(waiting);
  waiting = setTimeout(now, wait);
}

async function now() {
  asking?.abort();
  const asked = form();
  if (!asked) return said(null);
  const mine = new AbortController();
  asking = mine;
  try {
    const answer = await send(asked, mine.signal, true);
    if (asking === mine) said(answer);
  } catch (error) {
    if (mine.signal.aborted) return;
    said({ problems: [{ about: 'connection', message: error.message || 'No connection to lowspot. What you typed is kept.' }] }, true);
    if (error.again !== false) ask(3000);
  } finally {
    if (asking === mine) {
      asking = null;
      busy(null);
    }
  }
}

// The handover as one file; the words of what stands against it, or null.
export async function handover() {
  const asked = form();
  if (!asked) return 'Measure the floor first.';
  if (!asked.sheets.length) return 'Choose the compound first: step 4.';
  const response = await fetch('/handover', {
    method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(asked),
  }).catch(() => null);
  if (!response) return 'No connection to lowspot. What you typed is kept.';
  if (!response.ok) return response.text();
  const url = URL.createObjectURL(await response.blob());
  el('a', { href: url, download: 'handover.zip' }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
  return null;
}

async function send(asked, signal, first) {
  const response = await fetch('/answer', {
    method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(asked), signal,
  }).catch((error) => {
    throw signal.aborted ? error : new Error('No connection to lowspot. What you typed is kept.');
  });
  if (response.status === 401 && first) {
    // lowspot was started anew: its first page gives a new room.
    await fetch('/', { signal });
    return send(asked, signal, false);
  }
  if (!response.ok) throw Object.assign(new Error(await response.text()), { again: false });
  return lines(response.body.getReader());
}

async function lines(reader) {
  const decoder = new TextDecoder();
  let text = '';
  for (;;) {
    const { value, done } = await reader.read();
    text += decoder.decode(value, { stream: !done });
    let end;
    while ((end = text.indexOf('\n')) >= 0) {
      const line = JSON.parse(text.slice(0, end));
      text = text.slice(end + 1);
      if (line.answer) return line.answer;
      busy(line);
    }
    if (done) throw new Error('The answer was cut short. What you typed is kept.');
  }
}

function busy(line) {
  id('busy').hidden = !line;
  if (!line) return;
  const bar = id('busy-bar');
  if (!line.of) {
    bar.removeAttribute('value');
    id('busy-words').textContent = `reading, ${line.read.toLocaleString('en-GB')} points`;
    return;
  }
  // What could not be planned is measured once more, without the compound.
  const again = line.read > line.of;
  [bar.max, bar.value] = [line.of, again ? line.read - line.of : line.read];
  id('busy-words').textContent = `reading${again ? ' once more' : ''}, ${Math.round(100 * bar.position)} %`;
}

// A phone that wakes asks anew.
addEventListener('visibilitychange', () => !document.hidden && ask());
addEventListener('online', () => ask());
