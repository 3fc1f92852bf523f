// What holds in each language: everything is said in it, nothing is cut off,
// nothing scrolls at the press, and axe finds nothing, in light and in dark.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { look, openBrowser, picture, screens, views } from './bench.mjs';
import { readings, Station } from './station.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const seen = [...views, '/scrap?assembly=1'];
// Words that only an English page has; what labels and job cards say stays as it is.
const english = /\b(the|of|and|is|are|with|not|for|within|limits|reading|piece|setting|order|good|back|done|more|who|stroke|lubricate|under|over|large)\b/i;

let browser;
let station;
before(async () => {
  browser = await openBrowser();
  station = await new Station().begin();
});
after(async () => {
  await station.end();
  await browser.close();
});

// states bring the board from one state into the next, each with its call.
const states = [
  ['nothing', async () => {}],
  ['started', async () => { station.say({ do: 'operator', operator: 'kj' }); station.say({ do: 'start', order: 'A-1001' }); await station.kept({ kind: 'start' }); }],
  ['measuring', async () => { await station.stroke(); await station.measure(readings.large[0]); }],
  ['large', () => station.measure(...readings.large.slice(1))],
  ['again', async () => { station.say({ do: 'set', setting: 112 }); await station.kept({ kind: 'set' }); }],
  ['first', async () => { await station.stroke(); await station.measure(...readings.within); }],
  ['look', async () => { station.say({ do: 'check', points: 'first-piece' }); await station.kept({ kind: 'check' }); }],
  ['next', async () => { station.say({ do: 'check' }); await station.until(() => station.count('check') === 2, 'the look is not kept'); }],
  ['scrap', async () => { await station.stroke(); await station.measure(...readings.under); }],
  ['ring', async () => { station.say({ do: 'standard', standard: 'ring-25' }); await station.kept({ kind: 'standard' }); }],
];

// amiss tells what is cut off on a page, what runs out of it, and what is not said
// in its language.
function amiss(page, words) {
  return page.evaluate((words) => {
    const wrong = [];
    const all = document.documentElement;
    const fixed = document.body.classList.contains('board') && innerWidth > innerHeight;
    if (all.scrollWidth > innerWidth) wrong.push(`${all.scrollWidth - innerWidth} px too wide`);
    if (fixed && all.scrollHeight > innerHeight) wrong.push(`${all.scrollHeight - innerHeight} px too high`);
    for (const e of document.querySelectorAll('.key, h1, #step, #step p, .note, .judged b, .value, .setting, .care li, .links li, #now')) {
      if (!e.checkVisibility()) continue;
      const wide = e.scrollWidth - e.clientWidth;
      const high = e.matches('.value, .setting') ? 0 : e.scrollHeight - e.clientHeight; // figures stand closer than their letters' own lines
      if (wide > 1 || high > parseFloat(getComputedStyle(e).fontSize) / 2) wrong.push(`"${e.textContent.trim().replace(/\s+/g, ' ').slice(0, 60)}" does not fit: ${Math.max(wide, 0)} by ${Math.max(high, 0)} px`);
    }
    const plain = document.body.innerText + [...document.querySelectorAll('[aria-label]')].map((e) => e.ariaLabel).join('\n');
    for (const line of words ? plain.split('\n') : []) if (new RegExp(words, 'i').test(line)) wrong.push(`"${line}" is English`);
    return wrong;
  }, words);
}

async function findings(page) {
  await page.evaluate(axe);
  return page.evaluate(async () => {
    const { violations } = await globalThis.axe.run(document, {
      runOnly: { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21aa', 'wcag22aa', 'best-practice'] },
      rules: { 'color-contrast-enhanced': { enabled: true } },
    });
    return violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html.slice(0, 120)).join(' | ')}`);
  });
}

test('all is said, and fits, in each language', { timeout: 600000 }, async () => {
  const wrong = [];
  const pages = [];
  for (const language of ['en', 'es', 'de']) {
    for (const [name, screen] of Object.entries(screens)) {
      if (language === 'en' && name !== 'panel') continue; // the other languages take more room
      const page = await look(browser, station, screen);
      await page.goto(`${station.url}/language`);
      await page.locator(`.key[lang=${language}]`).tap();
      await page.waitForURL(`${station.url}/`);
      pages.push([`${language} ${name}`, page, language === 'en' ? '' : english.source]);
    }
  }
  for (const [state, go] of states) {
    await go();
    for (const [where, page, words] of pages) {
      await page.waitForTimeout(100);
      wrong.push(...(await amiss(page, words)).map((w) => `${where}, ${state}: ${w}`));
      if (where.endsWith('panel')) await picture(page, `tongue-${state}-${where.replace(' ', '-')}`);
    }
  }
  for (const view of seen.slice(1)) {
    for (const [where, page, words] of pages) {
      await page.goto(station.url + view);
      wrong.push(...(await amiss(page, words)).map((w) => `${where} ${view}: ${w}`));
    }
  }
  assert.deepEqual([...new Set(wrong)], []);
  assert.deepEqual(pages.flatMap(([, page]) => page.faults), []);
});

test('axe finds nothing in the other languages, in light and in dark', { timeout: 900000 }, async () => {
  const wrong = [];
  const page = await look(browser, station, screens.panel);
  for (const [language, colorScheme] of [['es', 'light'], ['de', 'dark']]) { // English in both: rules.test.mjs
    await page.emulateMedia({ colorScheme });
    for (const view of seen) {
      await page.goto(`${station.url}${view}${view.includes('?') ? '&' : '?'}lang=${language}`);
      wrong.push(...(await findings(page)).map((w) => `${view} ${language} ${colorScheme}: ${w}`));
    }
  }
  assert.deepEqual([...new Set(wrong)], []);
});
