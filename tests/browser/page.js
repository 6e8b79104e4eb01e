// The local page in Chromium: node page.js [FOLDER FOR SCREENSHOTS]
// Holds: the sample kitchen, typed cell by cell, gets the command line's numbers; so does a scan that is dropped; the slider
// moves bags as --datum does; depths typed at pins plan the rest anew as --poured does; the handover comes as one file; a reload keeps what was typed; at 360 pixels nothing is cut off and fingers hit; axe finds
// nothing in the light and in the dark; no request goes elsewhere and nothing is refused by the page's own policy.
import assert from "node:assert/strict";
import { execFileSync, spawn } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const root = new URL("../..", import.meta.url).pathname;
const lowspot = process.env.LOWSPOT ?? join(root, "target/debug/lowspot");
const kitchen = join(root, "sample-surveys/weavers-kitchen");
const workshop = join(root, "sample-surveys/loom-workshop");
const [pictures] = process.argv.slice(2);
const axe = readFileSync(new URL("node_modules/axe-core/axe.min.js", import.meta.url), "utf8");

// What the command line says, whatever its exit code.
function commandLine(...args) {
  try {
    return JSON.parse(execFileSync(lowspot, [...args, "--json"]));
  } catch (error) {
    if (error.status !== 1) throw error;
    return JSON.parse(error.stdout);
  }
}

async function serve() {
  const server = spawn(lowspot, ["serve", "--port", "0"]);
  const url = await new Promise((resolve) => {
    server.stdout.on("data", (said) => resolve(/http:\S+/.exec(said)[0]));
  });
  return { server, url };
}

const { server, url } = await serve();
const profile = mkdtempSync(join(tmpdir(), "lowspot-browser-"));
const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  userDataDir: profile,
  args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"],
});
const page = await browser.newPage();
const asked = [];
const errors = [];
page.on("request", (request) => asked.push(request.url()));
page.on("pageerror", (error) => errors.push(String(error)));
page.on("console", (line) => line.type() === "error" && errors.push(line.text()));
page.on("dialog", (dialog) => dialog.accept());

const text = (selector) => page.$eval(selector, (found) => found.innerText);
const said = (words) => page.waitForFunction((wanted) => document.getElementById("said").textContent.includes(wanted), { timeout: 60000 }, words);
async function step(name) {
  await page.click(`[data-step=${name}]`);
  await page.waitForSelector(`section#${name}:not([hidden])`, { timeout: 5000 });
}
async function put(selector, value) {
  await page.click(selector, { clickCount: 3 });
  await page.type(selector, value);
}
async function shoot(name) {
  if (pictures) await page.screenshot({ path: join(pictures, `${name}.png`), fullPage: !name.includes("-360") });
}

async function typeTheKitchen() {
  await put("[data-grid=spacing]", "0.4");
  await put("[data-grid=x0]", "0.2");
  await put("[data-grid=y0]", "0.2");
  await put("[data-grid=across]", "9");
  const rows = readFileSync(join(kitchen, "survey.csv"), "utf8").trim().split("\n").slice(1);
  await page.click('#grid [data-row="0"][data-column="0"]');
  for (const row of rows) {
    for (const reading of row.split(",").slice(1)) {
      await page.keyboard.type(reading);
      await page.keyboard.press("Enter");
    }
  }
}

async function typedNumbers() {
  const started = Date.now();
  await put("[data-state=classes]", "SR2");
  await said("SR2 outside");
  console.log(`first answer after ${Date.now() - started} ms with 61 readings`);
  const check = commandLine("check", join(kitchen, "survey.csv"), "--class", "SR2");
  await step("floor");
  const gap = check.straightedge[0];
  assert.match(await text("#facts"), new RegExp(`${gap.worst_gap_mm.toFixed(1)} mm under 2 m`));
  assert.ok((await text("#verdicts")).includes(check.classes[0].reason));
  assert.ok((await text("#facts")).includes(`${check.level.range_mm.toFixed(1)} mm`));
  await shoot("floor-1400");
}

