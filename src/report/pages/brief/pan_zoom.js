// Pan and zoom of the map: buttons, wheel with Ctrl, two fingers, dragging once it is near.
// Without this script the map is whole and does not move.
(function () {
  "use strict";
  var view = document.getElementById("map-view");
  var svg = view && view.querySelector("svg");
  if (!svg) { return; }
  var whole = svg.viewBox.baseVal;
  var full = { x: whole.x, y: whole.y, w: whole.width, h: whole.height };
  var now = { x: full.x, y: full.y, w: full.w, h: full.h };
  var MOST = 12;

  function show() {
    now.w = Math.min(full.w, Math.max(full.w / MOST, now.w));
    now.h = now.w * full.h / full.w;
    now.x = Math.min(full.x + full.w - now.w, Math.max(full.x, now.x));
    now.y = Math.min(full.y + full.h - now.h, Math.max(full.y, now.y));
    svg.setAttribute("viewBox", [now.x, now.y, now.w, now.h].join(" "));
    view.classList.toggle("near", now.w < full.w * 0.999);
  }
  function at(clientX, clientY) {
    var box = svg.getBoundingClientRect();
    return [(clientX - box.left) / box.width, (clientY - box.top) / box.height];
  }
  function zoom(factor, share) {
    var w = Math.min(full.w, Math.max(full.w / MOST, now.w / factor));
    var h = w * full.h / full.w;
    now.x += share[0] * (now.w - w);
    now.y += share[1] * (now.h - h);
    now.w = w;
    show();
  }
  function button(text, label, act) {
    var b = document.createElement("button");
    b.type = "button";
    b.textContent = text;
    b.setAttribute("aria-label", label);
    b.addEventListener("click", act);
    return b;
  }
  var bar = document.createElement("div");
  bar.className = "buttons";
  bar.appendChild(button("+", "Map nearer", function () { zoom(1.6, [0.5, 0.5]); }));
  bar.appendChild(button("\u2212", "Map farther", function () { zoom(1 / 1.6, [0.5, 0.5]); }));
  bar.appendChild(button("\u21ba", "Whole map", function () { now.x = full.x; now.y = full.y; now.w = full.w; show(); }));
  view.insertBefore(bar, svg);

  svg.addEventListener("wheel", function (e) {
    if (!e.ctrlKey) { return; }
    e.preventDefault();
    zoom(Math.pow(1.0015, -e.deltaY), at(e.clientX, e.clientY));
  }, { passive: false });

  var down = new Map();
  function gap() {
    var p = Array.from(down.values());
    return Math.hypot(p[0][0] - p[1][0], p[0][1] - p[1][1]);
  }
  svg.addEventListener("pointerdown", function (e) {
    down.set(e.pointerId, [e.clientX, e.clientY]);
    if (view.classList.contains("near") || down.size === 2) { svg.setPointerCapture(e.pointerId); }
  });
  svg.addEventListener("pointermove", function (e) {
    var before = down.get(e.pointerId);
    if (!before) { return; }
    var box = svg.getBoundingClientRect();
    if (down.size === 2) {
      var was = gap();
      down.set(e.pointerId, [e.clientX, e.clientY]);
      var p = Array.from(down.values());
      if (was > 0) { zoom(gap() / was, at((p[0][0] + p[1][0]) / 2, (p[0][1] + p[1][1]) / 2)); }
      return;
    }
    down.set(e.pointerId, [e.clientX, e.clientY]);
    if (now.w < full.w) {
      now.x -= (e.clientX - before[0]) / box.width * now.w;
      now.y -= (e.clientY - before[1]) / box.height * now.h;
      show();
    }
  });
  ["pointerup", "pointercancel", "pointerleave"].forEach(function (name) {
    svg.addEventListener(name, function (e) { down.delete(e.pointerId); });
  });
  window.addEventListener("beforeprint", function () { now.x = full.x; now.y = full.y; now.w = full.w; show(); });
}());
