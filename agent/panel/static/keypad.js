// A keypad for fields, because there is no keyboard at the press: twelve keys of
// 20 mm over the whole page, of which the last one turns to further letters.
const pads = {
  digits: [[...'1234567890', '⌫']],
  pin: [[...'1234567890', '⌫']],
  text: [[...'1234567890-'], [...'ABCDEFGHIJK'], [...'LMNOPQRSTUV'], [...'WXYZ', '.', '/', '_', 'Ä', 'Ö', 'Ü', ' ']],
};

function make(tag, name, text) {
  const e = document.createElement(tag);
  e.className = name;
  if (tag === 'button') e.type = 'button';
  if (text) e.textContent = text;
  return e;
}

export function keypad(words) {
  const comma = (0.5).toLocaleString(words.lang)[1];
  pads.decimal = [[...'1234567890', comma, '⌫']];

  // open lays the pad over the page, for one field of a form.
  function open(field, leave) {
    const pad = make('section', '');
    pad.id = 'pad';
    pad.setAttribute('role', 'dialog');
    pad.setAttribute('aria-modal', 'true');
    pad.setAttribute('aria-label', field.closest('label').firstChild.textContent);
    const head = make('div', 'head');
    const back = make('button', 'key', words.close);
    const rub = make('button', 'key', '⌫');
    const done = make('button', 'key first', words.done);
    const unit = field.nextElementSibling?.textContent ?? '';
    const label = make('label', 'field', `${field.closest('label').firstChild.textContent} ${unit}`);
    const shown = field.cloneNode();
    shown.removeAttribute('name');
    shown.removeAttribute('data-pad');
    shown.inputMode = 'none';
    label.append(shown);
    const grid = make('div', 'pad-keys');
    const sets = pads[field.dataset.pad];
    let set = 0;
    let fresh = true; // the first key replaces what was there

    function press(char) {
      if (char === '⌫') shown.value = fresh ? '' : shown.value.slice(0, -1);
      else if (fresh || shown.value.length < field.maxLength) shown.value = fresh ? char : shown.value + char;
      fresh = false;
    }
    function draw() {
      grid.replaceChildren(...sets[set].map((char) => {
        const k = make('button', 'key', char === ' ' ? '␣' : char);
        k.addEventListener('click', () => press(char));
        return k;
      }));
      if (sets.length < 2) return;
      const next = sets[(set + 1) % sets.length];
      const turn = make('button', 'key other', `${next[0]} … ${next.findLast((char) => /[\p{L}\d]/u.test(char))}`);
      turn.addEventListener('click', () => {
        set = (set + 1) % sets.length;
        draw();
      });
      grid.append(turn);
    }
    function close() {
      pad.remove();
      field.focus();
    }
    back.addEventListener('click', () => (leave ? document.getElementById('back').click() : close()));
    rub.addEventListener('click', () => press('⌫'));
    done.addEventListener('click', () => {
      field.value = shown.value;
      fresh = true; // what is refused is typed anew
      if (leave) field.form.requestSubmit();
      else close();
    });
    shown.addEventListener('input', () => { fresh = false; });
    shown.addEventListener('keydown', (e) => {
      if (e.key === 'Enter') done.click();
      if (e.key === 'Escape') back.click();
    });
    if (leave) done.textContent = field.form.querySelector('.first').textContent;
    head.append(back, label);
    if (!sets[0].includes('⌫')) head.append(rub);
    head.append(done);
    pad.append(head, grid);
    const hint = leave && document.querySelector('main > .text');
    if (hint) pad.append(make('p', 'text', hint.textContent));
    draw();
    document.body.append(pad);
    shown.focus();
    shown.select();
  }

  for (const field of document.querySelectorAll('input[data-pad]')) {
    field.inputMode = 'none'; // the pad is this page's own
    field.addEventListener('click', () => open(field, false));
    if (field.form.hasAttribute('data-open')) open(field, true);
  }
}
