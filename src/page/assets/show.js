// Shows the answer: verdicts, figures, order, map.

import { markCell } from './entry.js';
import { setDoor, tapsDoor } from './room.js';
import { markFigure } from './sheet.js';
import { changed, el, id, number, state } from './state.js';

export let last = null;
let shown = null;
let urls = {};

const mm = (value) => `${value.toFixed(1)} mm`;
const litres = (value) => `${value.toFixed(1)} l`;
// Liquid as it is measured out: a quarter of a litre is not rounded away.
export const jug = (value) => `${value.toFixed(2).replace(/0$/, '')} l`;
const at = (place) => (place?.line ? `${place.station_m} m on line ${place.line}` : `x ${place.x_m.toFixed(2)}, y ${place.y_m.toFixed(2)} m`);
const bags = (count) => (count === 1 ? '1 bag' : `${count} bags`);
// Heights as they were read: on a staff, or above the survey's zero.
export const asRead = (z) => (last?.staff ? `staff ${mm(-z)}` : mm(z));

export const pour = () => last?.pour?.floors?.[0] ?? null;
export const rest = () => last?.rest ?? null;

export function show(answer, keeps = false) {
  if (keeps) {
    // The connection is gone: what is known stays on show.
    problems(answer.problems);
    return;
  }
  last = answer;
  for (const [key, part] of [['check', 'check_text'], ['pour', 'pour_text'], ['compare', 'compare_text']]) {
    id(`${key}-text`).textContent = answer?.[part] ?? '';
  }
  problems(answer?.problems ?? []);
  floor(answer?.check);
  order();
  slider();
  batches();
  fixedLevels();
  compared(answer?.compare);
  headline();
  maps();
}

// What the command line calls an option is a field here.
const FIELD = {
  '--exit X,Y': 'the door, in step 2', '--benchmark-before': 'the mark before', '--benchmark-after': 'the mark after', '--not-poured': 'a mark read both times',
  '--bags N': 'the bags on site', '--exit': 'the door', '--vessel': 'the mixing vessel', '--least-depth': 'the least depth', '--datum': 'the height to finish at',
  '--units': 'the unit', '--cell': 'the cell of a scan', '--floor': 'the floor', '`lowspot classes`': 'the list of classes',
};
export const plain = (text) => Object.entries(FIELD).reduce((words, [option, field]) => words.replaceAll(option, field), text);

function problems(found) {
  const words = (one) => {
    const figure = one.line && /^compound-\d+\.toml$/.test(one.file ?? '') && markFigure(one.line);
    return plain(figure ? one.message.replace(/^[^:]*: /, `${figure}: `) : one.message);
  };
  id('problems').replaceChildren(...found.map((one) => el('p', { class: 'problem' }, words(one))));
  for (const one of found) {
    if (one.line && one.file === 'survey.csv') markCell('before', one.line, one.column);
    if (one.line && one.file === 'after.csv') markCell('after', one.line, one.column);
  }
}

const kind = (verdict) => (verdict === 'too sparse' ? 'sparse' : verdict);

function verdict(one) {
  return el('div', { class: `verdict ${kind(one.verdict)}` },
    el('b', {}, `${one.class}: ${one.verdict.toUpperCase()}`), el('p', {}, one.reason), el('p', { class: 'hint' }, `${one.title} (${one.standard})`));
}

function worst(check) {
  const laid = check.straightedge?.find((edge) => edge.worst_gap_mm !== null);
  return laid && { ...laid, words: `${mm(laid.worst_gap_mm)} under ${laid.length_m} m` };
}

function floor(check) {
  id('verdicts').replaceChildren(...(check?.classes ?? []).map(verdict));
  const facts = [];
  const edge = check && worst(check);
  if (edge) {
    facts.push(['Widest gap', edge.words]);
    if (edge.at) facts.push(['where', at(edge.at)], ['lay the edge', `${at(edge.from)} to ${at(edge.to)}`]);
  }
  if (check?.level) {
    facts.push(['Highest to lowest', mm(check.level.range_mm)], ['highest', `${asRead(check.level.highest.z_mm)} at ${at(check.level.highest)}`],
      ['lowest', `${asRead(check.level.lowest.z_mm)} at ${at(check.level.lowest)}`]);
  }
  if (check?.surface) facts.push(['Floor', `${check.surface.area_m2.toFixed(1)} m², ${check.survey.points_used.toLocaleString('en-GB')} used`]);
  id('facts').replaceChildren(...facts.flatMap(([word, value]) => [el('dt', {}, word), el('dd', {}, value)]));
  const warnings = [...(check?.warnings ?? []), ...(pour()?.warnings ?? []).filter((one) => !check?.warnings?.includes(one))];
  id('warnings').replaceChildren(...warnings.map((one) => el('p', { class: 'warning' }, plain(one))));
}

function big(pairs) {
  return el('div', { class: 'big' }, pairs.filter(([value]) => value != null).map(([value, word]) => el('div', {}, el('b', {}, value), word)));
}

