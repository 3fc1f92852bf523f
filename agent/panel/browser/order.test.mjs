// A whole order, from its job card to its certificate.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Bench, call, look, openBrowser, picture, scan as scanInto, screens, touch } from './bench.mjs';

let browser;
before(async () => { browser = await openBrowser(); });
after(() => browser.close());

// typeOn fills the open keypad with its own keys.
async function typeOn(page, text) {
  await page.locator('#pad').waitFor();
  for (const char of text) {
    const key = page.locator('#pad div .key').filter({ hasText: new RegExp(`^${char.replace('.', '\\.')}$`) });
    for (let turns = 0; (await key.count()) === 0; turns++) {
      assert.ok(turns < 4, `the keypad has no ${char}`);
      await page.locator('#pad div .other').tap();
    }
    await key.tap();
  }
}

for (const [name, screen] of Object.entries(screens)) {
  test(`a whole order by touch alone, ${name}`, { timeout: 180000 }, async (t) => {
    const bench = await Bench.begin();
    t.after(() => bench.end());
    const page = await look(browser, bench, screen);
    const keep = (step) => picture(page, `order-${name}-${step}`);
    await page.goto(bench.url);
    await call(page, 'No order');
    await keep('01-nothing');

    await page.goto(`${bench.url}/who`); // who is at the press: typed on the page's own keypad
    await touch(page, 'Type');
    await typeOn(page, 'KJ');
    await keep('02-keypad');
    await page.locator('#pad .first').tap();
    await page.waitForURL(`${bench.url}/`);

    await page.locator('#first').tap();
    await keep('03-job-cards');
    await touch(page, 'A-2001');
    await call(page, 'Stroke: end A');
    await keep('04-started');

    await bench.press('crimp');
    await call(page, 'Measure place 1 of 3');
    await bench.press('measure');
    await call(page, 'Measure place 2 of 3'); // without the page being loaded anew
    await keep('05-reading');
    await bench.press('all');
    await call(page, /Crimp again at \d{3}/);
    assert.equal(await page.locator('[data-verdict]').getAttribute('data-verdict'), 'large');
    await keep('06-too-large');
    await page.locator('#first').tap(); // set to the setting of the second crimp
    await page.locator('.setting em').waitFor({ state: 'detached' }); // the advised one is shown before it is set
    await bench.crimp();
    await call(page, 'First piece');
    assert.equal(await page.locator('[data-verdict]').getAttribute('data-verdict'), 'within');
    await keep('07-within');

    await page.locator('#first').tap();
    await page.waitForURL(/sign/);
    await keep('07-sign');
    await touch(page, 'KJ');
    await page.waitForURL(`${bench.url}/`);
    assert.equal(bench.count('check', (r) => r.points === 'first-piece' && r.operator === 'KJ'), 1);
    await call(page, 'Look at this end');
    await page.locator('#first').tap();
    await call(page, /end B/);

    if (await page.locator('#first').filter({ hasText: 'Set to' }).count()) await page.locator('#first').tap();
    await page.locator('.setting em').waitFor({ state: 'detached' });
    await bench.crimp();
    await page.locator('[data-verdict="within"]').waitFor();
    await call(page, 'Look at this end');
    await page.locator('#first').tap();
    await call(page, /end A/);

    await bench.crimp('thin'); // undersize: nothing undoes that
    await call(page, 'Scrap this end');
    assert.equal(await page.locator('[data-verdict]').getAttribute('data-verdict'), 'scrap');
    await keep('08-scrap');

    await page.goto(`${bench.url}/assemblies`);
    await keep('09-assemblies');
    await page.locator('.assembly').first().tap();
    await keep('10-assembly');
    await touch(page, /^Length/i);
    await typeOn(page, '48');
    await keep('11-length');
    await page.locator('#pad .first').tap();
    await page.waitForURL(/assembly\/1$/);
    await page.locator('.point .key').filter({ hasText: 'Good' }).first().tap();
    await page.waitForURL(/assembly\/1$/);
    await touch(page, /^Proof test/i);
    await page.locator('input[name=pressure]').tap();
    await typeOn(page, '8000');
    await page.locator('#pad .first').tap();
    await page.locator('input[value=psi]').tap();
    await page.locator('input[name=ok][value=yes]').tap();
    await keep('12-proof');
    await page.locator('button', { hasText: 'Save' }).tap();
    await page.waitForURL(/assembly\/1$/);
    assert.equal(bench.count('proof', (r) => r.ok && r.pressure_pa === 55158058 && r.operator === 'KJ'), 1);
    assert.equal(bench.count('check', (r) => r.points === 'length' && r.value_mm === 1219.2 && r.ok), 1);

    await page.goto(`${bench.url}/papers`);
    await keep('13-papers');
    const paper = await page.request.get(`${bench.url}/paper?kind=certificate&id=A-2001`);
    assert.equal(paper.headers()['content-type'], 'application/pdf');
    assert.equal((await paper.body()).subarray(0, 5).toString(), '%PDF-');
    await page.goto(`${bench.url}/pictures`);
    await keep('14-pictures');

    await page.goto(`${bench.url}/order/change`);
    await touch(page, 'Finish or set aside');
    await page.locator('#said').filter({ hasText: 'A-2001' }).waitFor(); // and can be taken back for a moment
    await keep('15-finished');
    await call(page, 'No order');
    assert.equal(bench.count('verdict', (r) => r.outcome === 'recrimp'), 1);
    assert.equal(bench.count('verdict', (r) => r.outcome === 'scrap'), 1);
    assert.deepEqual(page.faults, []);
  });
}

