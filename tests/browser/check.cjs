// Opens a page in headless Chromium without a network and tells, as JSON, what it finds.
// Usage: NODE_PATH=target/browser/node_modules node check.cjs CHROMIUM PAGE.html FOLDER
"use strict";
const fs = require("fs");
const path = require("path");
const puppeteer = require("puppeteer-core");

const [, , executablePath, page, folder] = process.argv;
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const address = "file://" + path.resolve(page);
// What can be printed on, in CSS pixels at 96 to the inch: the sheet less margins of 11 mm.
const mm = (v) => (v * 96) / 25.4;
const SHEETS = { A4: [210 - 22, 297 - 22], Letter: [215.9 - 22, 279.4 - 22] };

async function opened(browser, width, script) {
  const tab = await browser.newPage();
  const seen = { requests: [], talk: [] };
  tab.on("request", (r) => { if (r.url() !== address && !r.url().startsWith("data:")) { seen.requests.push(r.url()); } });
  tab.on("console", (m) => seen.talk.push(m.type() + ": " + m.text()));
  tab.on("pageerror", (e) => seen.talk.push("error: " + e.message));
  await tab.setViewport({ width, height: 844, deviceScaleFactor: width < 500 ? 2 : 1 });
  await tab.setJavaScriptEnabled(script);
  await tab.goto(address, { waitUntil: "load" });
  return [tab, seen];
}

const viewBox = (tab) => tab.$eval("#map", (e) => e.getAttribute("viewBox").split(/[ ,]+/).map(Number));

async function zoomed(tab) {
  const out = { whole: await viewBox(tab) };
  await tab.click('button[aria-label="Map nearer"]');
  await tab.click('button[aria-label="Map nearer"]');
  out.nearer = await viewBox(tab);
  await tab.$eval("#map", (e) => e.scrollIntoView({ block: "center" }));
  const at = await (await tab.$("#map")).boundingBox();
  const [cx, cy] = [at.x + at.width / 2, at.y + at.height / 2];
  await tab.mouse.move(cx, cy);
  await tab.mouse.down();
  await tab.mouse.move(cx - 60, cy - 20, { steps: 4 });
  await tab.mouse.up();
  out.dragged = await viewBox(tab);
  await tab.keyboard.down("Control");
  await tab.mouse.wheel({ deltaY: -300 });
  await tab.keyboard.up("Control");
  await new Promise((r) => setTimeout(r, 100));
  out.wheeled = await viewBox(tab);
  await tab.click('button[aria-label="Map farther"]');
  out.farther = await viewBox(tab);
  await tab.click('button[aria-label="Whole map"]');
  out.again = await viewBox(tab);
  await tab.evaluate(() => window.scrollTo(0, 0));
  return out;
}

// Everything that sticks out of the page to the side, and pictures higher than a sheet.
const outside = (tab, high) => tab.evaluate((high) => {
  const wide = document.documentElement.clientWidth;
  const out = [];
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg") && e.tagName.toLowerCase() !== "svg") { continue; }
    const box = e.getBoundingClientRect();
    if (box.width > 0 && (box.right > wide + 1 || box.left < -1)) { out.push(e.tagName + "." + e.className + " to " + box.right); }
    if (e.tagName.toLowerCase() === "svg" && box.height > high) { out.push("svg#" + e.id + " is " + box.height + " high"); }
  }
  return out;
}, high);

// Links and buttons to tap that are lower than a finger is wide.
const small = (tab) => tab.evaluate(() =>
  [...document.querySelectorAll("a.tap, nav a, button")].filter((e) => e.getBoundingClientRect().height < 43.5)
    .map((e) => e.textContent + " " + e.getBoundingClientRect().height));

// What axe-core says of the page as it is shown, and the colours it is shown in.
const judged = (tab) => tab.evaluate(async () => {
  const run = await axe.run(document);
  const told = (v) => ({ id: v.id, impact: v.impact, nodes: v.nodes.map((n) => n.html.slice(0, 200)) });
  const paper = getComputedStyle(document.body).backgroundColor;
  return { violations: run.violations.map(told), passes: run.passes.map((p) => p.id), paper };
});

(async () => {
  fs.mkdirSync(folder, { recursive: true });
  const browser = await puppeteer.launch({
    executablePath,
    headless: true,
    args: ["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=127.0.0.1:9"],
  });
  const result = { widths: {}, print: {} };
  for (const width of [390, 1280]) {
    const [tab, seen] = await opened(browser, width, true);
    const sizes = await tab.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    const zoom = await zoomed(tab);
    await tab.evaluate(axe);
    const found = {};
    for (const scheme of ["dark", "light"]) {
      await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
      found[scheme] = await judged(tab);
      const name = "screen-" + width + (scheme === "dark" ? "-dark" : "") + ".png";
      await tab.screenshot({ path: path.join(folder, name), fullPage: true });
    }
    result.widths[width] = {
      sizes, zoom, axe: found, outside: await outside(tab, 1e9), small: await small(tab), ...seen,
      title: await tab.title(),
      heading: await tab.$eval("h1", (e) => e.textContent),
      text: await tab.$eval("main", (e) => e.textContent),
      sections: await tab.$$eval("h2", (all) => all.map((e) => e.textContent)),
    };
    await tab.close();
  }
  const [still, seen] = await opened(browser, 390, false);
  await still.screenshot({ path: path.join(folder, "without-script-390.png"), fullPage: true });
  await still.close();
  result.withoutScript = seen;
  for (const [name, [wide, high]] of Object.entries(SHEETS)) {
    const [tab] = await opened(browser, Math.floor(mm(wide)), true);
    await tab.emulateMediaType("print");
    const out = await outside(tab, mm(high));
    await tab.emulateMediaType(null);
    const file = path.join(folder, name + ".pdf");
    await tab.pdf({ path: file, format: name });
    const pages = fs.readFileSync(file, "latin1").match(/\/Type\s*\/Page\b/g) || [];
    result.print[name] = { pages: pages.length, outside: out };
    await tab.close();
  }
  await browser.close();
  process.stdout.write(JSON.stringify(result));
})().catch((e) => { process.stderr.write(String(e && e.stack || e) + "\n"); process.exit(1); });