function order() {
  const plan = pour();
  if (!plan) {
    id('order').replaceChildren(el('p', { class: 'hint' }, state.sheet ? '' : 'Choose the compound below: then bags, liquid and depths stand here.'));
    return;
  }
  const { order: buy, volume } = plan;
  const liquids = buy.compounds.map((one) => one.liquid).join(', ');
  id('order').replaceChildren(big([
    [String(buy.bags), buy.bags === 1 ? 'bag' : 'bags'],
    [jug(buy.liquid_l), liquids || 'liquid'],
    [buy.price === null ? null : `${buy.price.toFixed(2)} ${buy.currency}`, 'price'],
    [mm(volume.mean_depth_mm), `mean depth, ${mm(volume.min_depth_mm)} to ${mm(volume.max_depth_mm)}`],
    [buy.bags_95 == null ? null : String(buy.bags_95), 'bags to be 95 % sure'],
    [volume.ground_m2 > 0 ? `${volume.ground_m2.toFixed(1)} m²` : null, 'stand above the finish'],
  ]));
}

function slider() {
  const [input, plan] = [id('datum'), pour()];
  const datum = plan?.target.datum_mm;
  input.disabled = datum == null;
  id('datum-auto').disabled = !plan;
  if (datum == null) {
    id('datum-said').textContent = '';
    return;
  }
  const { lowest, highest } = plan.level;
  [input.min, input.max] = [Math.floor(lowest.z_mm), Math.ceil(Math.max(highest.z_mm, datum)) + 20];
  if (document.activeElement !== input) input.value = datum;
  input.setAttribute('aria-valuetext', `${asRead(datum)}, ${bags(plan.order.bags)}`);
  id('datum-said').textContent = `${asRead(datum)}: ${mm(plan.target.cover_mm)} over the highest spot, ${bags(plan.order.bags)}${plan.order.price === null ? '' : `, ${plan.order.price.toFixed(2)} ${plan.order.currency}`}`;
}

function batches() {
  const plan = pour();
  const all = plan?.batches;
  const table = all && el('table', { class: 'list' },
    el('thead', {}, el('tr', {}, el('th', {}, 'Batch'), el('th', { class: 'n' }, 'Bags'), el('th', { class: 'n' }, 'Liquid'), el('th', { class: 'n' }, 'm²'), el('th', { class: 'n' }, 'Down at'))),
    el('tbody', {}, all.map((one) => el('tr', {}, el('td', {}, String(one.n)), el('td', { class: 'n' }, String(one.bags)),
      el('td', { class: 'n' }, jug(one.liquid_l)), el('td', { class: 'n' }, one.area_m2.toFixed(1)), el('td', { class: 'n' }, `${Math.round(one.at_minute)} min`)))));
  id('batches').replaceChildren(...(plan ? [el('h3', {}, 'Batches in order'), table ?? el('p', { class: 'hint' }, plain(plan.batches_reason ?? ''))] : []));
}

function fixedLevels() {
  const found = pour()?.fixed_levels;
  const one = (level) => el('p', { class: `verdict ${level.verdict === 'met' ? 'within' : level.verdict === 'missed' ? 'outside' : 'undecided'}` },
    el('b', {}, `${level.name}: ${level.verdict}`), level.worst ? ` off by ${mm(level.worst.off_mm)} at most, step ${mm(level.worst.step_mm)}` : ` ${level.worst_reason ?? ''}`);
  const proposed = found?.proposed_datum_mm != null && el('p', {}, `Most of them are met at ${asRead(found.proposed_datum_mm)}. `, el('button', { type: 'button', onclick: () => setDatum(found.proposed_datum_mm) }, 'Finish there'));
  id('fixed-said').replaceChildren(...(found ? [el('h3', {}, 'Fixed levels'), ...found.levels.map(one), proposed].filter(Boolean) : []));
}

// The height to finish at, mm above the survey's zero; as the survey has heights in the form.
export function setDatum(z) {
  state.datum = z === null ? null : `${(last?.staff ? -z : z).toFixed(2)} mm`;
  changed();
}

function compared(found) {
  if (!found) {
    id('compare').replaceChildren();
    return;
  }
  const { laid, used } = found;
  id('compare').replaceChildren(
    ...(found.after?.classes ?? []).map(verdict),
    laid ? big([
      [mm(laid.mean_mm), 'laid on average'], [litres(laid.volume_l), 'laid'], [mm(laid.min_mm), 'least'],
      [used ? String(used.bags) : null, used ? `bags used, ${used.expected_bags?.toFixed(1) ?? litres(used.expected_l)} expected` : ''],
    ]) : el('p', { class: 'warning' }, plain(found.laid_reason ?? '')));
}

function headline() {
  const check = last?.check;
  const parts = (check?.classes ?? []).map((one) => `${one.class} ${one.verdict}`);
  const edge = check && worst(check);
  if (edge) parts.push(`gap ${edge.words}`);
  else if (check?.level) parts.push(`range ${mm(check.level.range_mm)}`);
  if (pour()) parts.push(bags(pour().order.bags));
  id('said').textContent = parts.join(' · ') || (last?.problems?.length ? 'No answer yet.' : 'Type readings, or drop a file.');
}

