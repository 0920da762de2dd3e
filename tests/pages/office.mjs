// An office in a folder of its own: the archive of a tour, the pages served from it, a virtual
// tester to pull from, and a browser.

import { spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

import puppeteer from 'puppeteer-core';

const root = fileURLToPath(new URL('../..', import.meta.url));
const target = process.env.CARGO_TARGET_DIR ?? join(root, 'target');

/// The host program, as `cargo build --workspace` leaves it; SLOTWISE_PROGRAM names another.
export const program = resolve(process.env.SLOTWISE_PROGRAM ?? join(target, 'debug/slotwise'));

/// A browser of the Chromium family; SLOTWISE_BROWSER names another.
export function browserProgram() {
  const named = process.env.SLOTWISE_BROWSER;
  const known = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'];
  const found = named ?? known.find((file) => existsSync(file));
  if (found === undefined) throw new Error(`no browser at ${known.join(', ')}: install chromium, or name one in SLOTWISE_BROWSER`);
  return found;
}

/// Starts the program; resolves with the child and its first line on standard output.
async function firstLine(args) {
  const child = spawn(program, args, { stdio: ['ignore', 'pipe', 'inherit'] });
  for await (const line of createInterface({ input: child.stdout })) {
    // Nobody reads the rest: let it flow.
    child.stdout.resume();
    return { child, line };
  }
  throw new Error(`slotwise ${args.join(' ')} ended without a word`);
}

export class Office {
  static async open() {
    const office = new Office();
    office.folder = mkdtempSync(join(tmpdir(), 'slotwise-pages-'));
    const tour = join(office.folder, 'tour');
    const toured = spawnSync(program, ['tour', '--quiet', '--json', '--out', tour], { encoding: 'utf8', maxBuffer: 1 << 28 });
    if (toured.status !== 0 && toured.status !== 11) throw new Error(`tour: ${toured.status} ${toured.stderr}`);
    const bench = await firstLine(['bench', '--receptacle', 'reversed-polarity']);
    office.port = bench.line.trim();
    const archive = join(tour, 'office.db');
    const serve = await firstLine([
      'serve', '--archive', archive, '--port', '0', '--tester-port', office.port, '--prepared-by', 'Tern & Fell Heating',
    ]);
    office.address = /http:\/\/\S+?(?=\/)/.exec(serve.line)[0];
    office.children = [bench.child, serve.child];
    office.browser = await puppeteer.launch({
      executablePath: browserProgram(),
      // A machine with much else to do is slow, not wrong.
      timeout: 180_000,
      protocolTimeout: 600_000,
      args: ['--no-sandbox', '--disable-dev-shm-usage', '--disable-gpu', '--disable-background-networking'],
    });
    return office;
  }

  /// A page of this width whose requests and complaints are kept.
  async page(width, height = 900) {
    const page = await this.browser.newPage();
    await page.setViewport({ width, height });
    page.setDefaultTimeout(180_000);
    page.strangers = [];
    page.complaints = [];
    page.on('request', (request) => {
      const url = request.url();
      if (!url.startsWith(`${this.address}/`) && !url.startsWith('data:')) page.strangers.push(url);
    });
    page.on('console', (message) => {
      if (['error', 'warn'].includes(message.type())) page.complaints.push(message.text());
    });
    page.on('pageerror', (error) => page.complaints.push(String(error)));
    return page;
  }

  async close() {
    await this.browser?.close();
    for (const child of this.children ?? []) child.kill();
    rmSync(this.folder, { recursive: true, force: true });
  }
}
