// How soon the page shows what the caliper sent: from the line that comes in until
// the picture that is drawn after it.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { call, openBrowser } from './bench.mjs';
import { crimped } from './station.mjs';

let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

test('a reading is on the screen without the page being touched', { timeout: 120000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  await page.evaluate(() => {
    globalThis.drawn = [];
    new MutationObserver(() => {
      const number = document.querySelector('.value:not(.target) b')?.textContent;
      requestAnimationFrame(() => setTimeout(() => globalThis.drawn.push([number, Date.now()]))); // behind the frame
    }).observe(document.getElementById('now'), { childList: true, subtree: true });
  });

  const took = [];
  for (let n = 0; n < 15; n++) {
    const text = (1.195 + n / 10000).toFixed(4);
    const began = Date.now();
    station.say({ text: `+${text}\r\n` });
    await page.waitForFunction((text) => globalThis.drawn.some(([number]) => number === text), text);
    const shown = await page.evaluate((text) => globalThis.drawn.find(([number]) => number === text)[1], text);
    took.push(shown - began);
    station.say({ do: 'undo' }); // so that the crimp is never judged
    await station.until(() => station.count('undo') === n + 1, 'the undo is not kept');
    await call(page, 'Measure place 1 of 3');
  }
  took.sort((a, b) => a - b);
  t.diagnostic(`median ${took[took.length >> 1]} ms, slowest ${took.at(-1)} ms of ${took.length}; up to 200 ms what is done and what is seen are one (common practice, no source)`);
});

test('the page stays as small after a long time as it was', { timeout: 120000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  const session = await page.context().newCDPSession(page);
  await session.send('Performance.enable');
  const size = async () => {
    await session.send('HeapProfiler.collectGarbage');
    const { metrics } = await session.send('Performance.getMetrics');
    return Object.fromEntries(metrics.map((m) => [m.name, m.value]));
  };
  const change = async (n) => {
    const kept = station.count('undo') + n;
    for (let i = 0; i < n; i++) { // each is shown by itself
      station.say({ text: `+1.20${String(10 + (i % 40))}\r\n` });
      station.say({ do: 'undo' });
      await new Promise((go) => setTimeout(go, 60));
    }
    await station.until(() => station.count('undo') === kept, 'not all is kept');
  };
  await change(50);
  const before = await size();
  await change(300);
  const later = await size();
  t.diagnostic(`${before.Nodes} to ${later.Nodes} nodes, ${(before.JSHeapUsedSize / 1024).toFixed(0)} to ${(later.JSHeapUsedSize / 1024).toFixed(0)} kB`);
  assert.ok(later.Nodes <= before.Nodes * 1.2, `${before.Nodes} nodes became ${later.Nodes}`);
  assert.ok(later.JSEventListeners <= before.JSEventListeners * 1.2, `${before.JSEventListeners} listeners became ${later.JSEventListeners}`);
  assert.ok(later.JSHeapUsedSize <= before.JSHeapUsedSize * 1.2, `${before.JSHeapUsedSize} bytes became ${later.JSHeapUsedSize}`);
});