async function pour() {
  await step("room");
  await put("[data-state=exit_x]", "3.4");
  await put("[data-state=exit_y]", "1");
  await step("plan");
  await page.select("#sheet-choice", "0");
  const args = ["pour", join(kitchen, "survey.csv"), "--compound", join(kitchen, "compound.toml"), "--exit", "3.4,1"];
  const plan = commandLine(...args);
  await said(`${plan.order.bags} bags`);
  assert.ok((await text("#order")).includes(`${plan.order.price.toFixed(2)} EUR`));
  assert.equal((await page.$$("#batches tbody tr")).length, plan.batches.length);
  const level = Number(await page.$eval("#datum", (input) => input.value));
  await page.focus("#datum");
  for (let press = 0; press < 6; press += 1) await page.keyboard.press("ArrowRight");
  const raised = Number(await page.$eval("#datum", (input) => input.value));
  assert.ok(raised > level);
  const higher = commandLine(...args, "--datum", `${-raised}mm`);
  await said(`${higher.order.bags} bags`);
  await page.waitForFunction((mm) => document.getElementById("datum-said").textContent.includes(mm), {}, (-raised).toFixed(1));
  assert.notEqual(plan.order.bags, higher.order.bags);
  console.log(`slider: ${plan.order.bags} bags at ${level}, ${higher.order.bags} at ${raised}`);
  await page.click("#datum-auto");
  await said(`${plan.order.bags} bags`);
  const box = await (await page.$("#map-svg")).boundingBox();
  await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
  await page.waitForFunction(() => /: \d+\.\d mm deep$/.test(document.getElementById("tapped").textContent));
  console.log(`tapped: ${await text("#tapped")}`);
  await shoot("pour-1400");
  await step("now");
  await page.waitForSelector("#card button.main");
  await page.click("#card button.main");
  await page.click("#card button.main");
  await page.waitForFunction(() => document.getElementById("down").innerText.includes("Batch 1"));
  assert.equal((await page.$$("#down li")).length, 1, "a finger that taps twice pours one batch");
  assert.ok(await page.$eval("#level", (level) => level.inert), "what batches were planned from stays while they are down");
  await shoot("now-1400");
}

// Batch 1 took more than planned: the rest is what --poured says of it.
async function replan() {
  const args = ["pour", join(kitchen, "survey.csv"), "--compound", join(kitchen, "compound.toml"), "--exit", "3.4,1", "--bags", "5"];
  const plan = commandLine(...args.slice(0, -2));
  const pin = plan.pins.find((one) => one.batch === 1);
  const used = plan.batches[0].bags + 1;
  const depth = Number((pin.depth_mm + 2).toFixed(1));
  writeFileSync(join(profile, "down.csv"), `batch,bags,point,depth_mm\n1,${used},,\n,,${pin.name},${depth}\n`);
  const { rest } = commandLine(...args, "--poured", join(profile, "down.csv"));
  await put("[data-state=bags_on_site]", "5");
  await put("#down li input", String(used));
  await page.click("#down summary");
  const label = `${pin.name}, planned ${pin.depth_mm.toFixed(0)}`;
  const field = await page.waitForSelector(`::-p-xpath(//label[starts-with(., "${label}")]/input)`);
  await field.type(String(depth));
  const bags = (count) => (count === 1 ? "1 bag" : count === 0.5 ? "half a bag" : `${count} bags`);
  await page.waitForFunction((words) => document.getElementById("rest").innerText.includes(words), {}, `${bags(rest.bags_left)} left`);
  await page.waitForFunction((words) => document.getElementById("rest").innerText.includes(words), {}, `${rest.off.mean_mm.toFixed(1)} mm thicker`);
  const said = await text("#rest");
  assert.equal(said.includes("It is enough."), rest.enough);
  if (!rest.enough) assert.ok(said.includes(`${bags(rest.bags_missing)} more`) && said.includes(`${rest.drop_mm.toFixed(1)} mm lower`), said);
  assert.ok((await text("#card")).includes(`${rest.batches[0].liquid_l.toFixed(1)} l`));
  console.log(`planned anew: ${said.replaceAll("\n", " ")}`);
  await shoot("rest-1400");
}

