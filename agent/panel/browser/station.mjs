// A station for the tests: the program as it runs beside a press, with a store of
// its own and tape lines in the place of the limit switch and the caliper.
import { execFileSync, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { setTimeout as wait } from 'node:timers/promises';
import { call, look, screens } from './bench.mjs';

const program = process.env.BENCHTALLY ?? '../../../bin/benchtally';

// Nothing here is a specification: the shop is invented.
const specs = `spec,cage,diameter,plus,minus,setting,recrimps,places,revision,note
hs-08,C-21,1.200in,0.005in,0.005in,120,1,,r3,invented
hs-12,C-30,38.00mm,0.10mm,0.10mm,200,0,,r2,invented
`;
const jobs = `order,quantity,a_spec,b_spec,reference,hose,hose_maker,hose_lot,a_fitting,a_maker,a_lot,a_cutoff,b_fitting,b_maker,b_lot,b_cutoff,length,length_plus,length_minus,angle,working,note
A-1001,2,hs-08,hs-08,loader 4,two-wire 8,M1,H-76,swivel 8,M1,F-11,1.25in,elbow 8,M1,F-12,1.95in,48in,,,90,4000psi,cap both ends
A-1002,1,hs-08,hs-12,,two-wire 8,M1,H-76,swivel 8,M1,F-11,31mm,flange 12,F2,F-31,60mm,900mm,10mm,4mm,,,
`;
const config = (port, page) => `[press]
name = "north-bench"
topic = "riverside/hose-shop"
[switch]
line = "GPIO17"
[caliper]
port = "/dev/caliper0"
[store]
path = "bench.db"
[page]
listen = "127.0.0.1:${port}"
${page}
[[specs]]
file = "specs.csv"
[[jobs]]
file = "jobs.csv"
[[standards]]
name = "ring-25"
value = "25.000mm"
`;

// Readings of a crimp of hs-08, which wants 1.200 in ± 0.005 in.
export const readings = {
  within: ['+1.2000', '+1.2005', '+1.1995'],
  large: ['+1.2080', '+1.2085', '+1.2080'], // the sheet allows one more crimp
  under: ['+1.1900', '+1.1905', '+1.1900'], // nothing undoes that
};

export class Station {
  // page are further lines of the configuration's section of that name.
  constructor(page = '') {
    this.page = page;
    this.folder = mkdtempSync(join(tmpdir(), 'station-'));
    this.records = [];
    writeFileSync(join(this.folder, 'specs.csv'), specs);
    writeFileSync(join(this.folder, 'jobs.csv'), jobs);
    this.configure(0);
  }

  // configure says where the page listens; 0: wherever there is room.
  configure(port) { writeFileSync(this.config, config(port, this.page)); }

  get config() { return join(this.folder, 'bench.toml'); }

  // command runs another command of the program and gives what it prints.
  command(input, ...args) {
    return execFileSync(program, [...args, '--config', this.config], { input, encoding: 'utf8', stdio: ['pipe', 'pipe', 'ignore'] });
  }

  // begin starts the program; begun anew, its page has the same address.
  async begin() {
    this.process = spawn(program, ['run', '--config', this.config, '--inputs', '-'], { stdio: 'pipe' });
    this.gone = once(this.process, 'exit');
    createInterface(this.process.stdout).on('line', (line) => this.records.push(JSON.parse(line)));
    const said = [];
    const address = new Promise((tell) => {
      createInterface(this.process.stderr).on('line', (line) => {
        said.push(line);
        const found = /msg=page address=(\S+)/.exec(line);
        if (found) tell(found[1]);
      });
    });
    this.url = await Promise.race([address, this.gone.then(() => { throw new Error(`the program ended: ${said.join('\n')}`); })]);
    this.configure(new URL(this.url).port);
    return this;
  }

  say(line) { this.process.stdin.write(`${JSON.stringify(line)}\n`); }

  // stroke closes the press once, and waits until the next one would be another.
  async stroke() {
    const before = this.count('stroke');
    this.say({ level: 0 });
    await wait(600); // a busy machine may read this late
    this.say({ level: 1 });
    await this.until(() => this.count('stroke') > before, 'the stroke is not kept');
    await wait(500);
  }

  // measure sends readings as the caliper does when its button is pressed; the
  // same one sooner than in 0.3 s would be one press of it.
  async measure(...texts) {
    for (const text of texts) {
      const before = this.count('reading');
      this.say({ text: `${text}\r\n` });
      await this.until(() => this.count('reading') > before, `the reading ${text} is not kept`);
      await wait(350);
    }
  }

  // count is how many records of a kind were kept.
  count(kind) { return this.records.filter((r) => r.kind === kind).length; }

  // kept waits for a record with these values.
  async kept(want) {
    const found = () => this.records.findLast((r) => Object.entries(want).every(([k, v]) => r[k] === v));
    await this.until(found, `no record has ${JSON.stringify(want)}`);
    return found();
  }

  // until waits for what happens within ten seconds.
  async until(happened, otherwise) {
    for (const end = performance.now() + 10000; !happened(); await wait(20)) {
      if (performance.now() > end) throw new Error(`${otherwise}; the last records are ${JSON.stringify(this.records.slice(-3))}`);
    }
  }

  // cut ends the program as a power cut does.
  async cut() {
    this.process.kill('SIGKILL');
    await this.gone;
  }

  async end() {
    this.process.kill('SIGCONT');
    this.process.kill();
    await this.gone;
    rmSync(this.folder, { recursive: true });
  }
}

// crimped is a station and its panel, with an order whose first stroke can be taken back.
export async function crimped(t, browser) {
  const station = await new Station().begin();
  t.after(() => station.end());
  station.say({ do: 'start', order: 'A-1001', operator: 'kj' });
  await station.kept({ kind: 'start' });
  await station.stroke();
  const page = await look(browser, station, screens.panel);
  await page.goto(station.url);
  await call(page, 'Measure place 1 of 3');
  return { station, page };
}
