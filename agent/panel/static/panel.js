// Keeps the page fresh, says when its data is old, and sends touches. Without it
// the page still works: it is loaded anew every two seconds.
import { keypad } from './keypad.js';
import { scanner } from './scanner.js';

const STALE = 3000; // ms without data, as in board.go
const OFFER = 10000; // ms that a touch can be taken back, as in offer.go
const body = document.body;
const words = body.dataset;
const $ = (id) => document.getElementById(id);
let heard = performance.now() - Number(words.age); // when the data was fresh
let finger = false; // down: nothing under it may change
let waiting = null; // what came meanwhile
let busy = false; // a touch is on its way
let calm = 0; // until when a touch counts as the one before
let said = 0;
const keys = new Map(); // of touches without an answer yet, by what they say

function show(html) {
  waiting = finger ? html : null;
  if (finger) return;
  const focus = document.activeElement?.id;
  for (const is of new DOMParser().parseFromString(html, 'text/html').querySelectorAll('[data-live]')) {
    const was = $(is.id);
    if (was && was.innerHTML !== is.innerHTML) was.replaceChildren(...is.childNodes);
  }
  if (focus && $(focus)) $(focus).focus();
}

function look() {
  const age = performance.now() - heard;
  body.classList.toggle('stale', age >= STALE);
  const text = age >= STALE ? words.stale.replace('{}', Math.floor(age / 1000)) : '';
  if ($('stale').textContent !== text) $('stale').textContent = text;
}

// say shows a text until it is touched or has been there for a while.
function say(text, ms = 15000) {
  const p = document.createElement('p');
  p.textContent = text;
  $('said').replaceChildren(p);
  $('said').hidden = text === '';
  clearTimeout(said);
  if (text) said = setTimeout(say, ms, '');
}

function watch() {
  const source = new EventSource(`/events?lang=${words.lang}`);
  source.addEventListener('build', (e) => {
    if (e.data !== words.build) location.reload();
  });
  source.addEventListener('live', (e) => show(e.data));
  source.addEventListener('said', (e) => say(e.data, 6000));
  source.addEventListener('beat', (e) => {
    heard = performance.now() - Number(e.data);
    look();
  });
  source.onerror = async () => {
    source.close();
    try { // who is not signed in any more is led to where that is done
      if ((await fetch(location.href, { redirect: 'manual' })).type === 'opaqueredirect') location.reload();
    } catch {
      // the station is away: the page says so by its age
    }
    setTimeout(watch, 1000);
  };
}

// post sends fields and gives the answer; null: there was none.
async function post(to, data) {
  try {
    const got = await fetch(to, { method: 'POST', body: data, headers: { Accept: 'application/json' }, signal: AbortSignal.timeout(12000) });
    return await got.json();
  } catch {
    say(words.lost);
    return null;
  }
}

async function send(form, button) {
  const data = new URLSearchParams(new FormData(form));
  data.delete('key');
  const what = data.toString();
  if (!keys.has(what)) keys.set(what, Array.from(crypto.getRandomValues(new Uint32Array(4)), (n) => n.toString(36)).join('-'));
  data.set('key', keys.get(what));
  busy = true;
  button?.setAttribute('aria-busy', 'true');
  say('');
  const answer = await post(form.action, data);
  if (answer && !answer.fault) keys.delete(what);
  if (answer && !answer.done && answer.said) say(answer.said);
  else if (answer && answer.to && (answer.to !== location.pathname || !body.classList.contains('board'))) location.assign(answer.to);
  button?.removeAttribute('aria-busy');
  busy = false;
  calm = performance.now() + 400;
}

async function scanned(text) {
  const data = new URLSearchParams({ text });
  const then = document.querySelector('input[name=then]')?.value ?? new URLSearchParams(location.search).get('then');
  if (then) data.set('then', then);
  const answer = await post('/scan', data);
  if (!answer) return;
  if (answer.to && answer.to !== location.pathname) location.assign(answer.to);
  else say(answer.said || words.done, 6000);
}

addEventListener('submit', (e) => {
  if (new URL(e.target.action).pathname === '/language') return; // a page of its own
  e.preventDefault();
  if (!busy && performance.now() >= calm) send(e.target, e.submitter);
});
addEventListener('pointerdown', () => { finger = true; });
for (const up of ['pointerup', 'pointercancel', 'blur']) {
  addEventListener(up, () => setTimeout(() => {
    finger = false;
    if (waiting !== null) show(waiting);
  }));
}
$('said').addEventListener('click', (e) => {
  if (!e.target.closest('form')) say('');
});
if (!$('said').hidden) said = setTimeout(say, OFFER, '');
setInterval(look, 500);
keypad(words);
scanner(scanned);
watch();
