// The side panel: switches, legend, facts and search, built from text nodes only.
sitekit.panel = (() => {
  const say = (key, values) => sitekit.say(key, values);
  const $ = (id) => document.getElementById(id);
  function make(name, parent, text, classes) {
    const node = document.createElement(name);
    if (classes) { node.className = classes; }
    if (text !== undefined) { const inner = document.createElement("bdi"); inner.textContent = text; node.appendChild(inner); }
    if (parent) { parent.appendChild(node); }
    return node;
  }
  function choice(parent, type, group, text, on, dead, change) {
    const label = make("label", parent, undefined, dead ? "sk-choice sk-none" : "sk-choice");
    const input = make("input", label);
    input.type = type; input.name = group; input.checked = on; input.disabled = dead;
    make("span", label, dead ? say("none", { text }) : text);
    input.addEventListener("change", () => change(input.checked));
    return input;
  }
  function set(parent, title, hidden) { const box = make("fieldset", parent); make("legend", box, title, hidden ? "sk-unseen" : ""); return box; }

  function switches(state) {
    const box = $("sk-layers");
    const colour = set($("sk-colours"), say("colour_by"), true), pick = make("select", colour), groups = new Map();
    pick.id = "sk-raster";
    pick.setAttribute("aria-label", say("colour_by"));
    const option = (parent, value, words) => { const o = make("option", parent); o.value = value; o.textContent = words; };
    state.rasters.forEach((raster, i) => {
      if (!groups.has(raster.group)) { const g = raster.group ? make("optgroup", pick) : pick; if (raster.group) { g.label = raster.group; } groups.set(raster.group, g); }
      option(groups.get(raster.group), String(i), raster.label);
    });
    option(pick, "-1", say("nothing"));
    pick.value = String(state.shown.raster);
    pick.addEventListener("change", () => state.showRaster(Number(pick.value)));
    if (state.rasters.length) {
      const label = make("label", colour, say("opacity"), "sk-small");
      const slider = make("input", label);
      slider.type = "range"; slider.min = "0.1"; slider.max = "1"; slider.step = "0.05"; slider.value = String(state.shown.opacity);
      slider.addEventListener("input", () => state.fade(Number(slider.value)));
      state.slider = slider;
    }
    const under = set(box, say("under"));
    for (const [key, words] of [["photo", say("photo")], ["relief", say("relief")]]) {
      if (state.pictures[key]) { choice(under, "radio", "sk-under", words, state.shown.under === key, false, () => state.showUnder(key)); }
    }
    choice(under, "radio", "sk-under", say("plain"), state.shown.under === "", false, () => state.showUnder(""));
    const show = set(box, say("show"));
    choice(show, "checkbox", "hatch", say("out"), state.shown.hatch, !Object.keys(state.reasons).length, (on) => state.show("hatch", on));
    for (const layer of [...state.layers].reverse()) {
      choice(show, "checkbox", layer.id, layer.items.length ? `${layer.label} (${layer.items.length})` : layer.label, layer.on, !layer.items.length, (on) => state.showLayer(layer, on));
    }
    const n = state.colonies.count;
    choice(show, "checkbox", "colonies", n ? `${say("colonies")} (${n})` : say("colonies"), n > 0, n === 0, (on) => state.show("colonies", on));
    choice(show, "checkbox", "labels", say("names"), true, false, (on) => state.show("labels", on));
    if (n) {
      const by = make("label", box, `${say("colonies_by")} `, "sk-choice");
      const select = make("select", by);
      for (const [value, words] of [["species", say("by_species")], ["genet", say("by_genet")]]) { const o = make("option", select); o.value = value; o.textContent = words; }
      select.value = state.shown.by;
      select.addEventListener("change", () => state.colourBy(select.value));
      const only = make("label", box, `${say("only_genet")} `, "sk-choice");
      const which = make("select", only);
      const every = make("option", which); every.value = ""; every.textContent = say("every");
      state.colonies.genets.forEach(([species, genet, count], g) => { const o = make("option", which); o.value = String(g); o.textContent = `${species} ${genet} (${count})`; });
      which.addEventListener("change", () => state.showOnly(which.value === "" ? null : Number(which.value)));
    }
  }

  function row(parent, swatch, text) {
    const line = make("div", parent, undefined, "sk-row");
    line.appendChild(swatch);
    make("span", line, text);
  }
  function patch(colour, opacity) {
    const node = make("span", null, undefined, "sk-swatch");
    const part = (k) => parseInt(colour.slice(k, k + 2), 16);
    node.style.backgroundColor = `rgba(${part(1)},${part(3)},${part(5)},${opacity})`;
    return node;
  }
  function drawn(paint) {
    const node = make("canvas", null, undefined, "sk-swatch"), ratio = 2;
    node.width = 30 * ratio; node.height = 17 * ratio;
    node.setAttribute("aria-hidden", "true");
    const c = node.getContext("2d");
    c.scale(ratio, ratio);
    paint(c);
    return node;
  }
  function lines(layer, kind) {
    const style = sitekit.draw.styleOf(layer.id, kind);
    const svg = sitekit.draw.element("svg", { class: "sk-swatch", viewBox: "0 0 30 17", "aria-hidden": "true" });
    if (layer.items.every((item) => item.t === "L")) {
      svg.appendChild(sitekit.draw.element("path", { d: "M0 8.5H30", stroke: style.color, "stroke-width": style.weight, "stroke-dasharray": style.dashArray || "none", "stroke-opacity": style.opacity || 1 }));
      return svg;
    }
    svg.appendChild(sitekit.draw.element("rect", { x: 2, y: 2, width: 26, height: 13, fill: style.fill && style.fillColor || "none",
      "fill-opacity": style.fillOpacity === undefined ? 1 : style.fillOpacity, stroke: style.color, "stroke-width": style.weight, "stroke-dasharray": style.dashArray || "none" }));
    return svg;
  }

  // Built from the same rows, colours and opacity as the picture on the map.
  function legend(state) {
    const box = $("sk-legend");
    box.replaceChildren();
    const raster = state.rasters[state.shown.raster];
    if (raster) {
      make("h3", box, raster.unit ? `${raster.label}, ${raster.unit}` : raster.label);
      const two = make("div", box, undefined, raster.classes ? "" : "sk-rows");
      for (const [colour, words] of raster.legend) { row(two, patch(colour, state.shown.opacity), words); }
      if (raster.note) { make("p", box, raster.note, "sk-small"); }
      const reason = state.reasons[raster.reasons];
      if (reason && state.shown.hatch) {
        make("h3", box, reason.label);
        for (const kind of ["excluded", "unknown"]) {
          const words = reason.legend.filter((r) => r[0] === kind).map((r) => r[1]);
          if (words.length) { row(box, drawn((c) => { c.fillStyle = c.createPattern(sitekit.canvas.hatch(kind, 1), "repeat"); c.fillRect(0, 0, 30, 17); }), kind === "excluded" ? say("excluded", { reasons: words.join("; ") }) : say("unknown", { reasons: words.join("; ") })); }
        }
      }
    }
    if (state.shown.under === "relief") {
      make("p", box, say("shaded"), "sk-small");
    }
    const on = state.layers.filter((layer) => layer.on).reverse(), n = state.colonies;
    if (on.length || (n.count && state.shown.colonies)) { make("h3", box, say("marks")); }
    for (const layer of on) { marks(box, layer); }
    if (n.count && state.shown.colonies) { colonyRows(box, state); }
  }
  function marks(box, layer) {
    const kinds = [...new Set(layer.items.map((item) => item.k))].sort();
    if (layer.id === "sites") { for (const kind of kinds) { row(box, drawn((c) => sitekit.draw.diamond(c, 15, 8.5, kind)), kind ? say("of_kind", { layer: layer.label, kind: sitekit.kind(layer, kind) }) : layer.label); } return; }
    if (layer.id === "existing") {
      for (const kind of kinds) { row(box, drawn((c) => sitekit.draw.cross(c, 15, 8.5, kind === "outplant")), kind ? say("of_kind", { layer: layer.label, kind: sitekit.kind(layer, kind) }) : layer.label); }
      return;
    }
    if (layer.id === "standing") {
      for (const kind of kinds) { row(box, drawn((c) => sitekit.draw.ring(c, 15, 8.5, kind)), say("of_kind", { layer: layer.label, kind: sitekit.kind(layer, kind) })); }
      return;
    }
    const split = layer.id === "protected" || layer.id === "plots" ? kinds : [""];
    for (const kind of split) {
      row(box, lines(layer, kind), kind ? say("of_kind", { layer: layer.label, kind: sitekit.kind(layer, kind) }) : layer.label);
    }
    if (layer.thinned) { make("p", box, say("thinned", { layer: layer.label }), "sk-small"); }
  }
  function colonyRows(box, state) {
    const all = state.colonies, shape = (g) => sitekit.canvas.SHAPES[all.speciesOf[g] % sitekit.canvas.SHAPES.length];
    const mark = (kind, colour) => drawn((c) => { c.beginPath(); sitekit.canvas.shape(c, kind, 15, 8.5, 5.5); c.fillStyle = colour; c.fill(); c.strokeStyle = "#101010"; c.stroke(); });
    if (state.shown.by === "species") {
      all.species.forEach((species, s) => row(box, mark(sitekit.canvas.SHAPES[s % sitekit.canvas.SHAPES.length], state.colours[all.speciesOf.indexOf(s)]), say("of_kind", { layer: say("colonies"), kind: species })));
      return;
    }
    const two = make("div", box, undefined, "sk-rows");
    all.genets.forEach(([species, genet, count], g) => { if (state.only === null || state.only === g) { row(two, mark(shape(g), state.colours[g]), `${species} ${genet}: ${count}`); } });
    if (all.genets.length > state.distinct) { make("p", box, say("genets_repeat", { number: state.distinct }), "sk-small"); }
  }

  function facts(found) {
    const box = $("sk-facts");
    box.replaceChildren();
    $("sk-facts-box").hidden = false;
    for (const one of found) {
      const part = make("div", box, undefined, "sk-fact");
      make("h3", part, one.title);
      const list = make("dl", part);
      for (const [label, text] of one.rows) { if (text !== "") { make("dt", list, label); make("dd", list, text); } }
      if (one.more) { make("p", part, one.more, "sk-small"); }
    }
    $("sk-panel").classList.add("sk-open");
    $("sk-drawer").setAttribute("aria-expanded", "true");
    $("sk-panel").scrollTop = 0;
  }
  function close() {
    $("sk-facts-box").hidden = true;
    $("sk-panel").classList.remove("sk-open");
    $("sk-drawer").setAttribute("aria-expanded", "false");
  }

  function search(state) {
    const field = $("sk-find"), list = $("sk-found");
    field.addEventListener("input", () => {
      list.replaceChildren();
      const wanted = field.value.trim().toLowerCase();
      if (!wanted) { return; }
      const hits = state.find(wanted, 12);
      for (const hit of hits) {
        const button = make("button", make("li", list), hit.title);
        button.type = "button";
        button.addEventListener("click", () => state.goTo(hit));
      }
      if (!hits.length) { make("li", list, say("not_found"), "sk-small"); }
    });
    field.addEventListener("keydown", (event) => { if (event.key === "Enter" && list.querySelector("button")) { list.querySelector("button").click(); } });
  }

  return { switches, legend, facts, close, search, $ };
})();
