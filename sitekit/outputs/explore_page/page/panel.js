// The side panel: sliders, figures, legend and facts, built from text nodes only.
explore.panel = (() => {
  const $ = (id) => document.getElementById(id);
  function make(name, parent, text, classes) {
    const node = document.createElement(name);
    if (classes) { node.className = classes; }
    if (text !== undefined) { const inner = document.createElement("bdi"); inner.textContent = text; node.appendChild(inner); }
    if (parent) { parent.appendChild(node); }
    return node;
  }
  const whole = (v) => Math.round(v).toLocaleString("en").replace(/,/g, "\u202f").replace("-", "−");
  const share = (v) => `${(100 * v).toFixed(0)} %`;

  function sliders(state) {
    const box = $("ex-weights"), s = state.species;
    box.replaceChildren();
    s.criteria.forEach((c, i) => {
      const row = make("div", box, undefined, "ex-weight"), label = make("label", row, c.verified ? c.name : `${c.name} *`), slide = make("input", row), out = make("output", row);
      label.title = c.name; slide.id = `ex-w${i}`; label.htmlFor = slide.id; out.htmlFor = slide.id; out.setAttribute("aria-live", "off");
      slide.type = "range"; slide.min = "0"; slide.max = String(Math.max(1, ...s.plan)); slide.step = "0.01"; slide.value = String(s.weights[i]);
      slide.addEventListener("input", () => state.weigh(i, Number(slide.value)));
    });
    if (s.criteria.some((c) => !c.verified)) { make("p", box, "* nobody has read this curve's values in a source yet", "ex-small"); }
    weights(state);
  }
  function weights(state) {
    const s = state.species, total = s.weights.reduce((a, b) => a + b, 0);
    $("ex-weights").querySelectorAll(".ex-weight").forEach((row, i) => {
      row.querySelector("output").textContent = `${s.weights[i].toFixed(2)} (${share(total ? s.weights[i] / total : 0)})`;
      row.classList.toggle("ex-moved", Math.abs(s.weights[i] - s.plan[i]) > 1e-9);
      const slide = row.querySelector("input");
      if (document.activeElement !== slide) { slide.value = String(s.weights[i]); }
      slide.setAttribute("aria-valuetext", `${s.weights[i].toFixed(2)}, ${share(total ? s.weights[i] / total : 0)} of all; plan ${s.plan[i].toFixed(2)}`);
    });
  }

  function figures(state) {
    const { model } = state, body = $("ex-figures"), cell = model.head.cell_m2, rows = [];
    for (const s of model.species) { rows.push([s.code, s.count, s.before, s]); }
    if (model.species.length > 1) { rows.push(["any", state.any, state.anyBefore, null]); }
    body.replaceChildren();
    for (const [name, now, before, s] of rows) {
      const tr = make("tr", body), change = (now - before) * cell;
      make("th", tr, name).scope = "row";
      make("td", tr, whole(now * cell));
      make("td", tr, now === before ? "0" : `${change > 0 ? "+" : ""}${whole(change)}`);
      make("td", tr, s ? whole(Math.floor(now * cell / s.unit_m2)) : "");
      make("td", tr, s && s.share !== null ? `≈ ${whole(now * cell / s.unit_m2 * s.share)}` : "");
    }
    const s = state.species;
    $("ex-room").textContent = `Room in closest packing: area over ${s.unit_m2.toFixed(2)} m² a unit (√3/2 · d², ${s.code}: d = ${s.separation_m.toFixed(2)} m). As laid out: ` +
      (s.share === null ? "this run has no capacity." : `the run's layout holds ${(100 * s.share).toFixed(1)} % of that for ${s.code}.`) + " An estimate: only a run lays colonies out.";
    $("ex-line").textContent = `${s.code}: ${whole(s.count * cell)} m² pass at ${model.passing.toFixed(2)} and above; mean score there ${s.count ? s.mean.toFixed(2) : "–"}.`;
  }

  function row(parent, colour, text, opacity) {
    const line = make("div", parent, undefined, "ex-row"), swatch = make("span", line, undefined, "ex-swatch");
    const part = (k) => parseInt(colour.slice(k, k + 2), 16);
    swatch.style.backgroundColor = `rgba(${part(1)},${part(3)},${part(5)},${opacity})`;
    make("span", line, text);
  }
  function pattern(parent, name, text) { const line = make("div", parent, undefined, "ex-row"); make("span", line, undefined, `ex-swatch ex-${name}`); make("span", line, text); }
  function legend(state) {
    const box = $("ex-legend"), { model, species } = state, colours = model.head.ramp;
    box.replaceChildren();
    if (state.mode === "score") {
      make("p", box, `Score of ${species.code}, 0–1; paler where it stays below ${model.passing.toFixed(2)}`, "ex-small");
      const two = make("div", box, undefined, "ex-rows");
      colours.forEach((c, b) => row(two, c, `${(b / 10).toFixed(1)} to ${((b + 1) / 10).toFixed(1)}`, (b + 1) / 10 <= model.passing + 1e-9 ? 0.41 : 1));
    } else if (state.mode === "change") {
      make("p", box, `${species.code}: passing now against the plan's own weights, rule and threshold`, "ex-small");
      for (const [kind, words] of [["kept", "passes in both"], ["gained", "gained"]]) { row(box, state.view.CHANGE[kind], words, 1); }
      pattern(box, "lost", "lost");
    } else {
      make("p", box, `${species.code}: the criterion whose rise to 1 would raise the score most`, "ex-small");
      species.criteria.forEach((c, i) => row(box, model.head.classes[i], c.name, 1));
    }
    pattern(box, "excluded", "excluded, whatever the weights");
    pattern(box, "unknown", "too much of the weight is unknown");
  }

  function facts(title, rows, list) {
    const box = $("ex-facts");
    box.replaceChildren();
    $("ex-facts-box").hidden = false;
    make("h3", box, title);
    const dl = make("dl", box);
    for (const [label, text] of rows) { make("dt", dl, label); make("dd", dl, text); }
    if (!list.length) { return; }
    const table = make("table", box), head = make("tr", make("thead", table)), body = make("tbody", table);
    for (const words of ["Criterion", "Suits, 0–1", "Share of weight"]) { make("th", head, words).scope = "col"; }
    for (const one of list) {
      const tr = make("tr", body, undefined, one.limits ? "ex-limits" : "");
      make("th", tr, one.limits ? `${one.name} (limits)` : one.name).scope = "row";
      make("td", tr, Number.isNaN(one.response) ? "unknown" : one.response.toFixed(2));
      make("td", tr, share(one.share));
    }
  }
  return { $, make, sliders, weights, figures, legend, facts, whole };
})();