// Where the plan lies on a map, as the map itself says.
function view(svg) {
  const [x, y, scale, left, top, right, bottom] = (/data-plan="([^"]*)"/.exec(svg)?.[1] ?? '').split(' ').map(Number);
  const [width, height] = (/viewBox="0 0 (\d+) (\d+)"/.exec(svg) ?? [0, 0, 0]).slice(1).map(Number);
  if (!bottom) return null;
  return {
    width, height, box: [left - 260, top - 110, right - left + 340, bottom - top + 330],
    to: ([px, py]) => [left + (px - x) * scale, bottom - (py - y) * scale],
    from: ([u, v]) => [x + (u - left) / scale, y + (bottom - v) / scale],
    unit: (right - left) / 100,
  };
}

function wanted() {
  const there = ['check', 'pour', 'compare'].filter((one) => last?.[`${one}_map`]);
  const usual = { plan: 'pour', now: 'pour', after: 'compare' }[state.step] ?? 'check';
  return [there, there.includes(state.map) ? state.map : there.includes(usual) ? usual : there[0]];
}

export function maps() {
  const [there, which] = wanted();
  id('map-choice').hidden = there.length < 2;
  for (const button of document.querySelectorAll('[data-map]')) {
    button.hidden = !there.includes(button.dataset.map);
    button.setAttribute('aria-pressed', button.dataset.map === which);
  }
  id('map').hidden = id('map-links').hidden = !which;
  if (!which) return;
  const text = last[`${which}_map`];
  if (urls.text !== text) {
    if (urls.url) URL.revokeObjectURL(urls.url);
    urls = { text, url: URL.createObjectURL(new Blob([text], { type: 'image/svg+xml' })) };
    id('map-open').href = urls.url;
    id('map-open').download = `${which}.svg`;
    shown = view(text);
    const svg = id('map-svg');
    svg.setAttribute('aria-label', /<desc[^>]*>([^<]*)/.exec(text)?.[1] ?? 'Map of the floor');
    svg.setAttribute('viewBox', (shown?.box ?? [0, 0, 5940, 4200]).join(' '));
    svg.replaceChildren(el('image', { href: urls.url, x: 0, y: 0, width: shown?.width ?? 5940, height: shown?.height ?? 4200 }), el('g', { id: 'over' }));
  }
  overlay();
}

// What lies over the map: the batch that is next with its pins, the door, the place tapped.
let lit = null;
let pinsLit = [];
export function light(batch, pins) {
  [lit, pinsLit] = [batch, pins];
  overlay();
}

function overlay() {
  const over = id('over');
  if (!over || !shown) return;
  const points = (outline) => outline.map((place) => shown.to(place).join(',')).join(' ');
  const [ex, ey] = [number(state.exit_x), number(state.exit_y)];
  const door = ex !== null && ey !== null && shown.to([ex, ey]);
  const tapped = state.tap && shown.to(state.tap);
  const u = shown.unit;
  over.replaceChildren(...[
    lit && el('polygon', { class: 'lit', points: points(lit.outline), 'stroke-width': u }),
    ...pinsLit.map((pin) => {
      const [x, y] = shown.to([pin.x_m, pin.y_m]);
      return el('text', { class: 'pin', x, y: y + 4 * u, 'font-size': 3 * u, 'stroke-width': 0.8 * u, 'text-anchor': 'middle' }, pin.name);
    }),
    door && el('path', { d: `M${door[0] - 2 * u} ${door[1]}h${4 * u}m${-2 * u} ${-2 * u}v${4 * u}`, stroke: '#b34700', 'stroke-width': u, fill: 'none' }),
    tapped && el('circle', { cx: tapped[0], cy: tapped[1], r: 2 * u, fill: 'none', stroke: '#c00060', 'stroke-width': 0.8 * u }),
  ].filter(Boolean));
  const depth = last?.places?.[0];
  let words = pour() ? 'Tap the map for the depth.' : '';
  if (depth && state.tap) words = `x ${depth.x_m.toFixed(2)}, y ${depth.y_m.toFixed(2)} m: ${depth.depth_mm === null ? 'not measured' : depth.depth_mm < 0 ? `${mm(-depth.depth_mm)} too high` : `${mm(depth.depth_mm)} deep`}`;
  id('tapped').textContent = words;
}

export function startShow() {
  id('map-svg').addEventListener('click', (event) => {
    if (!shown) return;
    const matrix = id('map-svg').getScreenCTM().inverse();
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
    const place = shown.from([x, y]).map((metres) => Number(metres.toFixed(3)));
    if (tapsDoor()) return setDoor(place);
    state.tap = place;
    changed();
  });
  for (const button of document.querySelectorAll('[data-map]')) {
    button.onclick = () => {
      state.map = button.dataset.map;
      changed(false);
      maps();
    };
  }
  id('map-larger').onclick = () => {
    const larger = id('map-larger').getAttribute('aria-pressed') !== 'true';
    id('map-larger').setAttribute('aria-pressed', larger);
    id('map-svg').classList.toggle('larger', larger);
  };
  id('datum').addEventListener('input', () => setDatum(Number(id('datum').value)));
  id('datum-auto').onclick = () => setDatum(null);
}
