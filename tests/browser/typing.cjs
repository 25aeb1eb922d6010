// Types on the page of a plan in headless Chromium faster than it answers, and tells, as JSON, what became of it.
// Usage: NODE_PATH=target/browser/node_modules node typing.cjs CHROMIUM ADDRESS
"use strict";
const puppeteer = require("puppeteer-core");

const [, , executablePath, address] = process.argv;
const put = (tab, id, value) => tab.evaluate((id, value) => {
  const field = document.getElementById(id);
  field.value = value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}, id, value);
const value = (tab, id) => tab.$eval(`[id="${id}"]`, (e) => e.value);
const press = (tab, query) => tab.$eval(query, (e) => e.click());

(async () => {
  const browser = await puppeteer.launch({ executablePath, headless: true, args: ["--no-sandbox", "--disable-gpu"] });
  const opened = async () => {
    const tab = await browser.newPage();
    tab.setDefaultTimeout(60000);
    await tab.goto(new URL("/plan?name=plan.toml", address).href);
    return tab;
  };
  const first = await browser.newPage();
  await first.goto(address);
  const tab = await opened();
  const state = () => tab.evaluate(async () => (await fetch("/plan/state?name=plan.toml")).json());
  const until = (test, wanted) => tab.waitForFunction(async (test, wanted) => {
    const now = await (await fetch("/plan/state?name=plan.toml")).json();
    return now[test] === wanted || now.values[test] === wanted;
  }, { polling: 200 }, test, wanted);
  const seen = {};

  // A button in the same moment as the last key.
  await put(tab, "flight.name", "At the last moment");
  await press(tab, "[data-do=save]");
  await until("said", "All is saved.");
  seen.saved = (await state()).values["flight.name"];

  // Another key while a button is being answered.
  await tab.setRequestInterception(true);
  let held = [];
  const let_go = () => { held.forEach((request) => request.continue()); held = null; };
  tab.on("request", (request) => { if (held && request.url().endsWith("/plan/undo")) { held.push(request); } else { request.continue(); } });
  await press(tab, "[data-do=undo]");
  await put(tab, "limits.max_drift", "70 km");
  await new Promise((done) => setTimeout(done, 500));
  let_go();
  await until("limits.max_drift", "70 km");
  seen.meanwhile = [await value(tab, "flight.name"), await value(tab, "limits.max_drift")];

  // A row of the load that another page has taken away while this one does not hear of it.
  await tab.setRequestInterception(false);
  const second = await opened();
  await tab.bringToFront();
  const step = (await state()).step;
  await tab.evaluate(() => { document.getElementById("load.1.mass").value = "9 kg"; });
  await second.evaluate((step) => fetch("/plan/row", { method: "POST", body: new URLSearchParams({ name: "plan.toml", step, remove: "0" }) }), step);
  await put(tab, "load.1.mass", "9 kg");
  await until("load.0.name", "camera box");
  await new Promise((done) => setTimeout(done, 1500));
  const now = await state();
  seen.rows = Object.keys(now.values).filter((id) => /^load.*mass$/.test(id)).map((id) => now.values[id]);
  await browser.close();
  process.stdout.write(JSON.stringify(seen) + "\n");
  process.exit(0);
})().catch((e) => { process.stderr.write(String(e && e.stack || e) + "\n"); process.exit(1); });
