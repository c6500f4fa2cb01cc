// Draws everything that is not a raster: hatches, outlines in SVG with patterns, points, colonies and labels on canvases.
sitekit.draw = (() => {
  const STYLE = {
    work_areas: { color: "#4a2a6a", weight: 2, dashArray: "12 4 2 4" },
    candidates: { color: "#0b2a4a", weight: 2, casing: true },
    contours: { color: "#2c4a62", weight: 1, opacity: 0.65 },
    tape_lines: { color: "#111111", weight: 1.5, casing: true },
    plots: { color: "#7a2d00", weight: 2, casing: true, fill: true, fillColor: "#ff9d47", fillOpacity: 0.18 },
    "plots:control": { color: "#7a2d00", weight: 2, casing: true, dashArray: "7 4", fill: false },
    "plots:reference": { color: "#7a2d00", weight: 2, casing: true, dashArray: "2 4", fill: false },
    "protected:forbidden": { color: "#8a1c1c", weight: 2.5, fill: true, fillColor: "url(#sk-forbidden)", fillOpacity: 1 },
    "protected:permit": { color: "#7a4a00", weight: 2.5, dashArray: "10 5", fill: true, fillColor: "url(#sk-permit)", fillOpacity: 1 },
    "protected:preferred": { color: "#14532d", weight: 2.5, fill: true, fillColor: "url(#sk-preferred)", fillOpacity: 1 },
    "protected:none": { color: "#3c4850", weight: 2, dashArray: "3 5" },
  };
  const SVG = "http://www.w3.org/2000/svg";

  function styleOf(id, kind) { return STYLE[`${id}:${kind}`] || STYLE[id] || STYLE[`${id}:none`] || STYLE.candidates; }

  // Forbidden: crossed strokes; permit: rising strokes; preferred: dots; no rule: outline only.
  function patterns(prefix) {
    const defs = document.createElementNS(SVG, "defs");
    const tile = (name, side, parts) => {
      const pattern = element("pattern", { id: prefix + name, width: side, height: side, patternUnits: "userSpaceOnUse" });
      for (const [kind, values] of parts) { pattern.appendChild(element(kind, values)); }
      defs.appendChild(pattern);
    };
    const stroke = (d, colour, width) => ["path", { d, stroke: colour, "stroke-width": width, fill: "none" }];
    tile("forbidden", 16, [stroke("M0 0L16 16M16 0L0 16", "#8a1c1c", 1.4)]);
    tile("permit", 22, [stroke("M-2 2L2 -2M0 22L22 0M20 24L24 20", "#7a4a00", 1.2)]);
    tile("preferred", 18, [["circle", { cx: 4, cy: 4, r: 1.5, fill: "#14532d" }], ["circle", { cx: 13, cy: 13, r: 1.5, fill: "#14532d" }]]);
    return defs;
  }
  function element(name, values) {
    const node = document.createElementNS(SVG, name);
    for (const key of Object.keys(values)) { node.setAttribute(key, values[key]); }
    return node;
  }

  function panes(map) {
    ["sk-hatch", "sk-vector", "sk-point", "sk-chosen", "sk-label"].forEach((name, i) => {
      map.createPane(name).style.zIndex = 410 + i;
      map.getPane(name).style.pointerEvents = "none";
    });
  }

  function latLngs(parts, closed) {
    const one = (points) => {
      const out = [];
      for (let i = 0; i < points.length; i += 2) { const p = sitekit.geodesy.toDegrees(points[i], points[i + 1]); out.push([p.lat, p.lon]); }
      return out;
    };
    return closed ? parts.map((part) => part.map(one)) : parts.map((part) => one(part[0]));
  }

  // Outlines of one layer as few paths: all items drawn alike share one.
  function outlines(layer, renderer) {
    const group = L.layerGroup(), alike = new Map();
    for (const item of layer.items) {
      if (item.t === "P") { continue; }
      const key = item.t + (STYLE[`${layer.id}:${item.k}`] ? item.k : "");
      if (!alike.has(key)) { alike.set(key, []); }
      alike.get(key).push(item);
    }
    for (const items of alike.values()) {
      const closed = items[0].t === "A", style = styleOf(layer.id, items[0].k);
      const where = items.flatMap((item) => latLngs(item.parts, closed));
      const make = closed ? L.polygon : L.polyline;
      const base = { renderer, pane: "sk-vector", interactive: false, fill: false, opacity: 1, smoothFactor: 0.4, ...style };
      if (style.casing) { make(where, { ...base, fill: false, dashArray: null, color: "#ffffff", weight: style.weight + 2.4, opacity: 0.85 }).addTo(group); }
      make(where, base).addTo(group);
    }
    return group;
  }

  const sheet = document.createElement("canvas"); // one for all drawings: a new one each time costs more than the drawing
  function hatches(context, view, reason) {
    const [west, south, east, north] = reason.box;
    for (const kind of ["excluded", "unknown"]) {
      const mask = reason[`${kind}Image`];
      if (!mask || !mask.naturalWidth) { continue; }
      const left = view.x(west), top = view.y(north), wide = view.x(east) - left, high = view.y(south) - top;
      const x0 = Math.max(0, left), y0 = Math.max(0, top), x1 = Math.min(view.wide, left + wide), y1 = Math.min(view.high, top + high);
      if (x1 <= x0 || y1 <= y0) { continue; }
      const kx = mask.naturalWidth / wide, ky = mask.naturalHeight / high;
      const c = sheet.getContext("2d"), tall = Math.round(view.high * view.ratio), broad = Math.round(view.wide * view.ratio);
      if (sheet.width !== broad || sheet.height !== tall) { sheet.width = broad; sheet.height = tall; }
      c.setTransform(1, 0, 0, 1, 0, 0);
      c.globalCompositeOperation = "source-over";
      c.clearRect(0, 0, broad, tall);
      c.imageSmoothingEnabled = false;
      c.scale(view.ratio, view.ratio);
      c.drawImage(mask, (x0 - left) * kx, (y0 - top) * ky, (x1 - x0) * kx, (y1 - y0) * ky, x0, y0, x1 - x0, y1 - y0);
      c.setTransform(1, 0, 0, 1, 0, 0);
      c.globalCompositeOperation = "source-in";
      const tile = sitekit.canvas.hatch(kind, view.ratio), side = tile.width;
      const dx = -((view.corner.x * view.ratio) % side), dy = -((view.corner.y * view.ratio) % side);
      c.translate(dx, dy);
      c.fillStyle = c.createPattern(tile, "repeat");
      c.fillRect(-dx, -dy, sheet.width, sheet.height);
      context.drawImage(sheet, 0, 0, view.wide, view.high);
    }
  }

  function points(context, view, layer) {
    for (const item of layer.items) {
      if (item.t !== "P") { continue; }
      const x = view.x(item.at[0]), y = view.y(item.at[1]);
      if (x < -20 || y < -20 || x > view.wide + 20 || y > view.high + 20) { continue; }
      if (layer.id === "sites") { diamond(context, x, y, item.k); } else if (layer.id === "standing") { ring(context, x, y, item.k, Math.min(8, Math.max(2.5, 0.3 * view.ground))); } else { cross(context, x, y, item.k === "outplant", view.ground < 2 ? 3 : 4); }
    }
  }
  // A ring stands; a dot in it: alive; crossed out: dead; broken: not found. Told apart without colour.
  function ring(c, x, y, kind, r = 6) {
    for (const [colour, width] of [["#ffffff", 4], ["#000000", 1.8]]) {
      c.strokeStyle = colour; c.fillStyle = colour; c.lineWidth = width; c.setLineDash(kind === "missing" ? [2, 2.4] : []);
      c.beginPath(); c.arc(x, y, r, 0, 2 * Math.PI); c.stroke(); c.setLineDash([]);
      if (kind === "dead") { const d = r * 0.7; c.beginPath(); c.moveTo(x - d, y - d); c.lineTo(x + d, y + d); c.moveTo(x - d, y + d); c.lineTo(x + d, y - d); c.stroke(); }
      if (kind === "alive") { c.beginPath(); c.arc(x, y, r * 0.4 + (width > 2 ? 1 : 0), 0, 2 * Math.PI); c.fill(); }
    }
  }
  function cross(c, x, y, upright, r = 4) {
    const d = upright ? [[-r, 0, r, 0], [0, -r, 0, r]] : [[-r, -r, r, r], [-r, r, r, -r]];
    for (const [colour, width] of [["#ffffff", 4], ["#000000", 1.8]]) {
      c.strokeStyle = colour; c.lineWidth = width; c.beginPath();
      for (const [x0, y0, x1, y1] of d) { c.moveTo(x + x0, y + y0); c.lineTo(x + x1, y + y1); }
      c.stroke();
    }
  }
  // Chosen: large and yellow; not chosen: small and grey. Not scouted: hollow with a bar, so that it shows without colour.
  function diamond(c, x, y, kind) {
    const no = /^not chosen/.test(kind), unseen = /not scouted/.test(kind), r = no ? 4.5 : 7.5;
    c.beginPath(); sitekit.canvas.shape(c, "diamond", x, y, r);
    c.fillStyle = unseen ? "#ffffff" : no ? "#c9d2d6" : "#ffd54a"; c.fill();
    c.strokeStyle = "#ffffff"; c.lineWidth = 4; c.stroke(); c.strokeStyle = no ? "#3c4850" : "#231a00"; c.lineWidth = 2; c.stroke();
    c.fill();
    if (unseen && !no) { c.fillStyle = "#d08a00"; c.fillRect(x - 4, y - 1.6, 8, 3.2); }
  }

  // Colonies: dots while they crowd, the species' shape once they are apart, numbers once there is room.
  const MANY = 6000; // shapes in one view
  function colonies(context, view, all, colours, only) {
    const r = Math.min(8, Math.max(1.3, 0.22 * view.ground)), seen = [], { perMetre } = view, x0 = view.x(0), y0 = view.y(0);
    for (let i = 0; i < all.count; i += 1) {
      const x = all.x[i] * perMetre + x0, y = y0 - all.y[i] * perMetre;
      if (x > -10 && y > -10 && x < view.wide + 10 && y < view.high + 10 && (only === null || only === all.genet[i])) { seen.push(i); }
    }
    if (r <= 2.2 || seen.length > MANY) { dots(context, view, all, colours, seen, r); return; }
    const room = [];
    for (let g = 0; g < all.genets.length; g += 1) {
      const kind = sitekit.canvas.SHAPES[all.speciesOf[g] % sitekit.canvas.SHAPES.length];
      context.fillStyle = colours[g];
      context.beginPath();
      for (const i of seen) {
        if (all.genet[i] !== g) { continue; }
        const x = view.x(all.x[i]), y = view.y(all.y[i]);
        sitekit.canvas.shape(context, kind, x, y, r);
        if (r >= 6 && room.length < 1500) { room.push(i, x, y); }
      }
      context.fill();
      context.strokeStyle = "rgba(255,255,255,0.95)"; context.lineWidth = 2.4; context.stroke(); context.strokeStyle = "#101010"; context.lineWidth = 1; context.stroke(); context.fill();
    }
    if (room.length && room.length < 1500) {
      const below = context.measureText("").width + r + 10;
      for (let k = 0; k < room.length; k += 3) { write(context, String(all.sequence(room[k])), room[k + 1], room[k + 2] + below, 10); }
    }
  }
  // Squares of whole pixels, each with a light rim that lets it stand out from dark bins; written straight into the sheet.
  function dots(context, view, all, colours, seen, r) {
    const wide = context.canvas.width, high = context.canvas.height, sheet = context.createImageData(wide, high), ink = new Uint32Array(sheet.data.buffer);
    const k = view.ratio, side = Math.max(2, Math.round(2 * Math.min(r, 4) * k)), rim = Math.max(1, Math.round(0.9 * k));
    const inks = colours.map((c) => { const v = parseInt(c.slice(1), 16); return (255 << 24 | (v & 255) << 16 | (v >> 8 & 255) << 8 | v >> 16) >>> 0; });
    const { perMetre } = view, x0 = view.x(0), y0 = view.y(0), n = seen.length, left = new Int32Array(n), top = new Int32Array(n);
    for (let m = 0; m < n; m += 1) {
      left[m] = Math.round((all.x[seen[m]] * perMetre + x0) * k - side / 2); top[m] = Math.round((y0 - all.y[seen[m]] * perMetre) * k - side / 2);
    }
    for (const [grow, white] of [[rim, true], [0, false]]) {
      const size = side + 2 * grow;
      for (let m = 0; m < n; m += 1) {
        const x = left[m] - grow, y = top[m] - grow;
        if (x < 0 || y < 0 || x + size > wide || y + size > high) { continue; }
        const colour = white ? 0xe6ffffff : inks[all.genet[seen[m]]];
        for (let row = y * wide + x, last = row + size * wide; row < last; row += wide) { for (let at = row; at < row + size; at += 1) { ink[at] = colour; } }
      }
    }
    context.putImageData(sheet, 0, 0);
  }

  function write(c, text, x, y, size, bold) {
    c.font = `${bold ? "600 " : ""}${size}px system-ui, "Segoe UI", "DejaVu Sans", sans-serif`;
    c.textAlign = "center"; c.textBaseline = "middle"; c.lineJoin = "round";
    c.strokeStyle = "rgba(255,255,255,0.92)"; c.lineWidth = 3.2; c.strokeText(text, x, y);
    c.fillStyle = "#101820"; c.fillText(text, x, y);
  }

  // Places inside an area where its name may stand, its own one first.
  function spots(item) {
    const [west, south, east, north] = item.box, found = [item.at];
    for (const b of [0.5, 0.7, 0.3, 0.86, 0.14]) { for (const a of [0.5, 0.3, 0.7, 0.15, 0.85]) {
      const x = west + a * (east - west), y = south + b * (north - south);
      if (sitekit.facts.inside(item, x, y)) { found.push([x, y]); }
    } }
    return found;
  }

  // Names where there is room, the most wanted first; a name that would cover another waits for a closer view.
  function labels(context, view, layers) {
    const taken = [], order = ["sites", "protected:forbidden", "plots", "protected", "candidates", "work_areas", "contours"];
    for (const step of order) {
      const [id, rule] = step.split(":"), layer = layers.find((one) => one.id === id);
      if (!layer || !layer.on) { continue; }
      for (const item of layer.items) {
        if (id === "protected" && (item.k === "forbidden") !== (rule === "forbidden")) { continue; }
        let text = item.n.length > 30 ? `${item.n.slice(0, 29)}…` : item.n;
        if (id === "protected") { text += ` (${sitekit.kind(layer, item.k)})`; }
        if (!text) { continue; }
        if (id === "work_areas") { text = `${layer.one} ${text}`; }
        const size = id === "contours" ? 10 : 12;
        context.font = `600 ${size}px system-ui, "Segoe UI", "DejaVu Sans", sans-serif`;
        const half = context.measureText(text).width / 2 + 4;
        const long = Math.max(item.box[2] - item.box[0], item.box[3] - item.box[1]) * view.perMetre;
        if ((id === "plots" || id === "work_areas") && long < 1.6 * half) { continue; } // longer than what it names: waits for a closer view
        for (const [east, north] of id === "protected" || id === "work_areas" ? spots(item) : [item.at]) {
          const x = view.x(east), y = view.y(north) - (item.t === "P" ? 15 : 0), box = [x - half, y - size * 0.75, x + half, y + size * 0.75];
          if (box[0] < view.pad.x || box[1] < view.pad.y || box[2] > view.wide - view.pad.x || box[3] > view.high - view.pad.y) { continue; }
          if (taken.some((t) => t[0] < box[2] && box[0] < t[2] && t[1] < box[3] && box[1] < t[3])) { continue; }
          taken.push(box);
          write(context, text, x, y, size, id !== "contours");
          break;
        }
      }
    }
  }

  return { panes, patterns, outlines, hatches, points, colonies, labels, latLngs, styleOf, cross, ring, diamond, element };
})();
