// While pouring: one large card a batch, with the minutes left on the open edge; what is down, and the depths measured in it.

import { changed, checkNumber, el, id, number, state } from './state.js';
import { jug, light, plain, pour, rest } from './show.js';

// A tap so soon after another is the same finger, ms.
const TWICE = 1500;

const isDown = (n) => state.down.find((one) => one.n === n);
const bags = (count) => (count === 1 ? '1 bag' : count === 0.5 ? 'half a bag' : `${count} bags`);

// The batches still to come: planned anew once something is down, with what was measured.
function toCome(plan) {
  const batches = state.down.length && rest() ? rest().batches : plan?.batches ?? [];
  return batches.filter((one) => !isDown(one.n));
}

// Whether the rest is lower than planned, on other patches: the plan's pins and joints are not theirs.
const dividedAnew = () => rest()?.drop_mm > 0;

// The time by which the next batch must touch what is down, ms; null where nothing is open.
function edge(plan, batch) {
  const layer = plan.mixing?.layers.find((one) => one.layer === batch.layer);
  if (!layer || !state.down.length) return null;
  const joints = layer.joints.filter((one) => one.later === batch.n || one.earlier === batch.n);
  // Patches that were divided anew have other joints: then the batch that came down last is the one to meet.
  const touching = dividedAnew() ? state.down.slice(-1) : joints.map((one) => isDown(one.later === batch.n ? one.earlier : one.later)).filter(Boolean);
  if (!touching.length) return null;
  return Math.min(...touching.map((one) => one.at)) + layer.working_minutes * 60000;
}

// The minutes left are written into the card as they pass: the rest of it stays as it is.
function tick() {
  const timer = id('card').querySelector('[role=timer]');
  if (!timer) return;
  const left = (Number(timer.dataset.until) - Date.now()) / 60000;
  timer.classList.toggle('late', left < 0);
  timer.textContent = left < 0 ? `Edge closed ${Math.ceil(-left)} min ago: bay stop` : `${Math.floor(left)} min left on the open edge`;
}

const pinsOf = (plan, n) => plan.pins.filter((pin) => pin.batch === n).sort((a, b) => b.depth_mm - a.depth_mm);

const pinsToCome = (plan, batch) => (dividedAnew() ? [] : pinsOf(plan, batch.n));

// The pins in a batch, the deepest first: where the depth is looked at while pouring.
function pins(plan, batch) {
  const own = pinsToCome(plan, batch);
  if (!own.length) return null;
  const row = (pin) => el('tr', {}, el('td', {}, pin.name), el('td', { class: 'n' }, pin.x_m.toFixed(2)), el('td', { class: 'n' }, pin.y_m.toFixed(2)),
    el('td', { class: 'n' }, el('b', {}, `${pin.depth_mm.toFixed(0)} mm`)));
  return el('details', { open: true }, el('summary', {}, `Depth at its ${own.length} pins`),
    el('table', { class: 'list' }, el('thead', {}, el('tr', {}, el('th', {}, 'Pin'), el('th', { class: 'n' }, 'x, m'), el('th', { class: 'n' }, 'y, m'), el('th', { class: 'n' }, 'Deep'))),
      el('tbody', {}, own.map(row))));
}

// The batches still to come, this one filled, as the map has them; the door as a cross.
function sketch(plan, batch) {
  const all = toCome(plan);
  const corners = [...plan.batches, ...all].flatMap((one) => one.outline);
  const [left, right] = [0, 1].map((end) => Math[end ? 'max' : 'min'](...corners.map(([x]) => x)));
  const [low, high] = [0, 1].map((end) => Math[end ? 'max' : 'min'](...corners.map(([, y]) => y)));
  const air = 0.04 * Math.max(right - left, high - low);
  const points = (outline) => outline.map(([x, y]) => `${x},${-y}`).join(' ');
  const [x, y] = [number(state.exit_x), number(state.exit_y)];
  return el('svg', { class: 'patch', role: 'img', 'aria-label': `Batch ${batch.n} among the batches still to come`,
    viewBox: `${left - air} ${-high - air} ${right - left + 2 * air} ${high - low + 2 * air}` },
  all.map((one) => el('polygon', { points: points(one.outline), class: one.n === batch.n ? 'here' : 'later', 'stroke-width': air / 4 })),
  x !== null && y !== null && el('path', { d: `M${x - air} ${-y}h${2 * air}M${x} ${-y - air}v${2 * air}`, class: 'door', 'stroke-width': air / 2 }));
}

function card(plan, batch, count) {
  const until = edge(plan, batch);
  return el('div', { class: 'card' },
    el('p', { class: 'title' }, `Batch ${batch.n} of ${count}`),
    el('p', { class: 'huge' }, bags(batch.bags)),
    el('p', { class: 'large' }, `${jug(batch.liquid_l)} ${plan.order.compounds[0]?.liquid ?? ''}`),
    el('p', { class: 'large' }, `${batch.mean_depth_mm.toFixed(0)} mm deep (${batch.min_depth_mm.toFixed(0)} to ${batch.max_depth_mm.toFixed(0)})`),
    until === null ? null : el('p', { class: 'large', role: 'timer', 'data-until': until }),
    el('button', { type: 'button', class: 'main', onclick: () => isNowDown(batch) }, 'It is down'),
    el('p', {}, `${batch.area_m2.toFixed(1)} m² about x ${batch.centre.x_m.toFixed(1)}, y ${batch.centre.y_m.toFixed(1)} m: filled here, lit on the map`),
    sketch(plan, batch),
    pins(plan, batch));
}

