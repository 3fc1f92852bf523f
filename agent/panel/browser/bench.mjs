// A bench for the tests: the program with a simulated press and caliper that wait
// for the test, and a browser that is a panel, a tablet or a telephone.
import { spawn } from 'node:child_process';
import { mkdirSync } from 'node:fs';
import { createServer } from 'node:net';
import { chromium } from 'playwright-core';

const program = process.env.BENCHTALLY ?? '../../../bin/benchtally';
const pictures = process.env.SCREENSHOTS ?? '/tmp/benchtally-screenshots';
mkdirSync(pictures, { recursive: true });

export const screens = {
  panel: { width: 800, height: 480 },
  tablet: { width: 1280, height: 800 },
  telephone: { width: 390, height: 844 },
};

// views are those that the page has, with an assembly of a running order.
export const views = ['/', '/menu', '/order', '/order/change', '/order/lots', '/start', '/start/typed', '/assemblies', '/assembly/1', '/assembly/1/length', '/assembly/1/proof', '/setting', '/last', '/last/measure', '/scrap', '/cage', '/cage/load', '/cage/teardown', '/caliper', '/caliper/checks', '/who', '/papers', '/pictures', '/language', '/links'];

// freePort is a port that nobody listens at.
function freePort() {
  return new Promise((done) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const { port } = server.address();
      server.close(() => done(port));
    });
  });
}

// Bench is a running demo in which the test is the technician at the press.
export class Bench {
  static async begin(port) {
    const bench = new Bench();
    bench.port = port ?? await freePort();
    bench.url = `http://127.0.0.1:${bench.port}`;
    bench.records = [];
    bench.process = spawn(program, ['demo', '--try', '--json', '--listen', `127.0.0.1:${bench.port}`], { stdio: ['ignore', 'pipe', 'inherit'] });
    let rest = '';
    bench.process.stdout.on('data', (text) => {
      const lines = (rest + text).split('\n');
      rest = lines.pop();
      for (const line of lines) bench.records.push(JSON.parse(line));
    });
    for (let tries = 0; ; tries++) {
      try {
        await fetch(`${bench.url}/`);
        return bench;
      } catch (why) {
        if (tries > 200) throw why;
        await new Promise((go) => setTimeout(go, 50));
      }
    }
  }

  // act does what a touch on another page would do; it must be done.
  async act(fields) {
    const got = await fetch(`${this.url}/do`, { method: 'POST', headers: { Accept: 'application/json' }, body: new URLSearchParams(fields) });
    if (!got.ok) throw new Error(`${fields.do}: ${await got.text()}`);
  }

  // press does one thing at the simulated press or caliper.
  async press(what) {
    const got = await fetch(`${this.url}/practice`, { method: 'POST', body: new URLSearchParams({ do: what }) });
    if (!got.ok) throw new Error(`${what}: ${await got.text()}`);
  }

  // crimp closes the press on a hose end and measures all its places.
  async crimp(wall) {
    if (wall) await this.press(wall);
    await this.press('crimp');
    await this.press('all');
  }

  // count is how many records of a kind there are.
  count(kind, also = () => true) {
    return this.records.filter((r) => r.kind === kind && also(r)).length;
  }

  async end() {
    if (process.env.TELL) for (const r of this.records) console.error(r.at, r.kind, r.piece, r.place, r.raw, r.reason, r.operator);
    this.process.kill('SIGCONT');
    this.process.kill();
    await new Promise((done) => this.process.once('exit', done));
  }
}

export function openBrowser() {
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'],
  });
}

// look opens a page at a screen and keeps its faults: errors of its script, and
// requests to anywhere else.
export async function look(browser, bench, screen, options = {}) {
  const context = await browser.newContext({ viewport: screen, hasTouch: true, reducedMotion: 'reduce', ...options });
  const page = await context.newPage();
  page.faults = [];
  page.on('pageerror', (e) => page.faults.push(`script: ${e.message}`));
  page.on('request', (r) => {
    if (!r.url().startsWith(bench.url) && !r.url().startsWith('blob:')) page.faults.push(`a request to ${r.url()}`);
  });
  return page;
}

// picture keeps a screenshot to be looked at.
export async function picture(page, name) {
  for (let tries = 1; ; tries++) {
    try {
      return await page.screenshot({ path: `${pictures}/${name}.png` });
    } catch (why) { // a page that is just being left cannot be drawn
      if (tries === 5) throw why;
      await new Promise((go) => setTimeout(go, 200));
    }
  }
}

// call waits until the page's one call says something.
export async function call(page, text) {
  await page.locator('#step h1').filter({ hasText: text }).waitFor({ timeout: 15000 });
}

// touch taps the key or link with a label.
export async function touch(page, label) {
  await page.locator('.key:visible').filter({ hasText: label }).first().tap();
}

// scan types a label as a scanner does, with Enter behind it. Its keys carry times
// 5 ms apart, so that a busy machine makes no slow hand of it.
export async function scan(page, label) {
  const session = await page.context().newCDPSession(page);
  const keys = [...label].map((char) => ({ key: char, text: char, code: char === ' ' ? 'Space' : '', windowsVirtualKeyCode: char === ' ' ? 32 : char.toUpperCase().charCodeAt(0) }));
  keys.push({ key: 'Enter', text: '\r', code: 'Enter', windowsVirtualKeyCode: 13 });
  const begin = Date.now() / 1000;
  await Promise.all(keys.flatMap((key, n) => [
    session.send('Input.dispatchKeyEvent', { type: 'keyDown', ...key, timestamp: begin + n * 0.005 }),
    session.send('Input.dispatchKeyEvent', { type: 'keyUp', ...key, text: undefined, timestamp: begin + n * 0.005 + 0.002 }),
  ]));
  await session.detach();
}
