// A plan is open in headless Chromium while its desk is killed, and again when it is started anew. Tells, as JSON, what
// the page says. It asks for the next desk by a line on standard output, and reads its address from standard input.
// Usage: NODE_PATH=target/browser/node_modules node restart.cjs CHROMIUM ADDRESS
"use strict";
const readline = require("readline");
const puppeteer = require("puppeteer-core");

const [, , executablePath, address] = process.argv;
const LONG = 60000;
const type = async (tab, id, value) => {
  await tab.$eval(`[id="${id}"]`, (e) => { e.scrollIntoView({ block: "center" }); e.focus(); e.select(); });
  await tab.keyboard.type(value);
};
const saved = (tab) => tab.$eval("#saved", (e) => e.textContent);
const says = (tab, words) => tab.waitForFunction((words) => document.getElementById("saved").textContent.includes(words), {}, words);

(async () => {
  const lines = readline.createInterface({ input: process.stdin })[Symbol.asyncIterator]();
  const browser = await puppeteer.launch({ executablePath, headless: true, args: ["--no-sandbox", "--disable-gpu"] });
  const tab = await browser.newPage();
  tab.setDefaultTimeout(LONG);
  const plan = async (address) => {
    await tab.goto(address);
    await tab.goto(new URL("/plan?name=plan.toml", address).href);
  };
  await plan(address);
  await type(tab, "balloon.mass", "1000 g");
  // The desk has heard of the last key, and the page of the desk.
  await tab.waitForFunction(async () => (await (await fetch("/plan/state?name=plan.toml")).json()).values["balloon.mass"] === "1000 g", { polling: 200 });
  await says(tab, "Not saved yet");
  const said = [await saved(tab)];
  // A flight that is followed: what is said of it, and whether it is shown as old.
  const flying = () => tab.evaluate(() => [document.getElementById("job-said").textContent, document.querySelector("[data-made=flying]").classList.contains("old")]);
  const work_says = (words) => tab.waitForFunction((words) => document.getElementById("job-said").textContent.includes(words), {}, words);
  await tab.evaluate(() => fetch("/job", { method: "POST", body: new URLSearchParams({ name: "plan.toml", what: "follow", file: "receiver.csv", grows: "yes" }) }).then(() => 0));
  await work_says("Following");
  const work = [await flying()];
  process.stdout.write("kill\n");
  await lines.next();
  await type(tab, "flight.name", "Typed into nothing");
  await says(tab, "does not answer");
  said.push(await saved(tab));
  await tab.waitForSelector("[data-made=flying].old");
  work.push(await flying(), await tab.$eval("#job-share", (e) => e.hidden));
  process.stdout.write("start\n");
  await plan((await lines.next()).value);
  said.push(await saved(tab));
  const values = [];
  for (const id of ["balloon.mass", "flight.name"]) { values.push(await tab.$eval(`[id="${id}"]`, (e) => e.value)); }
  await browser.close();
  process.stdout.write(JSON.stringify({ said, values, work }) + "\n");
  process.exit(0);
})().catch((e) => { process.stderr.write(String(e && e.stack || e) + "\n"); process.exit(1); });
