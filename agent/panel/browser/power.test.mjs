// What a power cut in the middle of a piece leaves.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { call, look, openBrowser, picture, screens } from './bench.mjs';
import { readings, Station } from './station.mjs';

let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

test('a piece goes on after a power cut, and the page comes back by itself', { timeout: 90000 }, async (t) => {
  const station = await new Station().begin();
  t.after(() => station.end());
  const page = await look(browser, station, screens.panel);
  await page.goto(station.url);
  await page.locator('#first').tap();
  await page.locator('.key').filter({ hasText: 'A-1001' }).tap();
  await call(page, 'Stroke: end A');
  await station.stroke();
  await station.measure(readings.within[0]);
  await call(page, 'Measure place 2 of 3');

  await station.cut();
  await page.locator('body.stale #stale').filter({ hasText: /No data for \d+ s/ }).waitFor();
  await picture(page, 'power-cut');
  await station.begin();
  await page.locator('body:not(.stale)').waitFor({ timeout: 15000 });
  await call(page, 'Measure place 2 of 3');
  await station.measure(...readings.within.slice(1));
  await page.locator('[data-verdict="within"]').waitFor();
  await picture(page, 'power-back');
  const verdict = await station.kept({ kind: 'verdict', piece: 'A-1001/1' });
  assert.equal(verdict.mean_mm, 30.48);
  assert.equal(station.count('reading'), 3);
  assert.deepEqual(page.faults, []);
});
