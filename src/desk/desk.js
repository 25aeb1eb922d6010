// The page of the desk: sends what is typed, shows what follows, moves the map. Everything that changes a plan is a
// form that works without this, too.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const all = (query, from = document) => [...from.querySelectorAll(query)];
  const page = Math.random().toString(36).slice(2);
  const words = JSON.parse(document.body.dataset.words);
  document.body.classList.add("script");

  const asked = { Accept: "application/json" };
  const post = (address, fields) =>
    fetch(address, { method: "POST", headers: asked, body: address === "/winds/drop" ? fields : new URLSearchParams(fields) });
  const json = async (answer) => {
    if (answer.status === 401) { say(words.anew); }
    return answer.json();
  };
  const say = (text) => { const at = $("saved") || $("map-said"); if (at) { at.textContent = text; } };

  // Why the desk does not answer; nothing where it does.
  const silence = () => fetch("/alive").then((answer) => (answer.status === 401 ? words.anew : ""), () => words.silent);
  // What did not work, where the answer itself does not say.
  const failed = (answer) => ({ 401: words.anew, 408: words.slow })[answer && answer.status] || words.failed;
  const asks = async (address, fields) => {
    let answer = null;
    try {
      answer = await post(address, fields);
      return await json(answer);
    } catch (gone) { return { error: await silence() || failed(answer) }; }
  };
  // Somebody looks: the desk stays open.
  let silent = false;
  setInterval(async () => {
    const why = await silence();
    if (why) { say(why); } else if (silent && main) { again(); }
    silent = Boolean(why);
  }, 240000);
  const summary = document.querySelector("[data-focus]");
  if (summary) { summary.focus(); }

  // The world, on which a new plan's place is found by coming nearer.
  const world = $("world");
  if (world) { worldMap(world); }
  function worldMap(box) {
    const svg = box.querySelector("svg");
    const [below, own] = ["below", "own"].map((part) => box.querySelector(`[data-part=${part}]`));
    const first = { box: svg.getAttribute("viewBox"), below: below.innerHTML };
    const steps = [600000, 60000, 15000];
    let frame = null, step = 0;
    const mark = (x, y, r) => {
      own.innerHTML = `<circle class="line" cx="${x}" cy="${y}" r="${r}" stroke-width="${r / 4}"/>`;
    };
    const near = async (lat, lon) => {
      $("place").value = `${lat.toFixed(4)}, ${lon.toFixed(4)}`;
      const half = steps[Math.min(step, steps.length - 1)];
      step += 1;
      frame = `${lat.toFixed(4)},${lon.toFixed(4)},${half}`;
      below.innerHTML = await (await fetch("/map/ground?frame=" + frame)).text();
      svg.setAttribute("viewBox", "0 0 720 720");
      mark(360, 360, 10);
    };
    svg.addEventListener("click", async (event) => {
      const at = pointOn(svg, event);
      if (!frame) { return near(90 - at.y / 2, at.x / 2 - 180); }
      const found = await json(await fetch(`/map/measure?frame=${frame}&x=${at.x}&y=${at.y}`));
      if (found.lat !== undefined) { near(found.lat, found.lon); }
    });
    box.querySelector("[data-world]").addEventListener("click", () => {
      [frame, step] = [null, 0];
      svg.setAttribute("viewBox", first.box);
      below.innerHTML = first.below;
      own.innerHTML = "";
    });
  }

  function pointOn(svg, event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: at.x, y: at.y };
  }

  const main = document.querySelector("main[data-plan]");
  if (!main) { return; }
  const name = main.dataset.plan;
  const form = $("plan-form");

  // Fields: what they show, and what the plan says.
  const fields = () => all("[form=plan-form][name]").filter((e) => e.type !== "hidden");
  const typed = () => {
    const values = {};
    for (const [id, value] of new FormData(form)) {
      if (id === "name" || id === "step") { continue; }
      const text = value.replace(/\r\n/g, "\n");
      values[id] = values[id] && text ? values[id] + "\n" + text : (values[id] || text);
    }
    return values;
  };
  let shown = typed();
  const differs = (id, now) => (now[id] || "").trim() !== (shown[id] || "").trim();

  function show(values) {
    const now = typed();
    if (Object.keys(values).filter((id) => id.startsWith("load.")).sort().join() !==
        Object.keys(shown).filter((id) => id.startsWith("load.")).sort().join()) { return location.reload(); }
    if (fields().some((f) => f.type === "text" && (values[f.name] || "").includes("\n"))) { return location.reload(); }
    hold(values);
    for (const field of fields()) {
      const id = field.name;
      if (values[id] === undefined || differs(id, now)) { continue; }
      if (field.type === "checkbox") { field.checked = values[id].split("\n").includes(field.value); }
      else if (field.value !== values[id] && !(document.activeElement === field && field.value.trim() === values[id])) { field.value = values[id]; }
    }
    for (const id in now) { shown[id] = values[id] === undefined ? shown[id] : values[id]; }
  }

  // What a list does not have yet gets a place in it: else the next edit would take it out of the plan.
  function hold(values) {
    for (const list of fields().filter((f) => f.tagName === "SELECT")) {
      const value = values[list.name];
      if (value !== undefined && ![...list.options].some((o) => o.value === value)) { list.add(new Option(value, value)); }
    }
    const winds = $("wind.files"), files = (values["wind.files"] || "").split("\n").filter(Boolean);
    if (!winds) { return; }
    const boxes = new Map(all("input[type=checkbox]", winds).map((box) => [box.value, box.closest("label")]));
    if (files.every((file) => boxes.has(file))) { return; }
    // In the plan's order, before those that it does not have.
    for (const file of files.reverse()) {
      winds.insertBefore(boxes.get(file) || tick(file), winds.querySelector("label"));
    }
  }
  function tick(file) {
    const [label, box] = ["label", "input"].map((name) => document.createElement(name));
    label.className = "tick";
    Object.assign(box, { type: "checkbox", name: "wind.files", value: file });
    box.setAttribute("form", "plan-form");
    label.append(box, " " + file);
    return label;
  }

  function state(now) {
    if (now.error) { $("saved").textContent = now.error; return; }
    const mine = half();
    all("[name=step]").filter((e) => !(mine && e.form === textForm)).forEach((e) => { e.value = now.step; });
    if ($("saved").textContent !== now.said) { $("saved").textContent = now.said; }
    for (const what of ["undo", "redo", "save"]) {
      const button = document.querySelector(`[data-do=${what}]`);
      if (button) { button.disabled = !now[what]; }
    }
    if (now.conflict && !document.querySelector("[data-do=take-file]")) { return location.reload(); }
    // A text that cannot be read as a plan has no fields.
    if (Boolean(now.values) !== fields().length > 0) { return location.reload(); }
    if (now.values) { show(now.values); }
    if (mine || (!whole.value && document.activeElement === whole)) { return; }
    if (whole.value !== now.text) { whole.value = now.text; }
    held = whole.value;
  }

  // The whole plan as text: what is half typed there stays, with the step that it was begun from, until it is applied
  // or the area is emptied.
  const whole = $("whole"), textForm = whole.form, drawer = "half-typed " + name;
  let held = whole.value;
  const half = () => whole.value !== "" && whole.value !== held;
  const before = JSON.parse(sessionStorage.getItem(drawer));
  sessionStorage.removeItem(drawer);
  if (before && before.text !== held) { [whole.value, textForm.elements.step.value] = [before.text, before.step]; }
  addEventListener("pagehide", () => {
    if (half()) { sessionStorage.setItem(drawer, JSON.stringify({ text: whole.value, step: textForm.elements.step.value })); }
  });
  whole.addEventListener("input", can_save);
  // Emptied and left, it shows the plan as it is now; emptied alone, another may be about to be pasted.
  whole.addEventListener("change", () => { if (!whole.value) { renew(); } });
  async function apply() {
    const sent = whole.value;
    const now = await act("/plan/text", new FormData(textForm));
    if (now.error) {
      if (now.error !== words.silent) { say(`${now.error} ${words.half}`); }
      return now;
    }
    // What was typed there since belongs to the step that came of it.
    [held, textForm.elements.step.value] = [sent, now.step];
    return now;
  }
  async function save() {
    if (half() && (await apply()).error) { return; }
    act("/plan/save", { name });
  }
  async function renew() {
    state(await json(await fetch("/plan/state?name=" + encodeURIComponent(name), { headers: asked })));
    look();
  }

  // What was typed can be saved at once, before the desk has heard of it.
  function can_save() {
    const button = document.querySelector("[data-do=save]");
    if (button) { button.disabled = false; }
  }

  // What changes the plan goes one after the other: edits, with the newest text each time, and what buttons do.
  let timer = 0, turn = Promise.resolve(), busy = 0, waiting = null;
  function inTurn(work) {
    busy += 1;
    const mine = turn.then(work).finally(() => { busy -= 1; });
    turn = mine.catch(() => {});
    return mine;
  }
  function send() {
    clearTimeout(timer);
    // One that still waits for its turn will send this, too.
    waiting = waiting || inTurn(() => { waiting = null; return sendNow(); });
    return waiting;
  }
  async function sendNow() {
    let kept = typed(), stale = "";
    try {
      let answer = await post("/plan/edit", new FormData(form));
      if (answer.status === 422) {
        // The page shows an older step: take the new one, keep what was typed, and send that.
        const why = (await answer.json()).error;
        const now = await json(await fetch("/plan/state?name=" + encodeURIComponent(name), { headers: asked }));
        if (forget(now.values || {})) { stale = why; }
        state(now);
        kept = typed();
        answer = await post("/plan/edit", new FormData(form));
      }
      const now = await json(answer);
      // What was typed since then is still to be sent.
      if (!now.error) { shown = kept; }
      state(now);
      if (stale) { $("saved").textContent = stale; }
    } catch (gone) {
      $("saved").textContent = words.silent;
    }
    if (!waiting) { look(); }
  }
  // Rows of the load that are others now: what was typed into the old ones belongs to none of these.
  function forget(values) {
    const rows = Object.keys({ ...values, ...shown }).filter((id) => id.startsWith("load."));
    if (!rows.some((id) => differs(id, values))) { return false; }
    for (const field of fields()) {
      if (field.name.startsWith("load.") && values[field.name] !== undefined) { field.value = values[field.name]; }
    }
    return true;
  }
  // What was typed goes before whatever a button does.
  const unsent = () => { const now = typed(); return Object.keys(now).some((id) => differs(id, now)); };
  function flush() { if (unsent()) { send(); } return turn; }
  // The desk answers again: what is typed may not have been sent, and what was said of that is old.
  function again() { return unsent() ? send() : renew(); }
  document.addEventListener("input", (event) => {
    if (event.target.getAttribute("form") !== "plan-form") { return; }
    clearTimeout(timer);
    timer = setTimeout(send, 60);
    can_save();
  });
  form.addEventListener("submit", (event) => { event.preventDefault(); send(); });
  // Who goes to another page at once takes nothing back.
  addEventListener("pagehide", () => { if (unsent()) { navigator.sendBeacon("/plan/edit", new URLSearchParams(new FormData(form))); } });

  // What follows: asked for anew with each change; only the newest answer is shown.
  let asking = 0, latest = 0;
  async function look() {
    const n = ++asking;
    const query = new URLSearchParams({ name, page, n, frame: mapBox.dataset.frame || "" });
    let now;
    try {
      const answer = await fetch("/live?" + query, { headers: asked });
      // A newer question was asked, and will be answered. Read to its end all the same, or it would stay open.
      if (answer.status === 409) { await answer.text(); return; }
      now = answer.ok ? await answer.json() : { error: (await answer.json().catch(() => ({}))).error || failed(answer) };
    } catch (gone) { now = { error: words.silent }; }
    if (n < latest || (now.error && n < asking)) { return; }
    if (now.error) { return unknown(now.error); }
    latest = n;
    for (const part in now.parts) {
      const box = document.querySelector(`[data-part=${part}]`);
      if (!box) { continue; }
      const open = all("details", box).map((d) => d.open);
      if (now.parts[part] === null) { box.classList.add("old"); continue; }
      box.classList.remove("old");
      box.innerHTML = now.parts[part];
      all("details", box).forEach((d, i) => { d.open = open[i] === undefined ? d.open : open[i]; });
    }
    $("faults").innerHTML = now.faults;
    wrong(now.wrong);
    if (now.map) { drawn(now.map); }
  }
  // What follows is not known: say why, and what is shown is old.
  function unknown(why) {
    all("[data-part]").filter((box) => !box.closest("svg")).forEach((box) => box.classList.add("old"));
    all("p.late").forEach((p) => { p.textContent = why; });
    const said = Object.assign(document.createElement("p"), { className: "wrong", textContent: why });
    $("faults").replaceChildren(said);
  }
  function wrong(faults) {
    for (const box of all("[data-wrong]")) {
      const id = box.dataset.wrong;
      const said = faults.filter(([field]) => field === id).map(([, text]) => text).join("\n");
      if (box.textContent !== said) { box.textContent = said; }
      const field = $(id);
      if (field && field.matches("input, select, textarea")) { said ? field.setAttribute("aria-invalid", "true") : field.removeAttribute("aria-invalid"); }
    }
  }

  // Undo, redo, save; rows to take; everything that answers with the state of the plan.
  function act(address, body) {
    flush();
    return inTurn(async () => {
      const kept = typed();
      const now = await asks(address, body);
      // The plan's values go into all boxes but those that were typed into since.
      if (!now.error) { shown = kept; }
      state(now);
      if (unsent()) { send(); } else if (!now.error) { look(); }
      return now;
    });
  }
  document.addEventListener("submit", async (event) => {
    const sent = event.target;
    const action = sent.getAttribute("action");
    if (action === "/plan/save" || sent === textForm) {
      event.preventDefault();
      if (sent === textForm) { apply(); } else { save(); }
    } else if (["/plan/undo", "/plan/redo", "/plan/place", "/plan/take"].includes(action)) {
      event.preventDefault();
      const now = await act(action, new FormData(sent));
      if (action === "/plan/take" && !now.error) {
        all("tr.taken").forEach((row) => row.classList.remove("taken"));
        if (sent.closest("tr")) { sent.closest("tr").classList.add("taken"); }
      }
    } else if (sent.matches("[data-job]")) {
      event.preventDefault();
      await flush();
      const now = await asks(action, new FormData(sent));
      if (now.error) { refuse(now.error, true); } else { refusal_over(); }
    } else if (action === "/job/stop") {
      event.preventDefault();
      post(action, {}).then(refusal_over, () => refuse(words.silent));
    } else if (sent !== form && action.startsWith("/plan/") && (busy || unsent())) {
      event.preventDefault();
      await flush();
      sent.submit();
    }
  });
  document.addEventListener("keydown", (event) => {
    if ((event.ctrlKey || event.metaKey) && event.key === "s") { event.preventDefault(); save(); }
  });

  // What is said of the work. What was refused stays for a while, whatever is said meanwhile; where
  // other work was in the way, until that ends.
  let refusal = 0, refused_work = false, meanwhile = null;
  function work_says(text) {
    meanwhile = text;
    if (!refusal && $("job-said").textContent !== text) { $("job-said").textContent = text; }
  }
  function refuse(why, work = false) {
    clearTimeout(refusal);
    [meanwhile, refusal, refused_work] = [null, setTimeout(refusal_over, 20000), work];
    $("job-said").textContent = why;
  }
  function refusal_over() {
    clearTimeout(refusal);
    refusal = 0;
    if (meanwhile !== null) { work_says(meanwhile); }
  }

  // What happens elsewhere: other pages, long work.
  let source = null, ended = null, seen = 0, theirs = false, away = false, losing = 0;
  const flying = document.querySelector("[data-made=flying]");
  function listen() {
    source = new EventSource("/pulse");
    source.onopen = () => { clearTimeout(losing); losing = 0; };
    source.onmessage = (event) => told(JSON.parse(event.data));
    // The browser asks again by itself after some seconds: until then nothing is lost yet.
    source.onerror = () => { losing = losing || setTimeout(unheard, 6000); };
  }
  // Nothing is heard of the desk: what is shown of its work is old.
  async function unheard() {
    losing = 0;
    const why = await silence();
    if (!source || source.readyState === EventSource.OPEN) { return; }
    if (source.readyState === EventSource.CLOSED && why !== words.anew) { listen(); }
    if (!why) { return; }
    work_says(why);
    $("job-share").hidden = true;
    document.querySelector("#job form").hidden = true;
    flying.classList.add("old");
    away = true;
  }
  async function told(pulse) {
    const job = pulse.job, back = away;
    away = false;
    if (back) { flying.classList.remove("old"); }
    const mine = job && job.plan === name;
    const on = job && job.state === "running";
    $("job-share").hidden = !on;
    document.querySelector("#job form").hidden = !(on && mine);
    if (on) {
      const share = job.of ? Math.min(1, job.done / job.of) : null;
      if (share === null) { $("job-share").removeAttribute("value"); } else { $("job-share").value = share; }
      const count = job.station === "winds" && job.of > 1e4 ? ` ${(job.done / 1e6).toFixed(1)} / ${(job.of / 1e6).toFixed(1)} MB` : "";
      // Read out in steps of a tenth.
      const said = (mine ? "" : `${job.plan}: `) + job.doing + (count || (share === null ? "" : ` ${10 * Math.floor(10 * share)} %`));
      work_says(said);
      // A flight that is followed shows how it stands while the work goes on.
      if (mine && job.station === "flying" && job.done !== seen) { seen = job.done; result(job.station); }
    } else if (job && !mine) {
      if (theirs || back) { work_says(words.idle); }
    } else if (job) {
      work_says({ done: `${job.doing}: ${words.done}`, stopped: words.stopped, failed: job.message }[job.state] || "");
    } else if (back) {
      work_says(words.idle);
    }
    if (ended !== null && pulse.ended !== ended) {
      if (refused_work) { refusal_over(); }
      if (mine && job.state === "done") { result(job.station); }
    }
    ended = pulse.ended;
    theirs = on && !mine;
    if (busy) { return; }
    const step = pulse.plans[name];
    if (back) { await again(); } else if (step && String(step) !== form.elements.step.value) { await renew(); }
  }
  async function result(station) {
    const box = document.querySelector(`[data-made=${station}]`);
    if (!box) { return; }
    const query = new URLSearchParams({ name, station });
    const answer = await fetch("/result?" + query).catch(() => null);
    const made = answer && await answer.text().catch(() => null);
    // A connection that is lost is told by who listens, and refuses nothing.
    if (made === null) { return; }
    if (!answer.ok) { return refuse(failed(answer)); }
    box.innerHTML = made;
    if (station === "winds") { location.reload(); }
  }
  const visible = () => {
    if (document.hidden && source) { source.close(); source = null; clearTimeout(losing); losing = 0; }
    if (!document.hidden && !source) { listen(); }
  };
  document.addEventListener("visibilitychange", visible);

  // Files dropped anywhere on the page are winds.
  const drop = $("drop");
  const hasFiles = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
  document.addEventListener("dragover", (event) => { if (hasFiles(event)) { event.preventDefault(); drop.classList.add("over"); } });
  document.addEventListener("dragleave", () => drop.classList.remove("over"));
  document.addEventListener("drop", async (event) => {
    if (!hasFiles(event)) { return; }
    event.preventDefault();
    drop.classList.remove("over");
    const body = new FormData();
    body.append("name", name);
    for (const file of event.dataTransfer.files) { body.append("file", file); }
    const now = await asks("/winds/drop", body);
    if (now.error) { refuse(now.error); } else { location.hash = "winds"; location.reload(); }
  });

  // Where one is.
  const links = new Map(all("nav.stations a").map((a) => [a.hash.slice(1), a]));
  const watch = new IntersectionObserver((seen) => {
    for (const entry of seen.filter((e) => e.isIntersecting)) {
      links.forEach((a) => { a.classList.remove("here"); a.removeAttribute("aria-current"); });
      const a = links.get(entry.target.id);
      if (a) { a.classList.add("here"); a.setAttribute("aria-current", "location"); }
    }
  }, { rootMargin: "-20% 0px -70% 0px" });
  links.forEach((_, id) => watch.observe($(id)));

  // The map: what it shows, moving it, and what a click does.
  const mapBox = $("map-box"), sheet = $("map-sheet"), svg = $("map");
  const part = (which) => svg.querySelector(`[data-part=${which}]`);
  const WHOLE = [0, 0, 720, 720];
  let view = [...WHOLE], track = [], points = [], moving = null, releaseAt = null;
  const frame = () => mapBox.dataset.frame || "";
  const mode = () => document.querySelector("[name=mode]:checked").value;
  function drawn(map) {
    svg.setAttribute("aria-label", map.label);
    part("above").innerHTML = map.above;
    track = map.track;
    along();
    if (map.frame !== frame()) {
      mapBox.dataset.frame = map.frame;
      [view, points] = [[...WHOLE], []];
      setView();
      own();
      ground();
    }
    layers();
  }
  async function ground() {
    const query = new URLSearchParams({ name, frame: frame() });
    const asked = frame();
    const answer = await fetch("/map/ground?" + query).catch(() => null);
    const text = answer && answer.ok ? await answer.text() : "";
    if (asked !== frame()) { return; }
    // None rather than that of another frame, which would lie in the wrong place.
    part("below").innerHTML = text;
    if (!text) { $("map-said").textContent = answer ? failed(answer) : words.silent; }
    layers();
  }
  function layers() {
    for (const box of all("[data-switch]")) {
      all(`[data-layer=${box.dataset.switch}]`, svg).forEach((g) => { g.style.display = box.checked ? "" : "none"; });
    }
    apart();
  }
  // Names of the ground give way to those of the flight.
  function apart() {
    const flight = all("text", part("above")).map((e) => e.getBoundingClientRect());
    const under = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
    const names = all("text", part("below")).map((e) => [e, e.getBoundingClientRect()]);
    for (const [e, at] of names) { e.style.visibility = flight.some((b) => under(at, b)) ? "hidden" : ""; }
  }
  all("[data-switch]").forEach((box) => box.addEventListener("change", layers));
  layers();
  const setView = () => svg.setAttribute("viewBox", view.map((v) => v.toFixed(2)).join(" "));
  function zoom(by, at) {
    const size = Math.min(720, Math.max(20, view[2] * by));
    const to = at || { x: view[0] + view[2] / 2, y: view[1] + view[3] / 2 };
    const k = size / view[2];
    view = [to.x - (to.x - view[0]) * k, to.y - (to.y - view[1]) * k, size, size];
    keepInside();
  }
  function keepInside() {
    for (const i of [0, 1]) { view[i] = Math.min(720 - view[2], Math.max(0, view[i])); }
    setView();
    own();
  }
  for (const button of all("[data-zoom]")) {
    button.addEventListener("click", () => {
      if (button.dataset.zoom === "all") { view = [...WHOLE]; keepInside(); } else { zoom(button.dataset.zoom === "in" ? 1 / 1.6 : 1.6); }
    });
  }
  sheet.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey) { return; }
    event.preventDefault();
    zoom(Math.exp(event.deltaY / 400), pointOn(svg, event));
  }, { passive: false });

  const fingers = new Map();
  let start = null;
  sheet.addEventListener("pointerdown", (event) => {
    if (event.button) { return; }
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    sheet.setPointerCapture(event.pointerId);
    const at = pointOn(svg, event);
    const near = releaseAt && Math.hypot(at.x - releaseAt.x, at.y - releaseAt.y) < 14 * view[2] / 720 * (event.pointerType === "touch" ? 2 : 1);
    start = { at, view: [...view], moved: false, release: near && mode() !== "measure" && mode() !== "target" };
  });
  sheet.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId) || !start) { return; }
    const before = fingers.get(event.pointerId);
    const now = [event.clientX, event.clientY];
    const others = [...fingers].filter(([id]) => id !== event.pointerId).map(([, at]) => at);
    if (others.length) {
      const far = (p) => Math.hypot(p[0] - others[0][0], p[1] - others[0][1]);
      if (far(now) > 1) { zoom(far(before) / far(now), pointOn(svg, event)); }
      start.moved = true;
    } else if (start.release) {
      moving = pointOn(svg, event);
      start.moved = true;
      own();
    } else {
      const scale = view[2] / svg.clientWidth;
      if (start.moved || Math.hypot(now[0] - before[0], now[1] - before[1]) > 2) {
        start.moved = true;
        view[0] -= (now[0] - before[0]) * scale;
        view[1] -= (now[1] - before[1]) * scale;
        keepInside();
      } else { return; }
    }
    fingers.set(event.pointerId, now);
  });
  const up = (event) => {
    const mine = fingers.delete(event.pointerId);
    if (!mine || !start || fingers.size) { return; }
    const { moved, release } = start;
    start = null;
    const at = pointOn(svg, event);
    if (release && moved) { moving = null; release_to(at); return; }
    if (!moved && event.type === "pointerup") { clicked(at); }
  };
  sheet.addEventListener("pointerup", up);
  sheet.addEventListener("pointercancel", up);

  async function release_to(at) {
    const now = await act("/plan/point", { name, frame: frame(), x: at.x, y: at.y });
    $("map-said").textContent = now.error || `${words.moved} ${$("site.lat").value}, ${$("site.lon").value}.`;
    own();
  }
  async function clicked(at) {
    const what = mode();
    if (what === "site") { return release_to(at); }
    if (what === "look") {
      const query = new URLSearchParams({ frame: frame(), x: at.x, y: at.y });
      $("map-said").textContent = (await json(await fetch("/map/measure?" + query, { headers: asked }))).place || "";
      return;
    }
    points.push(at);
    own();
    if (what === "measure") { measured(); }
  }
  async function measured() {
    const said = [];
    for (let i = 1; i < points.length; i++) {
      const [a, b] = [points[i - 1], points[i]];
      const query = new URLSearchParams({ frame: frame(), x0: a.x, y0: a.y, x: b.x, y: b.y, us: $("flight.units").value === "us" ? "yes" : "" });
      said.push((await json(await fetch("/map/measure?" + query, { headers: asked }))).way);
    }
    $("map-said").textContent = said.join(words.then);
  }
  document.querySelector("[data-clear]").addEventListener("click", () => { points = []; $("map-said").textContent = ""; own(); });
  document.querySelector("[data-keep]").addEventListener("click", async () => {
    const now = await json(await post("/map/target", { name, frame: frame(), points: points.map((p) => p.x + "," + p.y).join(" ") }));
    if (now.error) { $("map-said").textContent = now.error; return; }
    const choice = $("target");
    if (!choice) { location.hash = "site"; return location.reload(); }
    choice.add(new Option(now.file, now.file, true, true));
    choice.closest("details").open = true;
    $("map-said").textContent = words.kept.replace("FILE", now.file);
    points = [];
    own();
  });
  all("[name=mode]").forEach((radio) => radio.addEventListener("change", () => { sheet.dataset.mode = mode(); points = []; own(); }));

  // What only this page draws: measured ways, targets, the release on its way, the flight at a time.
  function own() {
    const k = view[2] / 720;
    const lines = points.map((p) => `${p.x.toFixed(1)},${p.y.toFixed(1)}`).join(" ");
    let out = "";
    if (points.length) {
      const shape = mode() === "target" ? "polygon" : "polyline";
      for (const [kind, width] of [["edge", 6], ["line", 3]]) {
        out += `<${shape} class="${kind}" points="${lines}" stroke-width="${width * k}"/>`;
      }
      out += points.map((p) => `<circle class="spot" cx="${p.x}" cy="${p.y}" r="${5 * k}"/>`).join("");
    }
    const spot = moving || (track.length && Number($("along").value) > 0 ? { x: track[$("along").value][0], y: track[$("along").value][1] } : null);
    if (spot) {
      for (const [kind, width] of [["edge", 8], ["line", 4]]) {
        out += `<circle class="${kind}" cx="${spot.x}" cy="${spot.y}" r="${11 * k}" stroke-width="${width * k}"/>`;
      }
    }
    part("own").innerHTML = out;
    document.querySelector("[data-clear]").hidden = !points.length;
    document.querySelector("[data-keep]").hidden = !(mode() === "target" && points.length > 2);
  }
  function along() {
    releaseAt = track.length ? { x: track[0][0], y: track[0][1] } : null;
    $("along-box").hidden = !track.length;
    $("along").max = Math.max(0, track.length - 1);
    told_along();
  }
  function told_along() {
    const at = track[$("along").value];
    $("along-said").textContent = at ? at[2] : "";
    $("along").setAttribute("aria-valuetext", at ? at[2] : "");
    own();
  }
  $("along").addEventListener("input", told_along);

  // Keys: arrows move the map; after R they move the release, by a fiftieth of what is shown.
  let carries = false;
  sheet.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (event.key === "+" || event.key === "=") { zoom(1 / 1.3); }
    else if (event.key === "-") { zoom(1.3); }
    else if (event.key === "0") { view = [...WHOLE]; keepInside(); }
    else if (event.key === "r" || event.key === "R") {
      carries = !carries;
      $("map-said").textContent = carries ? words.carries : words.moves;
    } else if (event.key === "Escape") { points = []; carries = false; own(); }
    else if (way && carries && releaseAt) { release_to({ x: releaseAt.x + way[0] * view[2] / 50, y: releaseAt.y + way[1] * view[2] / 50 }); }
    else if (way) { view[0] += way[0] * view[2] / 8; view[1] += way[1] * view[2] / 8; keepInside(); }
    else { return; }
    event.preventDefault();
  });

  layers();
  visible();
  if (mapBox.dataset.bare !== undefined && frame()) { ground(); }
  look();
})();
