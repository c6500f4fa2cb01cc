// The picture: one pixel per cell on its own sheet, drawn into the view; outlines, codes and the cross above it.
explore.view = (model, frame, told) => {
  const { rows, cols, cell, n, exclusion, depth, head } = model, all = rows * cols;
  const sheet = document.createElement("canvas"), below = document.createElement("canvas");
  for (const one of [sheet, below]) { one.width = cols; one.height = rows; }
  const paper = sheet.getContext("2d"), pixels = paper.createImageData(cols, rows), ink = new Uint32Array(pixels.data.buffer);
  const rgba = (colour, alpha) => { const v = parseInt(colour.slice(1), 16); return (alpha << 24 | (v & 255) << 16 | (v >> 8 & 255) << 8 | v >> 16) >>> 0; };
  const VEIL = rgba("#ffffff", 90), STROKE = rgba("#28323a", 150), RING = rgba("#32284a", 235), PALE = rgba("#ffffff", 175);

  // Excluded: falling strokes. Unknown: dots on a pale ground. Both in whole cells.
  const hatch = (at) => (at % cols - Math.floor(at / cols)) % 8 === 0 ? STROKE : VEIL;
  const dots = (at) => { const r = Math.floor(at / cols), c = at % cols; return r % 4 === 0 && (c + (r % 8 ? 2 : 0)) % 4 === 0 ? RING : PALE; };
  for (let at = 0; at < all; at += 1) { if (exclusion[at]) { ink[at] = hatch(at); } }
  const rising = new Uint8Array(n);
  for (let j = 0; j < n; j += 1) { rising[j] = (Math.floor(cell[j] / cols) + cell[j] % cols) % 5 === 0 ? 1 : 0; }
  const unknown = new Uint32Array(n);
  for (let j = 0; j < n; j += 1) { unknown[j] = dots(cell[j]); }
  relief();

  function relief() {
    const c = below.getContext("2d"), image = c.createImageData(cols, rows), out = new Uint32Array(image.data.buffer), steep = [];
    const fall = (a, b) => depth[a] === 65535 || depth[b] === 65535 ? 0 : depth[b] - depth[a];
    const slope = (at) => { const x = at % cols; return [fall(x ? at - 1 : at, x < cols - 1 ? at + 1 : at), fall(at >= cols ? at - cols : at, at + cols < all ? at + cols : at)]; };
    for (let at = 0; at < all; at += Math.max(1, Math.floor(all / 4000))) { const [e, s] = slope(at), k = Math.hypot(e, s); if (k > 0) { steep.push(k); } }
    steep.sort((a, b) => a - b);
    const stretch = steep.length ? 1 / steep[Math.floor(steep.length * 0.9)] : 0;
    for (let at = 0; at < all; at += 1) {
      if (depth[at] === 65535) { out[at] = rgba("#d7dde0", 255); continue; }
      const [e, s] = slope(at), a = e * stretch, b = s * stretch, lit = Math.max(0, (0.7071 + 0.5 * (-a - b)) / Math.sqrt(1 + a * a + b * b)), g = Math.round(120 + 125 * Math.min(1, lit));
      out[at] = (255 << 24 | g << 16 | g << 8 | g - 6) >>> 0;
    }
    c.putImageData(image, 0, 0);
  }

  const bins = head.ramp.map((c) => rgba(c, 255)), faint = head.ramp.map((c) => rgba(c, 105)), kinds = head.classes.map((c) => rgba(c, 255));
  // Told apart in grey too: gained is the darkest, lost the lightest and crossed by rising strokes.
  const CHANGE = { kept: "#7d909a", gained: "#0b2f86", lost: "#f2b84e", stroke: "#8a5200" }, change = Object.fromEntries(Object.entries(CHANGE).map(([k, c]) => [k, rgba(c, 255)]));
  // `mode`: score, change or limiting; `score`, `before` and `which` belong to the species that is shown.
  function paint(mode, score, before, which) {
    const limit = Math.fround(model.passing), clear = rgba("#ffffff", 60);
    if (mode === "score") {
      for (let j = 0; j < n; j += 1) { const s = score[j]; if (s < 0) { ink[cell[j]] = unknown[j]; } else { const b = s >= 1 ? 9 : s * 10 | 0; ink[cell[j]] = s >= limit ? bins[b] : faint[b]; } }
    } else if (mode === "change") {
      for (let j = 0; j < n; j += 1) { const s = score[j], on = s >= limit; ink[cell[j]] = s < 0 ? unknown[j] : on ? before[j] ? change.kept : change.gained : before[j] ? rising[j] ? change.stroke : change.lost : clear; }
    } else {
      for (let j = 0; j < n; j += 1) { ink[cell[j]] = score[j] < 0 ? unknown[j] : which[j] === 255 ? clear : kinds[which[j] % kinds.length]; }
    }
    paper.putImageData(pixels, 0, 0);
    draw();
  }

  const cells = frame.querySelector("#ex-cells"), marks = frame.querySelector("#ex-marks"), cross = frame.querySelector(".ex-cross");
  const at = { x: cols / 2, y: rows / 2, zoom: 1 }, shown = { candidates: true, sites: true };
  let chosen = null, wide = 1, high = 1, ratio = 1;
  function fit() { at.x = cols / 2; at.y = rows / 2; at.zoom = Math.min(wide / cols, high / rows) * 0.97; draw(); mark(); }
  function resize() {
    const first = wide === 1;
    wide = frame.clientWidth; high = frame.clientHeight; ratio = Math.min(2, window.devicePixelRatio || 1);
    for (const one of [cells, marks]) { one.width = wide * ratio; one.height = high * ratio; }
    if (first) { fit(); } else { draw(); mark(); }
  }
  const turned = (c) => { c.setTransform(1, 0, 0, 1, 0, 0); c.clearRect(0, 0, wide * ratio, high * ratio); const k = at.zoom * ratio; c.setTransform(k, 0, 0, k, wide * ratio / 2 - at.x * k, high * ratio / 2 - at.y * k); };
  function draw() {
    const c = cells.getContext("2d");
    turned(c);
    c.imageSmoothingEnabled = at.zoom < 0.9;
    c.drawImage(below, 0, 0);
    c.drawImage(sheet, 0, 0);
  }
  const paths = head.candidates.map(([name, rings]) => {
    const path = new Path2D();
    for (const r of rings) { path.moveTo(r[0], r[1]); for (let i = 2; i < r.length; i += 2) { path.lineTo(r[i], r[i + 1]); } path.closePath(); }
    return { name, path };
  });
  function mark() {
    const c = marks.getContext("2d");
    turned(c);
    c.lineJoin = "round";
    if (shown.candidates) {
      for (const [colour, width] of [["rgba(255,255,255,.85)", 3.6], ["#0b2a4a", 1.5]]) { c.strokeStyle = colour; c.lineWidth = width / at.zoom; for (const one of paths) { c.stroke(one.path); } }
    }
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    const place = (x, y) => [(x - at.x) * at.zoom + wide / 2, (y - at.y) * at.zoom + high / 2];
    if (shown.sites) {
      c.font = '600 12px system-ui, "Segoe UI", "DejaVu Sans", sans-serif'; c.textAlign = "center";
      for (const [name, coded, x, y] of head.sites) {
        if (!coded) { continue; }
        const [px, py] = place(x, y);
        c.beginPath(); c.moveTo(px, py - 8); c.lineTo(px + 7, py); c.lineTo(px, py + 8); c.lineTo(px - 7, py); c.closePath();
        c.fillStyle = "#ffd54a"; c.fill(); c.strokeStyle = "#231a00"; c.lineWidth = 2; c.stroke();
        c.lineWidth = 3.4; c.strokeStyle = "rgba(255,255,255,.92)"; c.strokeText(name.slice(0, 24), px, py - 12); c.fillStyle = "#101820"; c.fillText(name.slice(0, 24), px, py - 12);
      }
    }
    if (chosen) {
      const [px, py] = place(chosen.x + 0.5, chosen.y + 0.5), r = Math.max(5, at.zoom / 2);
      for (const [colour, width] of [["#101010", 5], ["#ffe14a", 2.5]]) { c.strokeStyle = colour; c.lineWidth = width; c.strokeRect(px - r, py - r, 2 * r, 2 * r); }
    }
    told.moved(at.zoom, wide);
  }
  function choose(x, y) { chosen = x === null ? null : { x, y }; mark(); }

  const where = (event) => { const box = frame.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
  const under = (px, py) => [Math.floor((px - wide / 2) / at.zoom + at.x), Math.floor((py - high / 2) / at.zoom + at.y)];
  function scale(k, px, py) {
    const x = (px - wide / 2) / at.zoom + at.x, y = (py - high / 2) / at.zoom + at.y;
    at.zoom = Math.min(60, Math.max(0.05, at.zoom * k)); at.x = x - (px - wide / 2) / at.zoom; at.y = y - (py - high / 2) / at.zoom;
    draw(); mark();
  }
  function shift(dx, dy) { at.x = Math.max(0, Math.min(cols, at.x - dx / at.zoom)); at.y = Math.max(0, Math.min(rows, at.y - dy / at.zoom)); draw(); mark(); }
  const fingers = new Map();
  let moved = 0;
  frame.addEventListener("pointerdown", (event) => { if (event.target.closest("button")) { return; } fingers.set(event.pointerId, where(event)); moved = 0; frame.setPointerCapture(event.pointerId); });
  frame.addEventListener("pointermove", (event) => {
    const now = where(event), before = fingers.get(event.pointerId);
    told.over(...under(...now));
    if (!before) { return; }
    if (fingers.size === 2) {
      const other = [...fingers].find(([id]) => id !== event.pointerId)[1], was = Math.hypot(before[0] - other[0], before[1] - other[1]), is = Math.hypot(now[0] - other[0], now[1] - other[1]);
      if (was > 0 && is > 0) { scale(is / was, (now[0] + other[0]) / 2, (now[1] + other[1]) / 2); }
      moved = 99;
    } else { moved += Math.abs(now[0] - before[0]) + Math.abs(now[1] - before[1]); if (moved > 4) { shift(now[0] - before[0], now[1] - before[1]); } }
    fingers.set(event.pointerId, now);
  });
  frame.addEventListener("pointerup", (event) => { if (fingers.delete(event.pointerId) && moved <= 4) { told.asked(...under(...where(event))); } });
  frame.addEventListener("pointercancel", (event) => fingers.delete(event.pointerId));
  frame.addEventListener("wheel", (event) => { event.preventDefault(); scale(event.deltaY < 0 ? 1.25 : 0.8, ...where(event)); }, { passive: false });
  frame.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[event.key];
    if (event.target !== frame) { return; }
    if (step) { shift(...step); } else if (event.key === "+" || event.key === "=") { scale(1.4, wide / 2, high / 2); } else if (event.key === "-") { scale(1 / 1.4, wide / 2, high / 2); }
    else if (event.key === "0") { fit(); } else if (event.key === "Enter") { told.asked(...under(wide / 2, high / 2)); } else { return; }
    event.preventDefault();
  });
  frame.addEventListener("focus", () => { cross.hidden = !frame.matches(":focus-visible"); });
  frame.addEventListener("blur", () => { cross.hidden = true; });
  new ResizeObserver(resize).observe(frame);
  return { paint, fit, zoom: (k) => scale(k, wide / 2, high / 2), show: (what, on) => { shown[what] = on; mark(); }, choose, CHANGE };
};
