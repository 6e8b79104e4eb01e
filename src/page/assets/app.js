// Puts the page together.

import { ask, handover, onAnswer } from './ask.js';
import { connection, drawNow, startCards } from './cards.js';
import { keypad, startEntry } from './entry.js';
import { startRoom } from './room.js';
import { startSheet } from './sheet.js';
import { maps, show, startShow } from './show.js';
import { changed, checkNumber, el, id, onChange, state } from './state.js';

const STEPS = ['measure', 'room', 'floor', 'plan', 'now', 'after'];

function go(step) {
  state.step = STEPS.includes(step) ? step : 'measure';
  for (const one of STEPS) id(one).hidden = one !== state.step;
  for (const button of document.querySelectorAll('[data-step]')) {
    if (button.dataset.step === state.step) button.setAttribute('aria-current', 'step');
    else button.removeAttribute('aria-current');
  }
  state.map = null;
  keypad();
  maps();
  drawNow();
}

// The browser's own way back leads to the step before.
function goBack() {
  go(location.hash.slice(1));
  changed(false);
  id('main').scrollIntoView({ block: 'start' });
}

async function startClasses() {
  const classes = await (await fetch('/classes.json')).json();
  id('class-list').replaceChildren(...classes.map(([name, title, standard]) => el('option', { value: name }, `${title} (${standard})`)));
}

// The key of the address is spent: it need not stand there.
history.replaceState(null, '', `/#${state.step}`);
addEventListener('hashchange', goBack);
startEntry();
startRoom();
startShow();
startCards();
for (const field of document.querySelectorAll('[data-state]')) {
  const key = field.dataset.state;
  const whole = field.inputMode === 'numeric';
  const check = () => (whole || field.inputMode === 'decimal') && checkNumber(field, whole);
  field.value = state[key];
  check();
  field.addEventListener('input', () => {
    state[key] = field.value;
    check();
    changed();
  });
}
for (const button of document.querySelectorAll('[data-step]')) {
  button.onclick = () => {
    location.hash = button.dataset.step;
  };
}
id('handover').onclick = async () => {
  id('handover').disabled = true;
  id('handover-said').textContent = 'Making the handover.';
  id('handover-said').textContent = (await handover()) ?? 'Done: handover.zip is with your downloads.';
  id('handover').disabled = false;
};
id('reload').onclick = () => location.reload();
onAnswer((answer, keeps) => {
  show(answer, keeps);
  connection(keeps ? answer.problems : null);
  drawNow();
});
onChange((asks) => asks && ask(asks === true ? undefined : asks));
go(state.step);
ask(0);
startSheet();
startClasses();
