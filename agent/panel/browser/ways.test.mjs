// The ways of a gloved hand: to every view and back by touch, with what cannot be
// undone far from what is touched most.
import assert from 'node:assert/strict';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { Bench, call, look, openBrowser, picture, screens, views } from './bench.mjs';

const axe = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const mm = 133.3 / 25.4; // pixels on the panel; the page grows with the screen
let browser;
let bench;
before(async () => {
  browser = await openBrowser();
  bench = await Bench.begin();
});
after(async () => {
  await bench.end();
  await browser.close();
});

// far tells how far each key that takes something back lies from the main one, and
// how large that is, in millimetres.
const far = (page) => page.evaluate((mm) => {
  const px = mm * parseFloat(getComputedStyle(document.documentElement).fontSize) / 20;
  const main = document.getElementById('first').getBoundingClientRect();
  const gap = (id) => {
    const b = document.getElementById(id).getBoundingClientRect();
    return Math.max(main.left - b.right, b.left - main.right, main.top - b.bottom, b.top - main.bottom) / px;
  };
  return { width: main.width / px, height: main.height / px, undo: gap('undo'), dry: gap('dry') };
}, mm);

test('what takes something back lies far from the large touch, on each screen', { timeout: 120000 }, async () => {
  const pages = [];
  for (const [name, screen] of Object.entries(screens)) {
    const page = await look(browser, bench, screen);
    await page.goto(bench.url);
    pages.push([name, page]);
  }
  const states = [
    ['No order', async () => {}],
    [/Crimp again/, async () => { await bench.act({ do: 'start', order: 'A-2001', operator: 'kj' }); await bench.crimp(); }],
    ['First piece', async () => { await bench.act({ do: 'set', setting: '85' }); await bench.crimp(); }],
    ['Look at this end', () => bench.act({ do: 'check', points: 'first-piece', operator: 'kj' })],
  ];
  for (const [text, go] of states) {
    await go();
    for (const [name, page] of pages) {
      await call(page, text);
      const is = await far(page);
      assert.ok(is.width >= 30 && is.height >= 20 - 0.2, `${text}, ${name}: the large touch is ${is.width.toFixed(1)} by ${is.height.toFixed(1)} mm, want 30 by 20`);
      for (const id of ['undo', 'dry']) assert.ok(is[id] >= 25 - 0.2, `${text}, ${name}: ${id} lies ${is[id].toFixed(1)} mm from the large touch, want 25`);
    }
  }
});

// noun is a view's address without what it is about.
const noun = (address) => new URL(address).pathname.replace(/\d+/, 'n');

test('every view is reached by touch, and Back leads home', { timeout: 240000 }, async () => {
  await bench.act({ do: 'start', order: 'A-2001', operator: 'kj' }); // goes on, if it is in work
  await bench.press('crimp');
  const page = await look(browser, bench, screens.panel);
  const reached = new Map(); // noun to an address
  const ways = [`${bench.url}/`];
  while (ways.length > 0) {
    const from = ways.shift();
    await page.goto(from);
    const links = await page.locator('a.key:visible').evaluateAll((keys) => keys.map((k) => k.getAttribute('href')));
    for (const href of links) {
      const to = new URL(href, from).href;
      if (href.startsWith('/paper?') || reached.has(noun(to))) continue;
      await page.goto(from);
      await page.locator(`a.key:visible[href="${href}"]`).first().tap();
      await page.waitForURL(to);
      if (noun(to) !== '/') {
        for (let n = 0; noun(page.url()) !== '/'; n++) {
          assert.ok(n < 6, `Back leads from ${to} to ${page.url()}, and not to the board`);
          const here = page.url();
          const key = page.locator('#pad .key').first(); // where a keypad lies over the view
          await ((await key.count()) ? key : page.locator('#back')).tap();
          await page.waitForURL((url) => url.href !== here);
        }
      }
      reached.set(noun(to), to);
      ways.push(to);
    }
  }
  assert.deepEqual(views.map((v) => v.replace('/1', '/n')).filter((v) => !reached.has(v)), []);
  assert.deepEqual(page.faults, []);
});

test('the practice press is worked by touch, and says what cannot be', { timeout: 60000 }, async () => {
  const page = await look(browser, bench, screens.panel, { bypassCSP: true });
  const said = (text) => page.locator('[role=status]').filter({ hasText: text }).waitFor();
  await page.goto(`${bench.url}/practice`);
  const strokes = bench.count('stroke');
  await page.locator('#usual').tap();
  await said('done');
  await page.locator('#measure').tap();
  await said('close the press first');
  await page.locator('#crimp').tap();
  await said('done');
  await picture(page, 'practice');
  assert.equal(bench.count('stroke'), strokes + 1);
  await page.locator('#unplug').tap();
  await said('done');
  await page.locator('#all').tap();
  await said('plug it in first');
  await page.locator('#plug').tap();
  await said('done');

  const near = await page.evaluate((mm) => {
    const keys = [...document.querySelectorAll('button')].map((k) => [k.id, k.getBoundingClientRect()]);
    const wrong = keys.filter(([, b]) => b.width < 20 * mm - 1 || b.height < 20 * mm - 1).map(([id]) => `${id} is small`);
    for (const [a, p] of keys) {
      for (const [b, q] of keys) {
        if (a < b && Math.max(q.left - p.right, p.left - q.right, q.top - p.bottom, p.top - q.bottom) < 6 * mm - 1) wrong.push(`${a} and ${b} are close`);
      }
    }
    return wrong;
  }, mm);
  assert.deepEqual(near, []);
  for (const colorScheme of ['light', 'dark']) {
    await page.emulateMedia({ colorScheme });
    await page.addScriptTag({ path: axe });
    const found = await page.evaluate(async () => {
      const rules = { 'color-contrast-enhanced': { enabled: true } };
      return (await globalThis.axe.run(document, { rules })).violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html).join(' | ')}`);
    });
    assert.deepEqual(found, []);
  }
});
