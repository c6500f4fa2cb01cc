// Puts the page together: a change moves scores, picture and figures; patches follow when the hand rests.
(async () => {
  const { $ } = explore.panel, head = JSON.parse($("ex-data").textContent);
  document.documentElement.classList.add("ex-on");
  if (typeof DecompressionStream === "undefined") { $("ex-line").textContent = "This browser is too old for this page: it cannot unpack its cells."; return; }
  const model = explore.model.create(head, await explore.model.inflate($("ex-cells-data").textContent));
  $("ex-cells-data").remove();
  const state = explore.state = { model, species: model.species[0], mode: "score", ms: 0 };
  const pass = (s) => { const limit = Math.fround(model.passing), out = new Uint8Array(model.n); for (let j = 0; j < model.n; j += 1) { out[j] = s.score[j] >= limit ? 1 : 0; } return out; };
  for (const s of model.species) { explore.model.rescore(model, s); explore.model.count(model, s); s.passed = pass(s); s.before = s.count; }

  state.view = explore.view(model, $("ex-frame"), {
    over: (x, y) => { $("ex-position").textContent = inside(x, y) ? position(x, y) : ""; },
    asked: (x, y) => state.tell(x, y),
    moved: (zoom) => {
      const room = 130 / zoom * head.cell_m * Math.sqrt(head.cell_m2) / head.cell_m, power = 10 ** Math.floor(Math.log10(room)), long = [5, 2, 1].map((k) => k * power).find((v) => v <= room), bar = $("ex-scale");
      bar.style.width = `${(long / Math.sqrt(head.cell_m2) * zoom).toFixed(1)}px`;
      bar.textContent = long >= 1000 ? `${long / 1000} km` : `${long} m`;
    },
  });
  function inside(x, y) { return x >= 0 && y >= 0 && x < model.cols && y < model.rows; }
  function degrees(x, y) {
    const side = Math.sqrt(head.net.lon.length), u = (x + 0.5) / model.cols * (side - 1), v = (y + 0.5) / model.rows * (side - 1), i = Math.min(side - 2, Math.floor(u)), k = Math.min(side - 2, Math.floor(v)), a = u - i, b = v - k;
    const mix = (net) => (net[k * side + i] * (1 - a) + net[k * side + i + 1] * a) * (1 - b) + (net[(k + 1) * side + i] * (1 - a) + net[(k + 1) * side + i + 1] * a) * b;
    return [((mix(head.net.lon) + 180) % 360 + 360) % 360 - 180, mix(head.net.lat)];
  }
  state.degrees = degrees;
  function position(x, y) {
    const [lon, lat] = degrees(x, y), minutes = (v, signs, wide) => { const all = Math.round(Math.abs(v) * 6e5), d = Math.floor(all / 6e5); return `${String(d).padStart(wide, "0")}° ${((all - d * 6e5) / 1e4).toFixed(4).padStart(7, "0")}′ ${signs[v < 0 ? 1 : 0]}`; };
    return `${minutes(lat, "NS", 2)}, ${minutes(lon, "EW", 3)}`;
  }

  // Place among the cells that are not excluded, −1 for none.
  function place(x, y) {
    const at = y * model.cols + x;
    let low = 0, high = model.n - 1;
    while (low < high) { const mid = (low + high) >> 1; if (model.cell[mid] < at) { low = mid + 1; } else { high = mid; } }
    return inside(x, y) && model.cell[low] === at ? low : -1;
  }

  state.tell = (x, y) => {
    if (!inside(x, y)) { return; }
    state.asked = [x, y];
    const at = y * model.cols + x, s = state.species, rows = [["Position", position(x, y)], ["Depth", model.depth[at] === 65535 ? "unknown" : `${((model.depth[at] - 10000) / 10).toFixed(1)} m`]];
    state.view.choose(x, y);
    if (model.exclusion[at]) { explore.panel.facts("This cell", [...rows, ["Excluded", head.reasons[model.exclusion[at]] || "excluded"]], []); return; }
    const found = explore.model.why(model, s, place(x, y)), lost = found.unknown;
    rows.push([`Score, ${s.code}`, found.score < 0 ? "unknown: too much of the weight is unknown" : `${found.score.toFixed(2)}, ${found.score >= Math.fround(model.passing) ? "passes" : "does not pass"}`]);
    if (lost > 0) { rows.push(["Weight unknown", `${(100 * lost).toFixed(0)} %`]); }
    explore.panel.facts("This cell", rows, found.rows.map((r) => ({ ...r, limits: found.score >= 0 && r === found.limiting })));
  };

  let resting = 0;
  function show(started) {
    const s = state.species, limit = Math.fround(model.passing);
    if (state.mode === "limiting") { state.which = explore.model.limiting(model, s); }
    state.view.paint(state.mode, s.score, s.passed, state.which);
    if (model.species.length > 1) {
      let any = 0;
      const scores = model.species.map((one) => one.score), [a, b] = scores;
      if (scores.length === 2) { for (let j = 0; j < model.n; j += 1) { if (a[j] >= limit || b[j] >= limit) { any += 1; } } }
      else { for (let j = 0; j < model.n; j += 1) { if (scores.some((one) => one[j] >= limit)) { any += 1; } } }
      state.any = any;
    }
    explore.panel.weights(state);
    explore.panel.figures(state);
    state.ms = performance.now() - started;
    clearTimeout(resting);
    resting = setTimeout(rest, 150);
  }
  function rest() {
    const limit = Math.fround(model.passing), scores = model.species.map((one) => one.score);
    const found = explore.patches(model, (j) => scores.some((one) => one[j] >= limit));
    $("ex-patches").textContent = `In patches of at least ${head.least_m2} m² (any species): ${explore.panel.whole(found.area)} m² in ${found.many}.`;
    state.patches = found;
    const coded = head.sites.filter(([, given]) => given), good = (site) => found.holds(place(Math.floor(site[2]), Math.floor(site[3])));
    const names = (list) => list.map(([name]) => name).join(", ") || "none";
    $("ex-codes").textContent = coded.length ? `Site codes in such a patch: ${names(coded.filter(good))}; not: ${names(coded.filter((site) => !good(site)))}.` : "";
    const text = explore.change(model);
    $("ex-toml").value = text || "# Nothing is changed yet.";
    $("ex-copy").disabled = $("ex-save").disabled = text === "";
    explore.panel.legend(state);
    if (state.asked) { state.tell(...state.asked); }
    state.rested = performance.now();
    resting = setTimeout(prepare, 0);
  }
  // While the hand rests, the sums of the rules that are not shown follow the weights: a change of the rule then costs no sum.
  function prepare() {
    for (const s of model.species) {
      const stale = explore.model.METHODS.findIndex((_, m) => !s.held[m] || s.held[m].some((w, i) => w !== s.weights[i]));
      if (stale >= 0) { explore.model.gather(model, s, stale); resting = setTimeout(prepare, 0); return; }
    }
    state.prepared = performance.now();
  }
  state.settle = () => { clearTimeout(resting); rest(); };

  state.weigh = (i, weight) => {
    const started = performance.now(), name = state.species.criteria[i].name;
    if (state.species.weights.every((w, k) => (k === i ? weight : w) === 0)) { explore.panel.weights(state); $("ex-line").textContent = "One criterion must keep a weight above 0."; return; }
    for (const s of $("ex-both").checked ? model.species : [state.species]) {
      const k = s === state.species ? i : s.criteria.findIndex((c) => c.name === name);
      if (k < 0 || s.weights.every((w, m) => (m === k ? weight : w) === 0)) { continue; }
      s.weights[k] = weight;
      explore.model.rescore(model, s);
      explore.model.count(model, s);
    }
    show(started);
  };
  state.pass = (value) => {
    const started = performance.now();
    model.passing = value;
    for (const s of model.species) { explore.model.count(model, s); }
    $("ex-passing-now").textContent = value.toFixed(2);
    show(started);
  };
  state.combine = (method) => { const started = performance.now(); model.method = method; all(); show(started); };
  function all() { for (const s of model.species) { explore.model.rescore(model, s); explore.model.count(model, s); } }
  state.pick = (k) => { state.species = model.species[k]; explore.panel.sliders(state); show(performance.now()); explore.panel.legend(state); };
  state.look = (mode) => { state.mode = mode; show(performance.now()); explore.panel.legend(state); };

  const limit = Math.fround(model.passing);
  state.anyBefore = 0;
  for (let j = 0; j < model.n; j += 1) { if (model.species.some((s) => s.score[j] >= limit)) { state.anyBefore += 1; } }
  const pick = $("ex-species");
  model.species.forEach((s, k) => { const o = explore.panel.make("option", pick); o.value = String(k); o.textContent = `${s.code}, ${s.name}`; });
  pick.addEventListener("change", () => state.pick(Number(pick.value)));
  $("ex-both-row").hidden = model.species.length < 2;
  const combine = $("ex-combine");
  explore.model.METHODS.forEach((words, k) => { const o = explore.panel.make("option", combine); o.value = String(k); o.textContent = k === 1 ? "weighted mean" : k === 0 ? "weighted geometric mean" : words; });
  combine.value = String(model.method);
  combine.addEventListener("change", () => state.combine(Number(combine.value)));
  $("ex-passing").value = String(model.passing);
  $("ex-passing-now").textContent = model.passing.toFixed(2);
  $("ex-passing").addEventListener("input", () => state.pass(Number($("ex-passing").value)));
  for (const radio of document.querySelectorAll("input[name=ex-mode]")) { radio.addEventListener("change", () => state.look(radio.value)); }
  for (const what of ["candidates", "sites"]) { $(`ex-${what}`).addEventListener("change", (event) => state.view.show(what, event.target.checked)); }
  $("ex-reset").addEventListener("click", () => {
    const started = performance.now();
    model.method = explore.model.METHODS.indexOf(head.method); model.passing = head.passing;
    for (const s of model.species) { s.weights.set(s.plan); }
    combine.value = String(model.method); $("ex-passing").value = String(model.passing); $("ex-passing-now").textContent = model.passing.toFixed(2);
    all(); explore.panel.sliders(state); show(started);
  });
  $("ex-copy").addEventListener("click", () => { $("ex-toml").select(); document.execCommand("copy"); $("ex-copied").textContent = "Copied."; });
  $("ex-save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([$("ex-toml").value], { type: "text/plain" })); link.download = "plan-changes.toml"; link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  $("ex-in").addEventListener("click", () => state.view.zoom(1.4));
  $("ex-out").addEventListener("click", () => state.view.zoom(1 / 1.4));
  $("ex-fit").addEventListener("click", () => state.view.fit());
  explore.panel.sliders(state);
  show(performance.now());
  state.settle();
  state.ready = performance.now();
})();
