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
  const tab = await browser.newPage();
  tab.setDefaultTimeout(60000);
  await tab.goto(address);
  await tab.goto(new URL("/plan?name=plan.toml", address).href);
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
  let held = [], gone = false;
  const let_go = () => { held.forEach((request) => request.continue()); held = null; };
  tab.on("request", (request) => {
    if (gone) { request.abort(); } else if (held && request.url().endsWith("/plan/undo")) { held.push(request); } else { request.continue(); }
  });
  await press(tab, "[data-do=undo]");
  await put(tab, "limits.max_drift", "70 km");
  await new Promise((done) => setTimeout(done, 500));
  let_go();
  await until("limits.max_drift", "70 km");
  seen.meanwhile = [await value(tab, "flight.name"), await value(tab, "limits.max_drift")];

  // Rows of the load that another page has changed while this one does not hear of it.
  const deaf = await browser.newPage();
  await deaf.setRequestInterception(true);
  deaf.on("request", (request) => (request.url().endsWith("/pulse") ? request.abort() : request.continue()));
  await deaf.goto(new URL("/plan?name=plan.toml", address).href);
  await tab.evaluate(async () => {
    const change = (more) => fetch("/plan/row", { method: "POST", body: new URLSearchParams({ name: "plan.toml", ...more }) });
    const { step } = await (await fetch("/plan/state?name=plan.toml")).json();
    await change({ step, remove: "0" });
    await change({});
  });
  await put(deaf, "load.1.mass", "9 kg");
  await deaf.waitForFunction(() => document.getElementById("load.1.mass").value === "1.40 kg");
  await put(deaf, "limits.max_drift", "60 km");
  await until("limits.max_drift", "60 km");
  // Winds that somebody else put into the plan have no box here yet: an edit leaves them in it.
  await tab.evaluate(async () => {
    const { step, text } = await (await fetch("/plan/state?name=plan.toml")).json();
    const more = text.replace('files = ["riverton', 'files = ["other.csv", "riverton').replace('gas = "helium"', 'gas = "neon"');
    await fetch("/plan/text", { method: "POST", body: new URLSearchParams({ name: "plan.toml", step, text: more }) });
  });
  for (const name of ["First", "Second"]) {
    await put(deaf, "flight.name", name);
    await until("flight.name", name);
  }
  const now = await state();
  seen.rows = Object.keys(now.values).filter((id) => /^load.*mass$/.test(id)).map((id) => now.values[id]);
  seen.lists = [now.values["wind.files"], now.values["balloon.gas"]];

  // Half-typed text while another page changes the plan: it stays, and is not put over what that changed.
  await tab.goto(new URL("/plan?name=plan.toml", address).href);
  await tab.bringToFront();
  const add = () => tab.$eval("#whole", (e) => { e.value += "# mine\n"; e.dispatchEvent(new Event("input", { bubbles: true })); });
  const typed = (wanted) => tab.waitForFunction((wanted) => document.getElementById("whole").value.includes(wanted), {}, wanted);
  await add();
  await put(deaf, "flight.name", "Third");
  await tab.waitForFunction(() => document.getElementById("flight.name").value === "Third");
  await press(tab, "#text form button");
  await tab.waitForFunction(() => document.getElementById("saved").textContent.includes("empty the box"));
  seen.half = [(await state()).text.includes("# mine"), (await value(tab, "whole")).includes("# mine")];
  await tab.reload();
  await typed("# mine");
  // Emptied by hand it stays so, for another plan to be pasted there, while others change the plan; left, it shows that.
  await tab.focus("#whole");
  await tab.keyboard.down("Control");
  await tab.keyboard.press("a");
  await tab.keyboard.up("Control");
  await tab.keyboard.press("Backspace");
  await put(deaf, "flight.name", "Fourth");
  await tab.waitForFunction(() => document.getElementById("flight.name").value === "Fourth");
  seen.empty = await value(tab, "whole");
  await put(deaf, "flight.name", "Third");
  await tab.waitForFunction(() => document.getElementById("flight.name").value === "Third");
  await tab.$eval("#whole", (e) => e.blur());
  await typed("Third");
  await add();
  await tab.keyboard.down("Control");
  await tab.keyboard.press("s");
  await tab.keyboard.up("Control");
  await until("said", "All is saved.");
  seen.whole = [(await state()).text.includes("# mine"), (await state()).values["flight.name"]];

  // Work for another plan: whose it is, and nothing to stop it with.
  const ask = (path, fields) => tab.evaluate((path, fields) => fetch(path, { method: "POST", body: new URLSearchParams(fields) }).then(() => 0), path, fields);
  await ask("/job", { name: "other.toml", what: "follow", file: "receiver.csv", grows: "yes" });
  await tab.waitForFunction(() => document.getElementById("job-said").textContent.startsWith("other.toml: "));
  seen.stop = await tab.$eval("#job form", (e) => e.hidden);
  await ask("/job/stop", {});
  await tab.waitForFunction(() => document.getElementById("job-said").textContent === "No work is going on.");
  // What is refused meanwhile stays to be read, though the work goes on being told.
  await ask("/job", { name: "other.toml", what: "follow", file: "receiver.csv", grows: "yes" });
  await tab.$eval("[data-job] [name=what][value=brief]", (e) => e.form.requestSubmit());
  const said = () => tab.$eval("#job-said", (e) => e.textContent);
  await tab.waitForFunction(() => document.getElementById("job-said").textContent.includes("other work is going on"));
  await new Promise((done) => setTimeout(done, 1500));
  seen.refused = await said();
  // But no longer than that work does, whoever ends it.
  const says = (words) => tab.waitForFunction((words) => document.getElementById("job-said").textContent === words, { timeout: 10000 }, words);
  await ask("/job/stop", {});
  await says("No work is going on.");

  // What was typed while the desk was out of reach is sent when it is there again.
  const hidden = (hidden) => tab.evaluate((hidden) => {
    Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
    document.dispatchEvent(new Event("visibilitychange"));
  }, hidden);
  gone = true;
  await hidden(true);
  await hidden(false);
  await put(tab, "flight.name", "Out of reach");
  await tab.waitForSelector("[data-made=flying].old");
  seen.away = await tab.$eval("#saved", (e) => e.textContent);
  gone = false;
  await until("flight.name", "Out of reach");
  await tab.waitForFunction(() => document.getElementById("saved").textContent.startsWith("Not saved yet"));

  // Work of this page's own plan in the way of more, and stopped here.
  await tab.goto(new URL("/plan?name=other.toml", address).href);
  await ask("/job", { name: "other.toml", what: "follow", file: "receiver.csv", grows: "yes" });
  await says("Following the flight");
  await tab.$eval("[data-job] [name=what][value=brief]", (e) => e.form.requestSubmit());
  await tab.waitForFunction(() => document.getElementById("job-said").textContent.includes("other work is going on"));
  await press(tab, "#job button");
  await says("Stopped.");
  await browser.close();
  process.stdout.write(JSON.stringify(seen) + "\n");
  process.exit(0);
})().catch((e) => { process.stderr.write(String(e && e.stack || e) + "\n"); process.exit(1); });
