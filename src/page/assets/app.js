// Puts the page together.

import { ask, handover, onAnswer } from './ask.js';
import { drawNow, startCards } from './cards.js';
import { startEntry } from './entry.js';
import { startRoom } from './room.js';
import { startSheet } from './sheet.js';
import { maps, show, startShow } from './show.js';
import { changed, el, id, onChange, state } from './state.js';

const STEPS = ['measure', 'room', 'floor', 'plan', 'now', 'after'];

function go(step) {
  state.step = STEPS.includes(step) ? step : 'measure';
  for (const one of STEPS) id(one).hidden = one !== state.step;
  for (const button of document.querySelectorAll('[data-step]')) {
    if (button.dataset.step === state.step) button.setAttribute('aria-current', 'step');
    else button.removeAttribute('aria-current');
  }
  state.map = null;
  maps();
  drawNow();
}

async function startClasses() {
  const classes = await (await fetch('/classes.json')).json();
  id('class-list').replaceChildren(...classes.map(([name, title, standard]) => el('option', { value: name }, `${title} (${standard})`)));
}

// The key of the address is spent: it need not stand there.
if (location.search) history.replaceState(null, '', '/');
startEntry();
startRoom();
startShow();
startCards();
for (const field of document.querySelectorAll('[data-state]')) {
  const key = field.dataset.state;
  field.value = state[key];
  field.addEventListener('input', () => {
    state[key] = field.value;
    changed();
  });
}
for (const button of document.querySelectorAll('[data-step]')) {
  button.onclick = () => {
    go(button.dataset.step);
    changed(false);
    id('main').scrollIntoView({ block: 'start' });
  };
}
id('handover').onclick = async () => {
  id('handover').disabled = true;
  id('handover-said').textContent = 'Making the handover.';
  id('handover-said').textContent = (await handover()) ?? 'Done: handover.zip is with your downloads.';
  id('handover').disabled = false;
};
onAnswer((answer, keeps) => {
  show(answer, keeps);
  drawNow();
});
onChange((asks) => asks && ask());
go(state.step);
ask(0);
startSheet();
startClasses();