test('a whole order by the scanner alone', { timeout: 180000 }, async (t) => {
  const bench = await Bench.begin();
  t.after(() => bench.end());
  const page = await look(browser, bench, screens.panel);
  await page.goto(bench.url);
  const scan = (label) => scanInto(page, label);
  await call(page, 'No order');
  await scan('CAGE C-21');
  await page.locator('#said').filter({ hasText: 'cage C-21 is loaded' }).waitFor();
  await scan('ORDER A-2001');
  await call(page, 'Stroke: end A');
  await bench.crimp();
  await call(page, /Crimp again at/);
  await scan('DO SET');
  await page.locator('.setting em').waitFor({ state: 'detached' }); // the advised one is shown before it is set
  await bench.crimp();
  await call(page, 'First piece');
  await scan('DO FIRST');
  await page.locator('#said').filter({ hasText: 'by name' }).waitFor(); // nobody is named
  await fetch(`${bench.url}/do`, { method: 'POST', body: new URLSearchParams({ do: 'operator', operator: 'kj' }) }); // as a badge does
  await new Promise((go) => setTimeout(go, 2100)); // else it is the same label read twice
  await scan('DO FIRST');
  await call(page, 'Look at this end');
  await scan('DO GOOD');
  await call(page, /end B/);
  await bench.press('crimp');
  await bench.press('measure');
  await call(page, 'Measure place 2 of 3');
  await scan('DO UNDO');
  await call(page, 'Measure place 1 of 3');
  await bench.press('all');
  await page.locator('[data-verdict]').waitFor();
  await bench.crimp('thin');
  await call(page, 'Scrap this end');
  await scan('CHECK ring-25');
  await call(page, 'Measure ring-25');
  await bench.press('ring');
  await scan('4006381333931');
  await page.locator('#said').filter({ hasText: 'no label of this shop' }).waitFor();
  await picture(page, 'scanner-wrong-label');
  await scan('CAGE C-99');
  await page.locator('#said').filter({ hasText: 'needs cage C-21' }).waitFor();
  await scan('DO FINISH');
  await call(page, 'No order');
  assert.equal(bench.count('standard', (r) => r.state === 'done' && r.ok), 1);
  assert.equal(bench.count('undo'), 1);
  assert.deepEqual(page.faults, []);
});
