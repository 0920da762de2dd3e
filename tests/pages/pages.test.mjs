// The office's pages in a real browser. With SLOTWISE_PICTURES set to a folder, what was seen is
// left there.

import assert from 'node:assert/strict';
import { mkdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { after, before, test } from 'node:test';

import { Office } from './office.mjs';

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const pictures = process.env.SLOTWISE_PICTURES;

let office;
before(async () => {
  office = await Office.open();
});
after(async () => {
  await office?.close();
});

async function picture(page, name) {
  if (pictures === undefined) return;
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
}

const text = (page) => page.evaluate(() => document.body.innerText);

/// Addresses of one page of every kind, found by its own links.
async function everyKind(page) {
  await page.goto(`${office.address}/`);
  const link = (start) =>
    page.evaluate((start) => [...document.links].map((a) => a.getAttribute('href')).find((href) => href.startsWith(start)), start);
  const site = await link('/site?');
  assert.ok(site, 'the list has a site');
  await page.goto(office.address + site);
  const visit = await link('/visit?');
  assert.ok(visit, 'the site has a visit');
  return { sites: '/', found: '/?search=12', nothing: '/?search=nowhere', site, visit, testers: '/testers', pull: '/pull', lost: '/lost' };
}

for (const [form, width] of [['desk', 1280], ['telephone', 390]]) {
  test(`every page on a ${form}: accessible, within its width, nothing from elsewhere`, async () => {
    const page = await office.page(width);
    for (const [name, address] of Object.entries(await everyKind(page))) {
      const answer = await page.goto(office.address + address);
      assert.equal(answer.status(), name === 'lost' ? 404 : 200, address);
      await picture(page, `${name}-${form}`);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);
      assert.ok(wide <= 0, `${address} is ${wide} points too wide`);
      await page.evaluate(axe);
      const found = await page.evaluate(() => axe.run({ runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice'] }));
      assert.ok(found.passes.length > 5, 'the rules were run');
      const wrong = found.violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' | ').slice(0, 400)}`);
      assert.deepEqual(wrong, [], `${address} on a ${form}`);
      assert.equal(await page.evaluate(() => document.scripts.length), 0);
    }
    assert.deepEqual(page.strangers, []);
    // The browser's own word on the page that is not there.
    assert.deepEqual(page.complaints.filter((line) => !line.includes('404')), []);
    await page.close();
  });
}

/// Presses Tab until what has the focus says so.
async function tabTo(page, wanted) {
  for (let press = 0; press < 60; press += 1) {
    await page.keyboard.press('Tab');
    const name = await page.evaluate(() => {
      const at = document.activeElement;
      return at.getAttribute('name') ?? at.innerText.trim();
    });
    if (wanted(name)) return name;
  }
  throw new Error('nothing like that gets the focus by Tab');
}

async function enter(page) {
  await Promise.all([page.waitForNavigation(), page.keyboard.press('Enter')]);
}

test('from the list to a report by keyboard alone', async () => {
  const page = await office.page(1280);
  await page.goto(`${office.address}/`);
  await page.keyboard.press('Tab');
  assert.equal(await page.evaluate(() => document.activeElement.getAttribute('href')), '#content', 'the first stop leads past the links');
  await tabTo(page, (name) => name === 'search');
  await page.keyboard.type('terrace 12');
  await enter(page);
  assert.match(page.url(), /search=terrace\+12/);
  const site = await tabTo(page, (name) => name.startsWith('Larkfield'));
  const outline = await page.evaluate(() => getComputedStyle(document.activeElement).outlineWidth);
  assert.ok(parseFloat(outline) >= 2, `what has the focus is seen: ${outline}`);
  await enter(page);
  assert.equal(await page.evaluate(() => document.querySelector('h1').innerText), site);
  await tabTo(page, (name) => name === '1');
  await enter(page);
  assert.match(await text(page), /Where every number is from/);
  await page.close();
});

test('a tester is pulled from the page, by keyboard, with its progress', async () => {
  const page = await office.page(390);
  await page.goto(`${office.address}/pull`);
  const offered = await page.evaluate(() => [...document.querySelectorAll('option')].map(({ value }) => value));
  assert.ok(offered.includes(office.port), offered.join());
  await page.select('select', office.port);
  await tabTo(page, (name) => name === 'Pull');
  await enter(page);
  await page.waitForFunction(() => /records came in|ended early/.test(document.body.innerText));
  assert.match(await text(page), /records came in, \d+ of them new/);
  // The virtual tester of the tour has the same serial number and other records: that is told.
  assert.match(await text(page), /not as they should be/);
  await picture(page, 'pulled-telephone');
  await page.goto(`${office.address}/testers`);
  const testers = await page.evaluate(() => document.querySelectorAll('tbody tr').length);
  assert.ok(testers >= 1);
  assert.deepEqual(page.strangers, []);
  assert.deepEqual(page.complaints, []);
  await page.close();
});

test('a form that another site sends is refused', async () => {
  const page = await office.page(800);
  await page.goto('data:text/html,<form method=post action="' + `${office.address}/pull` + '"><input name=port value=x></form>');
  await Promise.all([page.waitForNavigation(), page.evaluate(() => document.forms[0].submit())]);
  assert.match(await text(page), /did not come from these pages/);
  await page.close();
});
