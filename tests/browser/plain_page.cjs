// Opens a page that has no script in headless Chromium and tells, as JSON, what axe-core (WCAG 2) finds and how wide
// it is, by day and by night, on a phone and on a desk.
// Usage: NODE_PATH=target/browser/node_modules node plain_page.cjs CHROMIUM PAGE.html
"use strict";
const fs = require("fs");
const path = require("path");
const puppeteer = require("puppeteer-core");

const [, , executablePath, page] = process.argv;
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const runOnly = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];

(async () => {
  const browser = await puppeteer.launch({ executablePath, args: ["--no-sandbox"], headless: true });
  const found = [];
  for (const scheme of ["light", "dark"]) {
    for (const width of [360, 1280]) {
      const tab = await browser.newPage();
      const requests = [];
      const address = "file://" + path.resolve(page);
      tab.on("request", (r) => { if (r.url() !== address && !r.url().startsWith("data:")) { requests.push(r.url()); } });
      await tab.setViewport({ width, height: 800 });
      await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
      await tab.setBypassCSP(true);
      await tab.goto(address, { waitUntil: "load" });
      await tab.evaluate(axe);
      const result = await tab.evaluate((runOnly) => axe.run(document, { runOnly }), runOnly);
      const wide = await tab.evaluate(() => document.documentElement.scrollWidth);
      const violations = result.violations.map((v) => `${v.id}: ${v.nodes[0].html}`);
      found.push({ scheme, width, wide, requests, violations, passes: result.passes.map((p) => p.id) });
      await tab.close();
    }
  }
  await browser.close();
  console.log(JSON.stringify(found));
})();
