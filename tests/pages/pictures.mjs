// Makes the README's picture of the office's pages: npm run pictures --prefix tests/pages

import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

import { Office } from './office.mjs';

const pictures = fileURLToPath(new URL('../../host/pictures', import.meta.url));
const office = await Office.open();
try {
  const page = await office.page(900, 400);
  await page.goto(`${office.address}/site?name=Larkfield%20Terrace%2012`);
  const height = await page.evaluate(() => Math.ceil(document.querySelector('main').getBoundingClientRect().bottom));
  await page.setViewport({ width: 900, height });
  await page.screenshot({ path: join(pictures, 'office.png') });
} finally {
  await office.close();
}
