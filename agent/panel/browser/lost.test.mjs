// What gets lost between the page and the station: a touch, its answer, an older
// page. Nothing is done twice, and what was not done is said.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { call, openBrowser, picture } from './bench.mjs';
import { crimped } from './station.mjs';

let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

const said = (page, text) => page.locator('#said').filter({ hasText: text }).waitFor();

// touch taps a key when the page takes touches again.
async function touch(page, key) {
  await page.waitForTimeout(450); // a touch sooner counts as the one before
  await page.locator(key).tap();
}

// keys collects the keys of the touches that a page sends.
function keys(page) {
  const sent = [];
  page.on('request', (r) => {
    if (r.method() === 'POST') sent.push(new URLSearchParams(r.postData()).get('key'));
  });
  return sent;
}

test('a touch that does not arrive says so, and is sent again as the same one', { timeout: 60000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  const sent = keys(page);
  await page.route('**/do', (r) => r.abort(), { times: 1 });
  await touch(page, '#dry');
  await said(page, 'Not kept: the station does not answer. Try again.');
  await picture(page, 'lost-touch');
  assert.equal(station.count('dry'), 0);
  await touch(page, '#dry');
  await station.kept({ kind: 'dry', of: 2 });
  await call(page, 'Stroke: end A');
  assert.equal(sent.length, 2);
  assert.ok(sent[0] && sent[0] === sent[1], `keys ${sent}`);
  assert.equal(await page.locator('#said').isVisible(), false); // what was not kept is kept now
});

test('a touch whose answer is lost is not done again', { timeout: 60000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  await page.route('**/do', async (r) => {
    await r.fetch();
    await r.abort();
  }, { times: 1 });
  await touch(page, '#dry');
  await said(page, 'does not answer');
  await station.kept({ kind: 'dry' });
  await touch(page, '#dry');
  await page.locator('#said').waitFor({ state: 'hidden' });
  assert.equal(station.count('dry'), 1);
  assert.equal(station.count('refused'), 0);

  await station.stroke(); // and the next one is another touch
  await call(page, 'Measure place 1 of 3');
  await touch(page, '#dry');
  await station.until(() => station.count('dry') === 2, 'the second one is not kept');
});

test('a fault is told in its words, and the touch can be made again', { timeout: 60000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  const sent = keys(page);
  const full = { done: false, fault: 'the disk is full', said: 'Not kept: the disk is full. Try again.' };
  await page.route('**/do', (r) => r.fulfill({ status: 503, json: full }), { times: 1 });
  await touch(page, '#dry');
  await said(page, full.said);
  await touch(page, '#dry');
  await station.kept({ kind: 'dry' });
  assert.equal(sent[0], sent[1]);
});

test('a refusal says why, and the same touch later is another one', { timeout: 60000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  const sent = keys(page);
  await touch(page, '#undo');
  await said(page, /reading/i); // there is none yet
  await picture(page, 'lost-refused');
  await touch(page, '#undo');
  await page.waitForTimeout(300);
  assert.equal(sent.length, 2);
  assert.notEqual(sent[0], sent[1]);
  assert.equal(station.count('undo'), 0);
});

test('a touch shows that it was felt before it is answered', { timeout: 60000 }, async (t) => {
  const { page } = await crimped(t, browser);
  let answer;
  const held = new Promise((done) => { answer = done; });
  await page.route('**/do', async (r) => { await held; await r.continue(); }, { times: 1 });
  const felt = page.evaluate(() => new Promise((done) => {
    let down;
    addEventListener('pointerdown', () => { down = performance.now(); }, true);
    new MutationObserver(() => done(performance.now() - down)).observe(document.getElementById('dry'), { attributeFilter: ['aria-busy'] });
  }));
  await touch(page, '#dry');
  t.diagnostic(`felt after ${(await felt).toFixed(0)} ms, before the answer; 100 ms are felt as a delay`);
  await picture(page, 'lost-felt');
  answer();
});

test('a page of an older program loads itself anew, once', { timeout: 60000 }, async (t) => {
  const { station, page } = await crimped(t, browser);
  let loads = 0;
  page.on('load', () => loads++);
  await page.evaluate(() => { document.body.dataset.build = 'older'; });
  await station.cut();
  await page.locator('body.stale').waitFor();
  await station.begin();
  await page.locator('body:not(.stale)[data-build]:not([data-build=older])').waitFor({ timeout: 15000 });
  await page.waitForTimeout(3000);
  assert.equal(loads, 1);
  await call(page, 'Measure place 1 of 3');
  assert.deepEqual(page.faults, []);
});