function isNowDown(batch) {
  if (isDown(batch.n) || Date.now() - (state.down.at(-1)?.at ?? 0) < TWICE) return;
  state.down.push({ n: batch.n, at: Date.now(), planned: batch.bags, bags: '' });
  changed();
  drawNow();
  id('main').scrollIntoView({ block: 'start' });
  id('card').querySelector('button')?.focus({ preventScroll: true });
}

// What the card says, so that it is drawn anew only when that is something else: what is folded and what has the focus stay.
let shownCard = '';

export function drawCards() {
  const plan = pour();
  const next = toCome(plan);
  const lit = state.step === 'now' ? next[0] : undefined;
  light(lit, lit ? pinsToCome(plan, lit) : []);
  let words = null;
  if (!plan) words = 'Measure and choose a compound first.';
  else if (!plan.batches?.length) words = plain(plan.batches_reason ?? 'There is nothing to pour.');
  else if (!next.length) words = 'All batches are down.';
  const says = JSON.stringify([words, next, state.down, state.exit_x, state.exit_y, plan?.pins]);
  if (says !== shownCard) {
    shownCard = says;
    const folded = id('card').querySelector('details')?.open === false;
    id('card').replaceChildren(words ? el('p', { class: 'large' }, words) : card(plan, next[0], state.down.length + next.length));
    if (folded) id('card').querySelector('details')?.removeAttribute('open');
  }
  tick();
  lock();
  drawRest();
}

// What the batches that are down were planned from stays as it is.
function lock() {
  const locked = state.down.length > 0;
  for (const part of document.querySelectorAll('[data-plan]')) part.inert = locked;
  id('locked').hidden = !locked || !['measure', 'room', 'plan'].includes(state.step);
}

// What is left, once something is down: bags, and what they reach.
function drawRest() {
  const found = state.down.length ? rest() : null;
  if (!found) {
    const [there, needed] = [number(state.bags_on_site), pour()?.order.bags];
    return id('rest').replaceChildren(...(there !== null && there < needed ? [el('p', { class: 'problem' }, `${there} bags on site, and the floor takes ${needed}.`)] : []));
  }
  const said = [`${bags(found.bags_used)} used where ${found.bags_planned} were planned; ${bags(found.bags_left)} left.`];
  if (found.off) said.push(`Down so far ${Math.abs(found.off.mean_mm).toFixed(1)} mm ${found.off.mean_mm < 0 ? 'thinner' : 'thicker'} than planned on average, at ${found.off.places === 1 ? 'one pin' : `${found.off.places} pins`}.`);
  const short = found.enough ? null : el('p', { class: 'problem' },
    `Not enough: ${bags(found.bags_missing)} more, or the rest comes out ${found.drop_mm.toFixed(1)} mm lower. The cards go on with what is left, on patches divided anew: the map still has the batches as planned.`);
  const over = found.step_over.map((one) => el('p', { class: 'problem' }, `A step of ${Math.abs(found.step_mm).toFixed(1)} mm to what is down is more than ${one.class} allows (${one.limit_mm} mm).`));
  id('rest').replaceChildren(el('h3', {}, 'Left'), el('p', {}, said.join(' ')), ...[found.enough ? el('p', {}, el('b', {}, 'It is enough.')) : short, ...over, ...found.warnings.map((one) => el('p', { class: 'warning' }, plain(one)))].filter(Boolean));
}

function field(words, value, oninput, placeholder) {
  const input = el('input', { inputmode: 'decimal', autocomplete: 'off', value, placeholder, oninput: () => {
    checkNumber(input);
    oninput(input.value);
  } });
  checkNumber(input);
  return el('label', {}, `${words} `, input);
}

// Fields are drawn anew only when there are others: what is being typed in stays.
let drawn = '';
const fields = () => JSON.stringify([state.down.map((one) => one.n), pour()?.pins.map((pin) => [pin.name, pin.batch])]);

// What is down, with the bags that it took and the depths measured at its pins.
function drawDown() {
  const plan = pour();
  drawn = fields();
  const open = new Set([...id('down').querySelectorAll('details[open]')].map((one) => one.dataset.batch));
  const one = (batch) => el('li', {},
    el('p', {}, `Batch ${batch.n}, down at ${new Date(batch.at).toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit' })}`),
    field('Bags used, if counted', batch.bags, (text) => {
      batch.bags = text;
      changed();
    }, batch.planned === undefined ? '' : `${batch.planned} planned`),
    el('details', { 'data-batch': batch.n, open: open.has(String(batch.n)) }, el('summary', {}, 'Measured at its pins, mm'), el('div', { class: 'row' }, (plan ? pinsOf(plan, batch.n) : []).map((pin) => field(`${pin.name}, planned ${pin.depth_mm.toFixed(0)}`, state.depths[pin.name] ?? '', (text) => {
      state.depths[pin.name] = text;
      changed();
    })))));
  id('down').replaceChildren(...(state.down.length ? [
    el('h3', {}, 'Down'), el('ul', {}, state.down.map(one)),
    el('button', { type: 'button', onclick: () => {
      const { n } = state.down.pop();
      if (plan) for (const pin of pinsOf(plan, n)) delete state.depths[pin.name];
      changed();
      drawNow();
    } }, 'Undo the last')] : []));
}

export function drawNow() {
  drawCards();
  if (fields() !== drawn) drawDown();
}

export function startCards() {
  // By the clock on the wall: a phone that slept shows the right minutes when it wakes.
  setInterval(() => state.step === 'now' && !document.hidden && tick(), 10000);
  addEventListener('visibilitychange', () => !document.hidden && drawCards());
}
