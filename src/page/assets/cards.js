// While pouring: one large card a batch, with the minutes left on the open edge.

import { el, id, changed, state } from './state.js';
import { light, pour } from './show.js';

const batchesOf = (plan) => plan?.batches ?? [];
const isDown = (n) => state.down.find((one) => one.n === n);

// The time by which the next batch must touch what is down, ms; null where nothing is open.
function edge(plan, batch) {
  const layer = plan.mixing?.layers.find((one) => one.layer === batch.layer);
  const joints = (layer?.joints ?? []).filter((one) => one.later === batch.n || one.earlier === batch.n);
  const downs = joints.map((one) => isDown(one.later === batch.n ? one.earlier : one.later)).filter(Boolean);
  if (!downs.length) return null;
  return Math.min(...downs.map((one) => one.at)) + layer.working_minutes * 60000;
}

function minutes(until) {
  const left = (until - Date.now()) / 60000;
  const late = left < 0;
  return el('p', { class: `large${late ? ' late' : ''}`, role: 'timer' },
    late ? `Edge closed ${Math.ceil(-left)} min ago: bay stop` : `${Math.floor(left)} min left on the open edge`);
}

// The pins in a batch, the deepest first: where the depth is looked at while pouring.
function pins(plan, batch) {
  const own = plan.pins.filter((pin) => pin.batch === batch.n).sort((a, b) => b.depth_mm - a.depth_mm);
  if (!own.length) return null;
  const row = (pin) => el('tr', {}, el('td', {}, pin.name), el('td', { class: 'n' }, pin.x_m.toFixed(2)), el('td', { class: 'n' }, pin.y_m.toFixed(2)),
    el('td', { class: 'n' }, el('b', {}, `${pin.depth_mm.toFixed(0)} mm`)));
  return el('details', { open: own.length <= 12 }, el('summary', {}, `Depth at its ${own.length} pins`),
    el('table', { class: 'list' }, el('thead', {}, el('tr', {}, el('th', {}, 'Pin'), el('th', { class: 'n' }, 'x, m'), el('th', { class: 'n' }, 'y, m'), el('th', { class: 'n' }, 'Deep'))),
      el('tbody', {}, own.map(row))));
}

function card(plan, batch, count) {
  const until = edge(plan, batch);
  return el('div', { class: 'card' },
    el('p', { class: 'title' }, `Batch ${batch.n} of ${count}`),
    el('p', { class: 'huge' }, batch.bags === 1 ? '1 bag' : `${batch.bags} bags`),
    el('p', { class: 'large' }, `${batch.liquid_l.toFixed(1)} l ${plan.order.compounds[0]?.liquid ?? ''}`),
    el('p', { class: 'large' }, `${batch.mean_depth_mm.toFixed(0)} mm deep (${batch.min_depth_mm.toFixed(0)} to ${batch.max_depth_mm.toFixed(0)})`),
    el('p', {}, `${batch.area_m2.toFixed(1)} m² about x ${batch.centre.x_m.toFixed(1)}, y ${batch.centre.y_m.toFixed(1)} m: lit on the map`),
    until === null ? null : minutes(until),
    pins(plan, batch),
    el('button', { type: 'button', class: 'main', onclick: () => {
      state.down.push({ n: batch.n, at: Date.now(), bags: batch.bags });
      changed();
      drawCards();
    } }, 'It is down'));
}

export function drawCards() {
  const plan = pour();
  const all = batchesOf(plan);
  const next = all.find((one) => !isDown(one.n));
  const show = state.step === 'now';
  light(show && next ? next : null);
  let words = null;
  if (!plan) words = 'Measure and choose a compound first.';
  else if (!all.length) words = plan.batches_reason ?? 'There is nothing to pour.';
  else if (!next) words = 'All batches are down.';
  id('card').replaceChildren(next ? card(plan, next, all.length) : el('p', { class: 'large' }, words));
  id('down').replaceChildren(...(state.down.length ? [
    el('h3', {}, 'Down'),
    el('ul', {}, state.down.map((one) => el('li', {}, `Batch ${one.n}, ${one.bags} bags, at ${new Date(one.at).toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit' })}`))),
    el('button', { type: 'button', onclick: () => {
      state.down.pop();
      changed();
      drawCards();
    } }, 'Undo the last')] : []));
}

export function startCards() {
  // By the clock on the wall: a phone that slept shows the right minutes when it wakes.
  setInterval(() => state.step === 'now' && !document.hidden && drawCards(), 10000);
  addEventListener('visibilitychange', () => !document.hidden && drawCards());
}
