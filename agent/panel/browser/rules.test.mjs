// The rules that the page keeps: sizes, contrast, words and shapes, what is old,
// what goes wrong. Sizes are in millimetres on a panel of 7 inches, 800 by 480
// (133.3 pixels an inch).
import assert from 'node:assert/strict';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { Bench, call, look, openBrowser, picture, scan, screens, views } from './bench.mjs';

const axe = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const mm = 133.3 / 25.4; // pixels

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

// states bring the board from one state into the next; each is shown.
const states = [
  ['nothing', async () => {}],
  ['started', () => bench.act({ do: 'start', order: 'A-2001', operator: 'kj' })],
  ['measuring', async () => { await bench.press('crimp'); await bench.press('measure'); }],
  ['large', () => bench.press('all')],
  ['within', async () => { await bench.act({ do: 'set', setting: '85' }); await bench.crimp(); }],
  ['sign', () => bench.act({ do: 'check', points: 'first-piece', operator: 'kj' })],
  ['scrap', async () => { await bench.act({ do: 'check' }); await bench.crimp('thin'); }],
  ['ring', () => bench.act({ do: 'standard', standard: 'ring-25' })],
];

// measure tells what is wrong with the sizes on the page.
function sizes(page, scale) {
  return page.evaluate(({ mm, scale }) => {
    const wrong = [];
    const px = mm * scale;
    const seen = (e) => e.checkVisibility() && e.getBoundingClientRect().width > 0;
    const top = document.querySelector('#pad') ?? document; // the keypad lies over all else
    const keys = [...top.querySelectorAll(top === document ? '.key, input:not([type=hidden]):not([type=radio])' : '.key')].filter(seen);
    for (const k of keys) {
      const b = k.getBoundingClientRect();
      if (b.width < 20 * px - 1 || b.height < 20 * px - 1) wrong.push(`${k.textContent.trim() || k.name} is ${(b.width / px).toFixed(1)} by ${(b.height / px).toFixed(1)} mm`);
    }
    for (const a of keys) {
      for (const b of keys) {
        const [p, q] = [a.getBoundingClientRect(), b.getBoundingClientRect()];
        if (a === b || a.contains(b) || b.contains(a)) continue;
        const gap = Math.max(q.left - p.right, p.left - q.right, q.top - p.bottom, p.top - q.bottom);
        if (gap < 6 * px - 1) wrong.push(`${a.textContent.trim()} and ${b.textContent.trim()} are ${(gap / px).toFixed(1)} mm apart`);
      }
    }
    const ink = document.createElement('canvas').getContext('2d');
    const least = (selector, height, of) => {
      for (const e of document.querySelectorAll(selector)) {
        if (!seen(e) || !e.textContent.trim()) continue;
        const s = getComputedStyle(e);
        ink.font = `${s.fontWeight} ${s.fontSize} ${s.fontFamily}`;
        const m = ink.measureText(of);
        const got = (m.actualBoundingBoxAscent + m.actualBoundingBoxDescent) / px;
        if (got < height) wrong.push(`${selector} "${e.textContent.trim().slice(0, 30)}" has letters of ${got.toFixed(1)} mm, want ${height}`);
      }
    };
    least('.board .value:not(.target) b', 12, '8'); // 16 minutes of arc at 2.5 m are 11.64 mm (NUREG-0700, 1.3.1-4, second-hand)
    least('.board .setting b', 12, '8');
    least('.board #step h1:not(.long)', 7, 'Hp');
    least('p, li, dt, dd, small, footer, .key, span, text', 3.4, 'Hp'); // 19 minutes at 0.6 m, where 16 are the least
    return [...new Set(wrong)];
  }, { mm, scale });
}