// The same kitchen read after its pour, and all of it as one file.
async function handover() {
  await step("after");
  await page.click("[name=after-how][value=files]");
  await (await page.$("#after-pick")).uploadFile(join(kitchen, "after.csv"));
  await put("[data-state=mark_before]", "1187");
  await put("[data-state=mark_after]", "1187");
  await put("[data-state=bags_used]", "5");
  await put("[data-state=job]", "Weaver's kitchen");
  const found = commandLine("compare", join(kitchen, "survey.csv"), join(kitchen, "after.csv"), "--class", "SR2",
    "--benchmark-before", "1187mm", "--benchmark-after", "1187mm", "--compound", join(kitchen, "compound.toml"), "--bags-used", "5");
  await page.waitForFunction((words) => document.getElementById("compare").innerText.includes(words), {}, `${found.laid.mean_mm.toFixed(1)} mm`);
  await shoot("after-1400");
  const session = await browser.target().createCDPSession();
  await session.send("Browser.setDownloadBehavior", { behavior: "allow", downloadPath: profile });
  await page.click("#handover");
  await page.waitForFunction(() => /^Done/.test(document.getElementById("handover-said").textContent), { timeout: 60000 });
  const zip = join(profile, "handover.zip");
  for (let wait = 0; wait < 100 && !existsSync(zip); wait += 1) await new Promise((done) => setTimeout(done, 100));
  execFileSync("python3", ["-m", "zipfile", "-e", zip, join(profile, "handover")]);
  const list = JSON.parse(readFileSync(join(profile, "handover/handover.json")));
  assert.deepEqual(readdirSync(join(profile, "handover")).sort(), list.files);
  assert.match(readFileSync(join(profile, "handover/inputs.sha256"), "utf8"), /^[0-9a-f]{64} {2}\d+\/after\.csv$/m);
  const report = await browser.newPage();
  await report.goto(pathToFileURL(join(profile, "handover/report.html")).href);
  const words = await report.$eval("main", (main) => main.innerText);
  assert.ok(words.includes("Weaver's kitchen") && words.includes("What was done") && words.includes(found.after.classes[0].reason.slice(1)));
  assert.ok(!words.includes(tmpdir()), "no folder of the server in the report");
  await report.close();
  console.log(`the handover: ${list.files.length} files`);
}

async function survivesAReload() {
  const before = await page.evaluate(() => localStorage.getItem("lowspot-floor"));
  await new Promise((done) => setTimeout(done, 300));
  await page.reload();
  await said("SR2 outside");
  assert.ok(before !== null);
  await step("measure");
  const kept = await page.$$eval("#grid td input", (cells) => cells.map((cell) => cell.value));
  assert.equal(kept.filter(Boolean).length, 61);
  const [csv, survey] = [await page.evaluate(() => import("/entry.js").then((entry) => entry.csv())), readFileSync(join(kitchen, "survey.csv"), "utf8")];
  const numbers = (table) => table.trim().split("\n").map((line) => line.split(",").map((cell) => (cell === "" || Number.isNaN(Number(cell)) ? cell : Number(cell))));
  assert.deepEqual(numbers(csv), numbers(survey));
  console.log("a reload keeps all readings; the CSV is the sample's");
}

async function phone() {
  for (const scheme of ["light", "dark"]) {
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
    for (const width of [360, 1400]) {
      await page.setViewport({ width, height: width === 360 ? 740 : 900, hasTouch: width === 360, isMobile: false });
      for (const name of ["measure", "room", "floor", "plan", "now", "after"]) {
        await step(name);
        const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
        assert.ok(wide <= 0, `${name} is ${wide} pixels too wide at ${width}`);
        const small = await page.evaluate(() => [...document.querySelectorAll("button, select, main input:not([type=radio]), summary, .button, #map-links a")]
          .filter((one) => one.checkVisibility() && !one.classList.contains("visually-hidden"))
          .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect()])
          .filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([html]) => html));
        assert.deepEqual(small, [], `${name} at ${width}: too small for a finger`);
        await page.evaluate(axe);
        const found = await page.evaluate(() => window.axe.run({ resultTypes: ["violations"] }));
        const broken = found.violations.map((one) => `${one.id} (${one.impact}): ${one.nodes[0].target} ${one.nodes[0].failureSummary}`);
        assert.deepEqual(broken, [], `${name} at ${width}, ${scheme}`);
        await shoot(`${name}-${width}-${scheme}`);
      }
    }
  }
  console.log("six steps at 360 and 1400 pixels, light and dark: nothing cut off, fingers hit, axe finds nothing");
}

