// Makes the README's pictures of pages: npm run pictures --prefix tests/pages

import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

import { Office } from './office.mjs';

const pictures = fileURLToPath(new URL('../../host/pictures', import.meta.url));
const office = await Office.open();
try {
  // The pages that `slotwise serve` shows.
  const site = await office.page(900, 400);
  await site.goto(`${office.address}/site?name=Larkfield%20Terrace%2012`);
  const height = await site.evaluate(() => Math.ceil(document.querySelector('main').getBoundingClientRect().bottom));
  await site.setViewport({ width: 900, height });
  await site.screenshot({ path: join(pictures, 'office.png') });

  // One record of the report of a whole log, at the gravest of the tour.
  const report = await office.page(1000, 800);
  await report.goto(pathToFileURL(join(office.folder, 'tour/report.html')));
  const record = await report.evaluateHandle(() =>
    [...document.querySelectorAll('h2, h3')]
      .filter((title) => title.textContent.includes('Number 4, furnace closet'))
      .map((title) => title.closest('section, article'))
      .find((record) => record.textContent.includes('DANGER')));
  await record.asElement().screenshot({ path: join(pictures, 'report.png') });
} finally {
  await office.close();
}