async function findings(page) {
  await page.addScriptTag({ path: axe });
  return page.evaluate(async () => {
    const got = await globalThis.axe.run(document, {
      runOnly: { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice', 'wcag2aaa'] },
      rules: { 'color-contrast-enhanced': { enabled: true }, 'target-size': { enabled: true } },
    });
    return got.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(' | ')}`);
  });
}

test('every state and view keeps its sizes, its contrast and its place', { timeout: 600000 }, async () => {
  const light = await look(browser, bench, screens.panel, { bypassCSP: true });
  const dark = await look(browser, bench, screens.panel, { bypassCSP: true, colorScheme: 'dark' });
  const shapes = new Map();
  const wrong = [];
  for (const [name, go] of states) {
    await go();
    await new Promise((done) => setTimeout(done, 700));
    for (const language of ['en', 'es', 'de']) {
      await light.goto(`${bench.url}/?lang=${language}`);
      await light.waitForTimeout(100);
      await picture(light, `state-${name}-${language}`);
      wrong.push(...(await sizes(light, 1)).map((w) => `${name} ${language}: ${w}`));
      const room = await light.evaluate(() => {
        const out = [];
        const page = document.documentElement;
        if (page.scrollHeight > innerHeight + 1 || page.scrollWidth > innerWidth + 1) out.push(`the board scrolls: ${page.scrollWidth} by ${page.scrollHeight}`);
        for (const e of document.querySelectorAll('.value b, .value i, .piece, .setting b, #step h1')) {
          if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline') out.push(`"${e.textContent}" is cut off`);
        }
        if (document.querySelectorAll('.first').length > 1) out.push('more than one key is the first');
        return out;
      });
      wrong.push(...room.map((w) => `${name} ${language}: ${w}`));
    }
    await dark.goto(bench.url);
    await picture(dark, `state-${name}-dark`);
    for (const page of [light, dark]) wrong.push(...(await findings(page)).map((w) => `${name}: ${w}`));
    const verdict = await light.locator('[data-verdict]').first().evaluate((e) => [e.dataset.verdict, e.querySelector('svg').innerHTML + e.textContent], null, { timeout: 2000 }).catch(() => null);
    if (verdict) shapes.set(...verdict);
  }
  // Each verdict has a word and a shape of its own, whatever the eye makes of colours.
  assert.ok(shapes.size >= 3, `only ${[...shapes.keys()]} were seen`);
  assert.equal(new Set(shapes.values()).size, shapes.size);
  for (const view of views) {
    for (const [page, scheme] of [[light, 'light'], [dark, 'dark']]) {
      await page.goto(bench.url + view);
      if (scheme === 'light') {
        await picture(page, `view-${view.replaceAll('/', '-')}`);
        wrong.push(...(await sizes(page, 1)).map((w) => `${view}: ${w}`));
      }
      wrong.push(...(await findings(page)).map((w) => `${view} ${scheme}: ${w}`));
    }
  }
  assert.deepEqual([...new Set(wrong)], []);
  assert.deepEqual([...light.faults, ...dark.faults], []);
});

test('a scan presses no key, and a double touch acts once', { timeout: 60000 }, async () => {
  const page = await look(browser, bench, screens.panel);
  await page.goto(bench.url);
  const before = bench.count('dry');
  await page.locator('#dry').focus();
  await scan(page, 'DO NOTHING');
  await page.locator('#said').filter({ hasText: 'no command' }).waitFor();
  assert.equal(bench.count('dry'), before);
  await bench.press('crimp');
  await page.locator('#dry').dblclick();
  await page.waitForTimeout(1500);
  assert.equal(bench.count('dry'), before + 1);
});

test('old data looks old, and the page comes back by itself', { timeout: 90000 }, async () => {
  const page = await look(browser, bench, screens.panel);
  await page.goto(bench.url);
  assert.equal(await page.locator('body.stale').count(), 0);
  bench.process.kill('SIGSTOP'); // the connection stays open and says nothing
  await page.locator('body.stale #stale').filter({ hasText: /No data for \d+ s/ }).waitFor({ timeout: 10000 });
  await picture(page, 'stale');
  bench.process.kill('SIGCONT');
  await page.locator('body:not(.stale)').waitFor({ timeout: 10000 });

  const port = bench.port;
  await bench.end();
  await page.locator('body.stale').waitFor({ timeout: 10000 });
  await page.locator('#dry').tap();
  await page.locator('#said').filter({ hasText: 'does not answer' }).waitFor();
  bench = await Bench.begin(port);
  await page.locator('body:not(.stale)').waitFor({ timeout: 15000 });
  await call(page, 'No order');
});
