// The report of a sample in Chromium: node report.js [FOLDER OF A BUNDLE [FOLDER FOR SCREENSHOTS]]
// Holds: valid HTML; no rule of axe is broken, in the light and in the dark; no request goes out; a map is read off where
// one points; at 360 pixels nothing but tables and maps, which scroll by themselves, is wider than the screen; and without
// JavaScript all of it is there.
import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { HtmlValidate } from "html-validate";
import puppeteer from "puppeteer-core";

const sample = new URL("../../sample-surveys/weavers-cottage/expected/handover", import.meta.url).pathname;
const [bundle = sample, pictures] = process.argv.slice(2);
const file = resolve(bundle, "report.html");
const html = readFileSync(file, "utf8");
const axe = readFileSync(new URL("node_modules/axe-core/axe.min.js", import.meta.url), "utf8");

const validator = new HtmlValidate({
  extends: ["html-validate:recommended"],
  // The drawings say their own size and colours.
  rules: { "no-inline-style": "off", "long-title": "off", "require-sri": "off" },
});
const report = await validator.validateString(html);
const wrong = report.results.flatMap((result) => result.messages);
assert.deepEqual(wrong.slice(0, 10).map((one) => `${one.line}:${one.column} ${one.ruleId}: ${one.message}`), []);
console.log("valid");

const profile = mkdtempSync(join(tmpdir(), "lowspot-browser-"));
const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  userDataDir: profile,
  args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"],
});
try {
  const page = await browser.newPage();
  const asked = [];
  page.on("request", (request) => asked.push(request.url()));
  const errors = [];
  page.on("pageerror", (error) => errors.push(String(error)));
  const open = async (width, scheme) => {
    await page.setViewport({ width, height: 800 });
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
    await page.goto(pathToFileURL(file).href);
  };

  for (const scheme of ["light", "dark"]) {
    await open(1200, scheme);
    await page.evaluate(axe);
    const found = await page.evaluate(() => window.axe.run());
    const broken = found.violations.map((one) => `${one.id}: ${one.nodes[0].target} ${one.nodes[0].failureSummary}`);
    assert.deepEqual(broken, [], scheme);
    console.log(`accessible in the ${scheme}: ${found.passes.length} rules kept`);
  }

  await open(1200, "light");
  const map = await page.$("figure.map svg");
  await map.scrollIntoView();
  const box = await map.boundingBox();
  const frame = await page.$eval("figure.map", (figure) => figure.dataset.frame.split(" ").map(Number));
  const at = (share) => [
    box.x + box.width * (frame[0] + share * (frame[2] - frame[0])),
    box.y + box.height * (frame[1] + share * (frame[3] - frame[1])),
  ];
  const readOff = () => page.$eval("figure.map .read-out", (said) => said.textContent);
  const before = await readOff();
  await page.mouse.move(...at(0.5));
  const middle = await readOff();
  assert.match(middle, /^x \d+\.\d\d, y \d+\.\d\d m · deviation -?\d+\.\d mm · depth -?\d+\.\d mm$/);
  await page.mouse.move(...at(0.35));
  assert.notEqual(await readOff(), middle);
  await page.mouse.move(box.x + 2, box.y + 2);
  assert.equal(await readOff(), before);
  // What is read in the middle lies midway between the corners that the figure states.
  const corners = await page.$eval("figure.map", (figure) => [figure.dataset.low, figure.dataset.high].map((one) => one.split(" ").map(Number)));
  const [x, y] = middle.match(/\d+\.\d\d/g).map(Number);
  assert.ok(Math.abs(x - (corners[0][0] + corners[1][0]) / 2) < 0.02, middle);
  assert.ok(Math.abs(y - (corners[0][1] + corners[1][1]) / 2) < 0.02, middle);
  console.log(`read off: ${middle}`);

  for (const [width, scheme] of [[360, "light"], [360, "dark"], [1200, "light"]]) {
    await open(width, scheme);
    const wide = await page.evaluate(() => {
      const inside = (one) => one.closest(".table, .sheet") !== null;
      const all = [...document.querySelectorAll("main *")].filter((one) => !inside(one));
      return all.filter((one) => one.getBoundingClientRect().right > innerWidth + 0.5).map((one) => one.outerHTML.slice(0, 80));
    });
    assert.deepEqual(wide, [], `${width}`);
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${width}`);
    if (pictures) {
      await page.screenshot({ path: join(pictures, `${width}-${scheme}.png`), fullPage: true });
    }
  }
  console.log("nothing is cut off at 360 pixels");

  await page.setJavaScriptEnabled(false);
  await open(1200, "light");
  const without = await page.$eval("main", (main) => main.innerText);
  await page.setJavaScriptEnabled(true);
  assert.ok(without.includes("What was asked") && without.includes("Signatures"));
  const named = await page.$$eval("figure.map circle title", (titles) => titles.length);
  assert.ok(named > 0, "no place on a map says what it is");
  console.log(`without JavaScript: ${named} places on the maps say what they are`);

  assert.deepEqual(errors, []);
  const outside = asked.filter((url) => !url.startsWith("file:") && !url.startsWith("data:"));
  assert.deepEqual(outside, []);
  console.log("no request went out");
} finally {
  await browser.close();
  rmSync(profile, { recursive: true, force: true });
}
