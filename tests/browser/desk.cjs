// Goes the whole way on the desk in headless Chromium, from an empty folder to a briefing, and tells, as JSON, what it
// finds. Usage: NODE_PATH=target/browser/node_modules node desk.cjs CHROMIUM ADDRESS WINDS FOLDER
"use strict";
const fs = require("fs");
const path = require("path");
const puppeteer = require("puppeteer-core");

const [, , executablePath, address, winds, folder] = process.argv;
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const origin = new URL(address).origin;
const LONG = 120000;

// What axe-core says by all of WCAG 2.2 AA, in both colour schemes; a screenshot of each.
async function judged(tab, name, width) {
  const out = {};
  await tab.setViewport({ width, height: 844 });
  for (const scheme of ["light", "dark"]) {
    await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }, { name: "prefers-reduced-motion", value: "reduce" }]);
    await tab.screenshot({ path: path.join(folder, `${name}-${width}-${scheme}.png`), fullPage: true });
    // Injected through the protocol: the page itself runs nothing that is not ours.
    out[scheme] = await tab.evaluate(async (source) => {
      if (!window.axe) { (0, eval)(source); }
      const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
      const run = await window.axe.run(document, { runOnly: tags, resultTypes: ["violations", "passes"], iframes: false });
      const told = (v) => ({ id: v.id, impact: v.impact, nodes: v.nodes.map((n) => n.html.slice(0, 160) + " " + n.failureSummary) });
      return { violations: run.violations.map(told), passes: run.passes.map((p) => p.id) };
    }, axe);
  }
  return out;
}

// How far the page is wider than the screen: 320 px is 1280 px at 400 %.
const tooWide = async (tab, width) => {
  await tab.setViewport({ width, height: 844 });
  return tab.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
};

const text = (tab, query) => tab.$eval(query, (e) => e.textContent.trim());
const number = (tab, id) => tab.$eval(`[id="${id}"]`, (e) => Number(e.value));
const type = async (tab, id, value) => {
  await tab.$eval(`[id="${id}"]`, (e) => { e.scrollIntoView({ block: "center" }); e.focus(); e.select(); });
  await tab.keyboard.type(value);
};

