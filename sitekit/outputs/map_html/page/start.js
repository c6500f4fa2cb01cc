// Puts the page together once folium has made the map and its pictures.
sitekit.start = (map, pictures) => {
  const $ = (id) => document.getElementById(id), data = JSON.parse($("sk-data").textContent);
  sitekit.words = data.words; sitekit.units = data.units;
  document.documentElement.classList.add("sk-on");
  const layers = sitekit.unpack.layers(data), colonies = sitekit.unpack.colonies(data.colonies, data);
  const first = data.rasters.length ? 0 : -1;
  const state = sitekit.state = {
    map, layers, colonies, pictures, reasons: data.reasons, rasters: data.rasters, distinct: data.classes.length, only: null, measuring: false, notationFirst: data.notation,
    shown: { raster: first, opacity: first < 0 ? 1 : data.rasters[0].opacity, under: data.photo ? "photo" : data.relief ? "relief" : "", hatch: true, colonies: true, labels: true,
      by: colonies.count && new Set(colonies.genets.map((g) => g[0])).size > 1 ? "species" : "genet" },
    perMetre: () => 256 * 2 ** map.getZoom() / (2 * Math.PI * sitekit.geodesy.RADIUS),
  };
  const box = L.latLngBounds(corner(data.west, data.south), corner(data.east, data.north));
  function corner(x, y) { const p = sitekit.geodesy.toDegrees(x, y); return [p.lat, p.lon]; }
  const image = (uri) => { const node = new Image(); node.src = uri; return node; };
  for (const raster of state.rasters) {
    const overlay = pictures[raster.key], b = overlay.getBounds(), sw = sitekit.geodesy.toPlane(b.getWest(), b.getSouth()), ne = sitekit.geodesy.toPlane(b.getEast(), b.getNorth());
    raster.box = [sw.x, sw.y, ne.x, ne.y];
    raster.load = () => raster.image || (raster.image = image(overlay._url)); // decoded when first asked for
  }
  map.invalidateSize({ pan: false });
  map.fitBounds(box, { animate: false, padding: [12, 12] });
  map.setMaxBounds(box.pad(1.5));

  sitekit.draw.panes(map);
  const renderer = L.svg({ pane: "sk-vector", padding: 0.3 }).addTo(map);
  renderer._container.insertBefore(sitekit.draw.patterns("sk-"), renderer._container.firstChild);
  state.chosenRenderer = L.svg({ pane: "sk-chosen", padding: 0.3 }).addTo(map);
  for (const layer of layers) { layer.group = sitekit.draw.outlines(layer, renderer); if (layer.on) { layer.group.addTo(map); } }

  const hatch = new sitekit.canvas.Layer("sk-hatch", (context, view) => {
    const raster = state.rasters[state.shown.raster], reason = raster && state.reasons[raster.reasons];
    if (reason && state.shown.hatch) { sitekit.draw.hatches(context, view, reason); }
  }).addTo(map);
  const point = new sitekit.canvas.Layer("sk-point", (context, view) => {
    if (state.shown.colonies && colonies.count) { sitekit.draw.colonies(context, view, colonies, state.colours, state.only); }
    for (const layer of layers) { if (layer.on) { sitekit.draw.points(context, view, layer); } }
  });
  const label = new sitekit.canvas.Layer("sk-label", (context, view) => { if (state.shown.labels) { sitekit.draw.labels(context, view, layers); } });
  for (const name of Object.keys(state.reasons)) {
    const reason = state.reasons[name];
    reason.image = image(reason.image);
    for (const kind of ["excluded", "unknown"]) {
      if (reason[kind]) { reason[`${kind}Image`] = image(reason[kind]); reason[`${kind}Image`].addEventListener("load", () => hatch.redraw()); }
    }
  }

  state.colourBy = (by) => {
    state.shown.by = by;
    state.colours = colonies.genets.map((_, g) => data.classes[(by === "species" ? colonies.speciesOf[g] : g) % data.classes.length]);
    again();
  };
  function again() { hatch.redraw(); point.redraw(); label.redraw(); sitekit.panel.legend(state); }
  state.show = (what, on) => { state.shown[what] = on; again(); };
  state.showOnly = (genet) => { state.only = genet; again(); };
  state.showLayer = (layer, on) => { layer.on = on; if (on) { layer.group.addTo(map); } else { layer.group.remove(); } again(); };
  state.showRaster = (i) => {
    state.shown.raster = i;
    state.rasters.forEach((raster, k) => { if (k === i) { pictures[raster.key].addTo(map).bringToFront(); } else { pictures[raster.key].remove(); } });
    if (i >= 0) { state.fade(state.rasters[i].opacity); if (state.slider) { state.slider.value = String(state.shown.opacity); } }
    again();
  };
  state.fade = (opacity) => {
    state.shown.opacity = opacity;
    const raster = state.rasters[state.shown.raster];
    if (raster) { raster.opacity = opacity; pictures[raster.key].setOpacity(opacity); }
    sitekit.panel.legend(state);
  };
  state.showUnder = (key) => {
    state.shown.under = key;
    for (const name of ["photo", "relief"]) { if (pictures[name]) { if (name === key) { pictures[name].addTo(map).bringToBack(); } else { pictures[name].remove(); } } }
    again();
  };

  let chosen = null;
  state.choose = (hit) => {
    if (chosen) { chosen.remove(); chosen = null; }
    state.chosenAt = null;
    if (!hit || (!hit.item && !hit.at)) { return; }
    const base = { interactive: false, fill: false, pane: "sk-chosen", renderer: state.chosenRenderer };
    const two = [{ ...base, color: "#101010", weight: 6 }, { ...base, color: "#ffe14a", weight: 3 }];
    const item = hit.item, at = hit.at || item.at;
    state.chosenAt = corner(at[0], at[1]);
    chosen = L.layerGroup(two.map((style) => !item || item.t === "P" ? L.circleMarker(corner(at[0], at[1]), { ...style, radius: 12 })
      : (item.t === "A" ? L.polygon : L.polyline)(sitekit.draw.latLngs(item.parts, item.t === "A"), style))).addTo(map);
  };
  state.tell = async (latlng) => {
    const p = sitekit.geodesy.toPlane(latlng.lng, latlng.lat), found = await sitekit.facts.under(state, p.x, p.y);
    state.choose(found[0]);
    sitekit.panel.facts(found);
  };
  const act = (latlng) => { if (state.measuring) { state.addPoint(latlng); } else { state.tell(latlng); } };
  map.on("click", (event) => act(event.latlng));
  // The cross stands where Enter asks: shown to whoever uses keys.
  for (const [what, on] of [["keydown", true], ["keyup", true], ["pointerdown", false]]) { map.getContainer().addEventListener(what, () => map.getContainer().classList.toggle("sk-keys", on)); }
  map.getContainer().addEventListener("keydown", (event) => { if (event.key === "Enter") { act(map.getCenter()); event.preventDefault(); } });

  state.find = (wanted, most) => {
    const hits = [];
    for (const layer of [...layers].reverse()) {
      if (layer.id === "contours" || layer.id === "tape_lines") { continue; } // a tape line bears its plot's name
      for (const item of layer.items) { if (hits.length < most && item.n && item.n.toLowerCase().includes(wanted)) { hits.push({ ...sitekit.facts.itemFacts(item) }); } }
    }
    for (let pass = 0; pass < 2; pass += 1) { // whole tags first, then tags that hold the text
      for (let i = 0; i < colonies.count && hits.length < most; i += 1) {
        const tag = colonies.tag(i).toLowerCase();
        if (pass ? tag !== wanted && tag.includes(wanted) : tag === wanted) { hits.push({ colony: i, title: sitekit.say("colony", { tag: colonies.tag(i) }) }); }
      }
    }
    return hits;
  };
  state.goTo = (hit) => {
    const full = hit.colony === undefined ? hit : sitekit.facts.colonyFacts(colonies, hit.colony, state.notation());
    if (full.item && full.item.t !== "P") { const b = full.item.box; map.fitBounds([corner(b[0], b[1]), corner(b[2], b[3])], { animate: false, padding: [40, 40], maxZoom: 23 }); }
    else { const at = full.at || full.item.at; map.setView(corner(at[0], at[1]), Math.max(map.getZoom(), 21), { animate: false }); }
    state.choose(full);
    sitekit.panel.facts([full]);
  };

  sitekit.tools.cursor(map, state);
  sitekit.tools.measure(map, state);
  state.colourBy(state.shown.by);
  point.addTo(map);
  label.addTo(map);
  sitekit.panel.switches(state);
  sitekit.panel.search(state);
  sitekit.tools.scale(map);
  sitekit.tools.printing(map);
  $("sk-in").addEventListener("click", () => map.zoomIn(1));
  $("sk-out").addEventListener("click", () => map.zoomOut(1));
  $("sk-fit").addEventListener("click", () => map.fitBounds(box, { animate: false, padding: [12, 12] }));
  $("sk-drawer").addEventListener("click", () => {
    const open = $("sk-panel").classList.toggle("sk-open");
    $("sk-drawer").setAttribute("aria-expanded", String(open));
  });
  $("sk-close").addEventListener("click", () => { state.choose(null); sitekit.panel.close(); map.getContainer().focus({ preventScroll: true }); });
  // On a phone the panel takes room from the map: what was chosen stays in sight.
  new ResizeObserver(() => {
    if (document.documentElement.classList.contains("sk-print")) { return; }
    map.invalidateSize({ animate: false });
    if (state.chosenAt) { map.panInside(state.chosenAt, { padding: [40, 40], animate: false }); }
  }).observe(map.getContainer());
  state.ready = performance.now();
};
