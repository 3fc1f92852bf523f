// The page by a keyboard alone: a tablet with a cover, or a panel whose glass is
// broken. Each key can be reached, it is seen where one is, and a new reading
// takes that place from nobody.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { call, look, openBrowser, picture, screens } from './bench.mjs';
import { readings, Station } from './station.mjs';

let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

// reach goes on with Tab until something with this text has the focus, and holds
// that each place on the way is seen.
async function reach(page, text) {
  const seen = [];
  for (let n = 0; n < 60; n++) {
    await page.keyboard.press('Tab');
    const at = await page.evaluate(() => {
      const e = document.activeElement;
      const marked = e.closest('.choice') ?? e; // a choice is marked as a whole
      const s = getComputedStyle(marked);
      const b = e.getBoundingClientRect();
      return {
        none: e === document.body,
        name: (e.labels?.[0] ?? e).textContent.trim().replace(/\s+/g, ' '),
        marked: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 3,
        inside: b.bottom > 0 && b.top < innerHeight && b.right > 0 && b.left < innerWidth,
      };
    });
    if (at.none) continue; // round the end of the page
    assert.ok(at.marked, `"${at.name}" does not show that it has the focus`);
    assert.ok(at.inside, `"${at.name}" has the focus outside the screen`);
    if (text.test(at.name)) return;
    seen.push(at.name);
  }
  assert.fail(`${text} is not reached; what is: ${seen.join(' | ')}`);
}

async function choose(page, text) {
  await reach(page, text);
  await page.waitForTimeout(450); // a touch sooner counts as the one before
  await page.keyboard.press('Enter');
}

// slowly types as a hand does, so that it is no label of a scanner.
const slowly = (page, text) => page.keyboard.type(text, { delay: 90 });

test('a whole order by the keyboard alone', { timeout: 180000 }, async (t) => {
  const station = await new Station().begin();
  t.after(() => station.end());
  const page = await look(browser, station, screens.panel);
  await page.goto(station.url);

  await choose(page, /^Start order$/);
  await page.waitForURL(/\/start$/);
  await picture(page, 'keyboard-start');
  await choose(page, /^A-1001/);
  await call(page, 'Stroke: end A');
  await station.kept({ kind: 'start', order: 'A-1001' });

  await choose(page, /^More$/);
  await page.waitForURL(/\/menu$/);
  await choose(page, /^Setting$/);
  await page.waitForURL(/\/setting$/);
  await page.locator('#pad input').waitFor(); // it has the focus already
  await slowly(page, '121');
  await picture(page, 'keyboard-pad');
  await page.keyboard.press('Enter');
  await station.kept({ kind: 'set', setting: 121 });
  await page.waitForURL(`${station.url}/`);

  await reach(page, /^Undo reading$/);
  await picture(page, 'keyboard-focus');
  await station.stroke();
  await station.measure(readings.large[0]);
  await call(page, 'Measure place 2 of 3');
  assert.equal(await page.evaluate(() => document.activeElement.id), 'undo'); // still
  await page.keyboard.press('Enter');
  await call(page, 'Measure place 1 of 3');
  assert.equal(station.count('undo'), 1);

  await station.measure(...readings.within);
  await call(page, 'First piece');
  await choose(page, /^Sign off$/);
  await page.waitForURL(/\/sign$/);
  await reach(page, /^Another name/);
  await page.keyboard.press('Enter'); // sends nothing: a name is wanted
  await slowly(page, 'kj');
  await page.keyboard.press('Enter');
  await station.kept({ kind: 'check', points: 'first-piece', operator: 'kj', ok: true });
  await call(page, 'Look at this end');
  await choose(page, /^All good$/);
  await call(page, /end B/);

  await choose(page, /^More$/);
  await page.waitForURL(/\/menu$/);
  await choose(page, /^Order$/);
  await page.waitForURL(/\/order$/);
  await choose(page, /^Change$/);
  await page.waitForURL(/\/order\/change$/);
  await choose(page, /^Finish or set aside/);
  await call(page, 'No order');
  await station.kept({ kind: 'finish', order: 'A-1001' });
  assert.equal(station.count('refused'), 0);
  assert.deepEqual(page.faults, []);
});

test('Escape leaves the keypad, and nothing is set', { timeout: 60000 }, async (t) => {
  const station = await new Station().begin();
  t.after(() => station.end());
  station.say({ do: 'start', order: 'A-1001', operator: 'kj' });
  await station.kept({ kind: 'start' });
  const page = await look(browser, station, screens.panel);
  await page.goto(`${station.url}/setting`);
  await page.locator('#pad input').waitFor();
  await slowly(page, '130');
  await page.keyboard.press('Escape');
  await page.waitForURL(/\/menu$/);
  assert.equal(station.count('set'), 0);
});