// With wet hands: the large keypad leaves the cell in sight, and types into it alone.
async function keypad() {
  await page.setViewport({ width: 360, height: 740, hasTouch: true, isMobile: false });
  await step("now");
  await page.evaluate(() => [...document.querySelectorAll("#down button")].at(-1).click());
  await page.waitForFunction(() => !document.getElementById("by-hand").inert);
  await step("measure");
  await page.evaluate(() => document.getElementById("keypad").childElementCount || document.getElementById("keypad-on").click());
  for (let row = 0; row < 7; row += 1) {
    const free = await page.evaluate((at) => {
      const cell = document.querySelector(`#grid [data-row="${at}"][data-column="2"]`);
      cell.focus();
      cell.setSelectionRange(4, 4);
      const [box, keys, heading] = [cell, document.getElementById("keypad"), document.querySelector("header")].map((one) => one.getBoundingClientRect());
      return box.bottom <= keys.top && box.top >= heading.bottom && box.left >= cell.closest("tr").querySelector("th").getBoundingClientRect().right;
    }, row);
    assert.ok(free, `row ${row} lies behind something`);
  }
  const before = await page.$eval('#grid [data-row="6"][data-column="2"]', (cell) => cell.value);
  await page.evaluate(() => [...document.querySelectorAll("#keypad button")].find((key) => key.textContent === "⌫").click());
  const after = await page.$eval('#grid [data-row="6"][data-column="2"]', (cell) => cell.value);
  assert.equal(after.length, before.length - 1);
  console.log("the keypad leaves every cell in sight");
}

// A table that is pasted after the pour goes to its own places and leaves the survey before as it was.
async function pasteAfter() {
  await page.setViewport({ width: 1400, height: 900 });
  await step("after");
  await page.click("[name=after-how][value=typed]");
  await page.evaluate(() => {
    const data = new DataTransfer();
    data.setData("text", "staff_mm\t0.6\t1\n0.2\t1251\t1252\n0.6\t1253\t1254");
    document.querySelector("#after-grid input").dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }));
  });
  assert.equal(await page.$eval('#after-grid [data-row="1"][data-column="2"]', (cell) => cell.value), "1254");
  assert.equal(await page.$$eval("#grid td input", (cells) => cells.filter((cell) => cell.value).length), 61);
  console.log("a table pasted after the pour leaves the survey before as it was");
}

async function scan() {
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: "light" }]);
  await page.setViewport({ width: 1400, height: 900 });
  await step("measure");
  await page.click("#empty");
  await page.waitForFunction(() => document.getElementById("said").textContent.startsWith("Type"));
  const bytes = readFileSync(join(workshop, "scan.laz")).toString("base64");
  await page.evaluate((base64) => {
    const data = new DataTransfer();
    data.items.add(new File([Uint8Array.from(atob(base64), (c) => c.charCodeAt(0))], "scan.laz"));
    dispatchEvent(new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
  }, bytes);
  const check = commandLine("check", join(workshop, "scan.laz"));
  await said(`gap ${check.straightedge[0].worst_gap_mm.toFixed(1)} mm`);
  await step("floor");
  assert.ok((await text("#facts")).includes(check.survey.points_used.toLocaleString("en-GB")));
  await shoot("scan-1400");
  console.log("a scan that is dropped gets the command line's numbers");
}

try {
  await page.setViewport({ width: 1400, height: 900 });
  await page.goto(url);
  await typeTheKitchen();
  await typedNumbers();
  await pour();
  await replan();
  await handover();
  await survivesAReload();
  await phone();
  await keypad();
  await pasteAfter();
  await scan();
  assert.deepEqual(errors, []);
  assert.deepEqual(asked.filter((one) => !one.startsWith(url) && !one.startsWith("blob:") && !one.startsWith("data:")), []);
  console.log("no request went elsewhere");
} catch (error) {
  await shoot("failed");
  console.log(errors);
  throw error;
} finally {
  await browser.close();
  rmSync(profile, { recursive: true, force: true });
  const ended = new Promise((done) => server.on("exit", done));
  server.kill("SIGINT");
  assert.equal(await ended, 0);
}