(async () => {
  fs.mkdirSync(folder, { recursive: true });
  const browser = await puppeteer.launch({
    executablePath,
    headless: true,
    protocolTimeout: 2 * LONG,
    args: ["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"],
  });
  const result = { foreign: [], talk: [], axe: {}, wide: {}, seen: {} };
  const tab = await browser.newPage();
  tab.setDefaultTimeout(LONG);
  await tab.setBypassCSP(true);
  const listen = (page) => {
    page.on("request", (r) => { if (!r.url().startsWith(origin) && !/^(data|about):/.test(r.url())) { result.foreign.push(r.url()); } });
    page.on("console", (m) => { if (m.type() === "error" && !/status of (409|422)/.test(m.text())) { result.talk.push(m.text()); } });
    page.on("pageerror", (e) => result.talk.push("error: " + e.message));
  };
  listen(tab);
  // What was asked for and is not answered yet; what a page that was left had asked for never is.
  const unanswered = new Set();
  tab.on("request", (request) => unanswered.add(request));
  tab.on("response", (response) => unanswered.delete(response.request()));
  tab.on("requestfailed", (request) => unanswered.delete(request));
  tab.on("framenavigated", () => unanswered.clear());
  const atRest = async () => {
    const until = Date.now() + LONG;
    for (let still = 0; still < 10; still = unanswered.size ? 0 : still + 1) {
      if (Date.now() > until) { throw new Error("never at rest: " + [...unanswered].map((request) => request.url()).join(" ")); }
      await new Promise((done) => setTimeout(done, 100));
    }
  };
  const { seen } = result;

  // The key leaves the address bar.
  await tab.goto(address);
  seen.address = tab.url();
  result.axe.home = { 390: await judged(tab, "home", 390), 1280: await judged(tab, "home", 1280) };
  result.wide.home = [await tooWide(tab, 320), await tooWide(tab, 390), await tooWide(tab, 1280)];

  // A place by two clicks on the world, then by its name.
  await tab.$eval("#world svg", (e) => e.scrollIntoView({ block: "center" }));
  const world = await (await tab.$("#world svg")).boundingBox();
  const click = () => tab.mouse.click(world.x + world.width * 0.26, world.y + world.height * 0.27);
  await click();
  await tab.waitForFunction(() => /^\d.*, -/.test(document.getElementById("place").value));
  seen.clicked = await tab.$eval("#place", (e) => e.value);
  for (const [id, value] of [["file", "first"], ["place", "Allegan"], ["release", "2026-05-09 08:00"], ["balloon", "1200"], ["load", "8.5 lb"], ["parachute", "7 ft"]]) { await type(tab, id, value); }
  await Promise.all([tab.waitForNavigation(), tab.keyboard.press("Enter")]);
  seen.faults = await tab.$$eval("p.wrong", (all) => all.map((e) => e.textContent.trim()).filter(Boolean));
  seen.focus = await tab.evaluate(() => document.activeElement.className);
  result.axe.faults = { 390: await judged(tab, "faults", 390) };
  await type(tab, "balloon", "1200 g");
  await type(tab, "place", "Allegan, MI");
  await Promise.all([tab.waitForNavigation(), tab.keyboard.press("Enter")]);
  seen.plan = await text(tab, "h1");

  // The winds of the sample, brought as a file.
  await (await tab.$("#dropped")).uploadFile(winds);
  await Promise.all([tab.waitForNavigation(), tab.$eval("#drop button", (e) => e.click())]);
  const zone = () => tab.waitForFunction(() => document.querySelector("#map [data-layer=track] path") && /9 in 10/.test(document.querySelector("[data-part=zone]").textContent));
  await zone();
  await tab.waitForFunction(() => document.querySelector("#map [data-layer=roads]"));
  await tab.setViewport({ width: 1280, height: 844 });
  seen.zone = await text(tab, "[data-part=zone] .lead");

  // Typed: the plan's own words at the field, and then another zone; the newest answer stands.
  await type(tab, "balloon.mass", "12");
  await tab.waitForFunction(() => document.getElementById("balloon.mass-wrong").textContent.startsWith('found "12"'));
  seen.wrong = await text(tab, '[id="balloon.mass-wrong"]');
  seen.invalid = await tab.$eval('[id="balloon.mass"]', (e) => e.getAttribute("aria-invalid"));
  await type(tab, "balloon.mass", "800 g");
  await tab.waitForFunction((before) => {
    const e = document.querySelector("[data-part=zone] .lead");
    return e && /9 in 10/.test(e.textContent) && e.textContent.trim() !== before && !document.querySelector("[aria-invalid=true]");
  }, {}, seen.zone);
  seen.typed = await text(tab, "[data-part=zone] .lead");
  await tab.waitForFunction(() => !document.querySelector("[data-do=undo]").disabled);
  seen.saved = await text(tab, "#saved");

  // Another page sees it without being asked.
  const second = await browser.newPage();
  listen(second);
  second.setDefaultTimeout(LONG);
  await second.goto(tab.url().split("#")[0]);
  await second.bringToFront();
  await type(second, "flight.name", "From the second page");
  await tab.bringToFront();
  await tab.waitForFunction(() => document.getElementById("flight.name").value === "From the second page");
  seen.second = [await tab.$eval('[id="flight.name"]', (e) => e.value), await tab.$eval('[id="balloon.mass"]', (e) => e.value)];
  await second.close();
  // Nothing that was asked for before draws the map anew from here on.
  await atRest();

  // The map: keys, wheel, drag, the release by a click, a measured way.
  const box = () => tab.$eval("#map", (e) => e.getAttribute("viewBox").split(" ").map(Number));
  seen.boxes = [await box()];
  await tab.focus("#map-sheet");
  await tab.keyboard.press("+");
  await tab.keyboard.press("+");
  seen.boxes.push(await box());
  await tab.keyboard.press("ArrowRight");
  seen.boxes.push(await box());
  // A point of the map as it is on the screen now, as shares of its sides.
  const point = async (right, down) => {
    await tab.$eval("#map-sheet", (e) => e.scrollIntoView({ block: "center" }));
    const at = await (await tab.$("#map")).boundingBox();
    return [at.x + right * at.width, at.y + down * at.height];
  };
  const drag = async (from, to) => { await tab.mouse.move(...from); await tab.mouse.down(); await tab.mouse.move(...to, { steps: 5 }); await tab.mouse.up(); };
  await drag(await point(0.5, 0.5), await point(0.6, 0.55));
  seen.boxes.push(await box());
  await tab.click("[data-zoom=all]");
  seen.boxes.push(await box());
  await tab.click("[name=mode][value=measure]");
  await tab.mouse.click(...(await point(0.4, 0.5)));
  await tab.mouse.click(...(await point(0.6, 0.5)));
  await tab.waitForFunction(() => document.getElementById("map-said").textContent);
  seen.measured = await text(tab, "#map-said");
  await tab.click("[name=mode][value=site]");
  seen.site = [await number(tab, "site.lat")];
  await tab.mouse.click(...(await point(0.5, 0.3)));
  await tab.waitForFunction((was) => Number(document.getElementById("site.lat").value) !== was, {}, seen.site[0]);
  seen.site.push(await number(tab, "site.lat"));
  await tab.click("[data-do=undo]");
  await tab.waitForFunction((was) => Number(document.getElementById("site.lat").value) === was, {}, seen.site[0]);
  await tab.click("[name=mode][value=look]");
  seen.layers = await tab.evaluate(() => {
    const box = document.querySelector("[data-switch=track]");
    box.closest("details").open = true;
    box.click();
    const hidden = document.querySelector("#map [data-layer=track]").style.display;
    box.click();
    return [hidden, document.querySelector("#map [data-layer=track]").style.display];
  });
  await tab.$eval("#along", (e) => { e.value = 20; e.dispatchEvent(new Event("input")); });
  seen.along = await text(tab, "#along-said");
  // No name of the ground lies under one of the flight.
  seen.under = await tab.evaluate(() => {
    const boxes = (part) => [...document.querySelectorAll(`#map [data-part=${part}] text`)].filter((e) => e.style.visibility !== "hidden").map((e) => e.getBoundingClientRect());
    const above = boxes("above"), below = boxes("below");
    const under = below.filter((a) => above.some((b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom));
    return [above.length > 5, below.length > 3, under.length];
  });

  // The days, one of which is taken by its row.
  await type(tab, "days-every", "3 h");
  await type(tab, "days-from", "2026-05-09");
  await type(tab, "days-to", "2026-05-09");
  await tab.$eval("#days .work button", (e) => e.click());
  await tab.waitForSelector("[data-made=days] table");
  seen.days = await tab.$$eval("[data-made=days] tbody tr", (all) => all.length);
  const was = await tab.$eval('[id="flight.release"]', (e) => e.value);
  await tab.$eval("[data-made=days] tbody tr form button", (e) => e.click());
  await tab.waitForFunction((was) => document.getElementById("flight.release").value !== was, {}, was);
  seen.release = [was, await tab.$eval('[id="flight.release"]', (e) => e.value)];

  // The briefing.
  await tab.$eval("#briefing .work button", (e) => e.click());
  await tab.waitForSelector("[data-made=briefing] iframe");
  seen.files = await tab.$$eval(".files li", (all) => all.length);
  const frame = await (await tab.$("[data-made=briefing] iframe")).contentFrame();
  await tab.$eval("[data-made=briefing] iframe", (e) => e.scrollIntoView());
  await frame.waitForFunction(() => document.querySelector("h1"));
  seen.briefing = await frame.$eval("h1", (e) => e.textContent);

  // Saved by a key.
  await tab.keyboard.down("Control");
  await tab.keyboard.press("s");
  await tab.keyboard.up("Control");
  await tab.waitForFunction(() => document.querySelector("[data-do=save]").disabled);
  seen.last = await text(tab, "#saved");

  // How long a change takes to be on the page, from the last key.
  const times = [];
  for (const mass of ["810 g", "820 g", "830 g", "840 g", "850 g"]) {
    await tab.$eval('[id="balloon.mass"]', (e, mass) => { e.value = mass; }, mass);
    times.push(await tab.evaluate(() => new Promise((done) => {
      const part = document.querySelector("[data-part=zone]");
      const since = performance.now();
      const watch = new MutationObserver(() => { watch.disconnect(); done(performance.now() - since); });
      watch.observe(part, { childList: true });
      document.getElementById("balloon.mass").dispatchEvent(new Event("input", { bubbles: true }));
    })));
  }
  result.milliseconds = times.map(Math.round);

  // By keys alone: the first stop leads past what is above, every stop is seen.
  await tab.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = false; }));
  await tab.focus("header .name");
  await tab.keyboard.down("Shift");
  await tab.keyboard.press("Tab");
  await tab.keyboard.up("Shift");
  seen.stops = [];
  for (let i = 0; i < 40; i++) {
    if (i) { await tab.keyboard.press("Tab"); }
    seen.stops.push(await tab.evaluate(() => {
      const e = document.activeElement;
      const outline = getComputedStyle(e).outlineStyle !== "none";
      return [e.tagName, e.id || e.name || e.textContent.trim().slice(0, 20), outline];
    }));
  }

  result.wide.plan = [await tooWide(tab, 320), await tooWide(tab, 390), await tooWide(tab, 1280)];
  await tab.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true; }));
  result.axe.plan = { 390: await judged(tab, "plan", 390), 1280: await judged(tab, "plan", 1280) };
  result.wide.open = [await tooWide(tab, 320), await tooWide(tab, 390)];
  await tab.setViewport({ width: 1280, height: 844 });
  await tab.evaluate(() => { document.querySelectorAll("details").forEach((d) => { d.open = false; }); window.scrollTo(0, 0); });
  await tab.emulateMediaFeatures([{ name: "prefers-color-scheme", value: "light" }]);
  await tab.screenshot({ path: path.join(folder, "first-sight-1280.png") });

  // Without its script: the forms and what follows from them are all there.
  const still = await browser.newPage();
  still.setDefaultTimeout(LONG);
  await still.setJavaScriptEnabled(false);
  await still.setViewport({ width: 390, height: 844 });
  await still.goto(tab.url().split("#")[0]);
  await still.screenshot({ path: path.join(folder, "without-script-390.png"), fullPage: true });
  result.still = [await still.$$eval("button.apply", (all) => all.filter((e) => e.getBoundingClientRect().height > 0).length), await still.$$eval("#days form[action='/job']", (all) => all.length)];
  await still.close();
  await tab.goto(origin + "/compare?old=first.toml&new=first-briefing%2Fzone.geojson");
  result.axe.compare = { 390: await judged(tab, "compare", 390) };
  seen.compared = await text(tab, "main pre");
  await browser.close();
  process.stdout.write(JSON.stringify(result));
})().catch((e) => { process.stderr.write(String(e && e.stack || e) + "\n"); process.exit(1); });
