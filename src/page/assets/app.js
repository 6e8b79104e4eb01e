// Puts the page together.

import { ask, handover, onAnswer } from './ask.js';
import { drawNow, startCards } from './cards.js';
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

// The step stands in the address: the browser's own way back leads to the one before.
function goWhereTheAddressSays() {
  go(location.hash.slice(1));
  changed(false);
  id('main').scrollIntoView({ block: 'start' });
}

async function startClasses() {
  const classes = await (await fetch('/classes.json')).json();
  id('class-list').replaceChildren(...classes.map(([name, title, standard]) => el('option', { value: name }, `${title} (${standard})`)));
}

// In place of the key, which is spent.
history.replaceState(null, '', `/#${state.step}`);
addEventListener('hashchange', goWhereTheAddressSays);
startEntry();
startRoom();
startShow();
startCards();
for (const field of document.querySelectorAll('[data-state]')) {
  const key = field.dataset.state;
  field.value = state[key];
  checkNumber(field);
  field.addEventListener('input', () => {
    state[key] = field.value;
    checkNumber(field);
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
  drawNow();
});
onChange((asks) => asks && ask(asks === true ? undefined : asks));
go(state.step);
ask(0);
startSheet();
startClasses();
