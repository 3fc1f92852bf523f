// Who does what, where people sign in: by PIN on the page's own keypad, or by a
// badge. A whole order goes by labels alone then, and each act carries a name.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { call, look, openBrowser, picture, scan, screens } from './bench.mjs';
import { readings, Station } from './station.mjs';

const pin = '482916';
let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

// shop is a running station with one operator, and the label of her badge.
async function shop(t) {
  const station = new Station('operators = "operators.json"\nsign_in = "on"');
  station.command(`${pin}\n`, 'operator', 'add', 'kj', '--name', 'K. Jansen');
  const badge = station.command('', 'operator', 'badge', 'kj').trim();
  await station.begin();
  t.after(() => station.end());
  return { station, badge };
}

const said = (page, text) => page.locator('#said').filter({ hasText: text }).waitFor();

test('a whole order by badge and labels alone', { timeout: 120000 }, async (t) => {
  const { station, badge } = await shop(t);
  const page = await look(browser, station, screens.panel);
  await page.goto(station.url);

  await scan(page, 'ORDER A-1001'); // nobody signed in yet
  await page.waitForURL(`${station.url}/who`);
  assert.equal(station.records.length, 0);
  await scan(page, badge);
  await page.waitForURL(`${station.url}/`);
  await scan(page, 'CAGE C-21');
  await said(page, 'Cage C-21 is loaded');
  await scan(page, 'ORDER A-1001');
  await call(page, 'Stroke: end A');
  assert.equal((await station.kept({ kind: 'start' })).operator, 'kj');

  await station.stroke();
  await station.measure(...readings.large);
  await call(page, 'Crimp again at 112');
  await scan(page, 'DO SET');
  await said(page, 'Set to 112');
  await station.stroke();
  await station.measure(...readings.within);
  await call(page, 'First piece');
  await scan(page, 'DO FIRST');
  await call(page, 'Look at this end');
  await scan(page, 'DO GOOD');
  await call(page, /end B/);
  const signed = await station.kept({ kind: 'check', points: 'first-piece' });
  assert.deepEqual([signed.operator, signed.ok], ['kj', true]);

  await station.stroke();
  await station.measure(readings.under[0]); // held askew
  await call(page, 'Measure place 2 of 3');
  await scan(page, 'DO UNDO');
  await call(page, 'Measure place 1 of 3');
  await station.measure(...readings.under);
  await call(page, 'Scrap this end');
  await scan(page, 'DO FINISH');
  await call(page, 'No order');
  assert.equal((await station.kept({ kind: 'finish' })).operator, 'kj');
  assert.deepEqual(station.records.filter((r) => r.kind === 'verdict').map((r) => r.outcome), ['recrimp', 'pass', 'scrap']);
  assert.deepEqual(station.records.filter((r) => r.kind === 'fault' || r.kind === 'refusal'), []);
  assert.deepEqual(page.faults, []);
});

test('who touches first signs in, and what was touched is done then', { timeout: 90000 }, async (t) => {
  const { station } = await shop(t);
  const page = await look(browser, station, screens.panel);
  await page.goto(station.url);
  await page.locator('#first').tap();
  await page.locator('.key').filter({ hasText: 'A-1001' }).tap();
  await page.waitForURL(/\/who/);
  assert.equal(station.records.length, 0);
  await picture(page, 'people-who');
  await page.locator('.key').filter({ hasText: 'K. Jansen' }).tap();
  await picture(page, 'people-pin');
  const type = async (digits) => {
    for (const digit of digits) await page.locator('#pad div .key').getByText(digit, { exact: true }).tap();
    await page.locator('#pad .first').tap();
  };
  await type('111111');
  await said(page, /PIN/);
  assert.equal(station.records.length, 0);
  await picture(page, 'people-wrong-pin');
  await page.locator('#said').tap();
  await page.locator('#pad div .key').first().waitFor();
  await type(pin);
  await page.waitForURL(`${station.url}/`);
  await call(page, 'Stroke: end A');
  assert.equal((await station.kept({ kind: 'start', order: 'A-1001' })).operator, 'kj');
  assert.deepEqual(page.faults, []);
});
