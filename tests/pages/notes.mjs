// The hardware notes as a reader sees them, page by page: npm run notes --prefix tests/pages -- FOLDER
//
// Each hardware/*.md, rendered by a browser at the width of a sheet of A4, as pictures NAME-1.png,
// NAME-2.png ... in FOLDER. Fails if a picture of the notes is missing, or if anything is wider than the page.

import { mkdir, readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

import { marked } from 'marked';
import puppeteer from 'puppeteer-core';

import { browserProgram } from './office.mjs';

const notes = fileURLToPath(new URL('../../hardware', import.meta.url));
const folder = process.argv[2] ?? join(notes, 'figures/notes');
// A4 at 96 points an inch.
const [width, height] = [794, 1123];
const style = `body { font: 13px/1.45 sans-serif; margin: 40px 48px; overflow-wrap: break-word }
  table { border-collapse: collapse; margin: 8px 0 } td, th { border: 1px solid #999; padding: 3px 6px; text-align: left; vertical-align: top }
  th { white-space: nowrap }
  pre, code { font: 12px monospace; background: #f2f2f2 } pre { padding: 8px; overflow: visible } img { max-width: 100% }`;

await mkdir(folder, { recursive: true });
const browser = await puppeteer.launch({ executablePath: browserProgram(), args: ['--no-sandbox', '--allow-file-access-from-files'] });
let faults = 0;
try {
  for (const name of (await readdir(notes)).filter((name) => name.endsWith('.md')).sort()) {
    const page = await browser.newPage();
    await page.setViewport({ width, height });
    // Pictures are found beside the note.
    await page.goto(pathToFileURL(join(notes, 'LICENSE')).href);
    const body = await marked.parse(await readFile(join(notes, name), 'utf8'));
    await page.evaluate((html) => { document.documentElement.innerHTML = html; }, `<head><style>${style}</style></head><body>${body}</body>`);
    // Every link to a figure is a page of the notes, too.
    const seen = await page.evaluate(async () => {
      for (const link of document.querySelectorAll('a[href$=".png"]')) {
        const picture = document.createElement('img');
        picture.src = link.href;
        link.closest('p, li, td').append(document.createElement('br'), picture);
      }
      const pictures = [...document.images];
      await Promise.all(pictures.map((picture) => picture.decode().catch(() => {})));
      return {
        missing: pictures.filter((picture) => picture.naturalWidth === 0).map((picture) => picture.src),
        pictures: pictures.length,
        tall: document.documentElement.scrollHeight,
        wide: document.documentElement.scrollWidth,
      };
    });
    const sheets = Math.ceil(seen.tall / height);
    for (let sheet = 0; sheet < sheets; sheet += 1) {
      const clip = { x: 0, y: sheet * height, width: Math.max(width, seen.wide), height: Math.min(height, seen.tall - sheet * height) };
      await page.screenshot({ path: join(folder, `${name.replace('.md', '')}-${sheet + 1}.png`), clip, captureBeyondViewport: true });
    }
    console.log(`${name}: ${sheets} pages, ${seen.pictures} pictures`);
    for (const source of seen.missing) { faults += 1; console.error(`${name}: no picture ${source}`); }
    if (seen.wide > width) { faults += 1; console.error(`${name}: ${seen.wide} points wide, a page has ${width}`); }
    await page.close();
  }
} finally {
  await browser.close();
}
process.exitCode = faults === 0 ? 0 : 1;
