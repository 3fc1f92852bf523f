// Keeps the page fresh, says when its data is old, and sends touches. Without it
// the page still works: it is loaded anew every two seconds.
'use strict';
(() => {
  const STALE = 3000; // ms without data, as in board.go
  const body = document.body;
  const $ = (id) => document.getElementById(id);
  let heard = performance.now() - Number(body.dataset.age); // when the data was fresh
  let finger = false; // down: nothing under it may change
  let waiting = null; // what came meanwhile
  let busy = false; // a touch is on its way
  let calm = 0; // until when a touch counts as the one before
  let lastKey = 0;
  let said = 0;
  const keys = new Map(); // of touches without an answer yet, by what they say

  function show(html) {
    waiting = finger ? html : null;
    if (finger) return;
    const focus = document.activeElement && document.activeElement.id;
    for (const is of new DOMParser().parseFromString(html, 'text/html').querySelectorAll('[data-live]')) {
      const was = $(is.id);
      if (was && was.innerHTML !== is.innerHTML) was.replaceChildren(...is.childNodes);
    }
    if (focus && $(focus)) $(focus).focus();
  }

  function lift() {
    finger = false;
    if (waiting !== null) show(waiting);
  }

  function look() {
    const age = performance.now() - heard;
    body.classList.toggle('stale', age >= STALE);
    const text = age >= STALE ? `No data for ${Math.floor(age / 1000)} s` : '';
    if ($('stale').textContent !== text) $('stale').textContent = text;
  }

  function say(text) {
    $('said').textContent = text;
    $('said').hidden = text === '';
    clearTimeout(said);
    if (text) said = setTimeout(say, 15000, '');
  }

  function watch() {
    const source = new EventSource('/events');
    source.addEventListener('build', (e) => {
      if (e.data !== body.dataset.build) location.reload();
    });
    source.addEventListener('live', (e) => show(e.data));
    source.addEventListener('beat', (e) => {
      heard = performance.now() - Number(e.data);
      look();
    });
    source.onerror = () => {
      source.close();
      setTimeout(watch, 1000);
    };
  }

  async function send(form, button) {
    const data = new URLSearchParams(new FormData(form));
    data.delete('key');
    const words = data.toString();
    if (!keys.has(words)) keys.set(words, Array.from(crypto.getRandomValues(new Uint32Array(4)), (n) => n.toString(36)).join('-'));
    data.set('key', keys.get(words));
    busy = true;
    button?.setAttribute('aria-busy', 'true');
    say('');
    try {
      const got = await fetch('/do', { method: 'POST', body: data, headers: { Accept: 'application/json' }, signal: AbortSignal.timeout(12000) });
      const answer = await got.json();
      if (!answer.fault) keys.delete(words);
      if (answer.done && body.classList.contains('work')) location.assign('/');
      else if (!answer.done) say(answer.refused ? `Not taken: ${answer.refused}` : `Not kept: ${answer.fault}. Try again.`);
    } catch {
      say('Not kept: the station does not answer. Try again.');
    }
    button?.removeAttribute('aria-busy');
    busy = false;
    calm = performance.now() + 400;
  }

  addEventListener('submit', (e) => {
    e.preventDefault();
    if (!busy && performance.now() >= calm) send(e.target, e.submitter);
  });
  addEventListener('pointerdown', () => { finger = true; });
  for (const up of ['pointerup', 'pointercancel', 'blur']) addEventListener(up, () => setTimeout(lift));
  addEventListener('keydown', (e) => { // a scanner types fast and ends with Enter: no touch
    if (e.key === 'Enter' && e.timeStamp - lastKey < 100) e.preventDefault();
    lastKey = e.timeStamp;
  });
  $('said').addEventListener('click', () => say(''));
  setInterval(look, 500);
  watch();
})();
