"use strict";
// Cells and scores as typed arrays; no screen. The run's own rules, cell by cell, on responses in 10 bits (coding.py).
const explore = {};
explore.model = (() => {
  const METHODS = ["geometric mean", "mean", "lowest"], TOLERANCE = 1e-9;
  const FINE = 0, AT_ZERO = 1, BLIND = 2;

  async function inflate(text) {
    const flat = atob(text), bytes = new Uint8Array(flat.length);
    for (let i = 0; i < flat.length; i += 1) { bytes[i] = flat.charCodeAt(i); }
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  }

  // −log2 of the response of each code: even in the response down to 1/e, then even in the logarithm of it.
  function logs(levels, largest) {
    const knee = 1 / Math.LN2, first = 1 - 1 / Math.E, span = first + Math.log(largest / knee) / Math.E, out = new Float64Array(levels + 2);
    for (let c = 0; c < levels; c += 1) {
      const place = c / (levels - 1) * span;
      out[c] = place <= first ? -Math.log2(1 - place) : knee * Math.exp((place - first) * Math.E);
    }
    out[0] = 0; out[levels] = Infinity; out[levels + 1] = NaN;
    return out;
  }

  function undo(data, at, n) {
    const out = new Uint16Array(n);
    let last = 0;
    for (let j = 0; j < n; j += 1) { last = (last + (data[at + j] | data[at + n + j] << 8)) & 65535; out[j] = last; }
    return out;
  }

  function create(head, data) {
    const all = head.rows * head.cols, exclusion = data.subarray(0, all), depth = undo(data, all, all);
    let n = 0;
    for (let j = 0; j < all; j += 1) { if (exclusion[j] === 0) { n += 1; } }
    const cell = new Uint32Array(n);
    for (let j = 0, k = 0; j < all; j += 1) { if (exclusion[j] === 0) { cell[k] = j; k += 1; } }
    const codes = [];
    for (let r = 0; r < head.responses; r += 1) { codes.push(undo(data, 3 * all + 2 * n * r, n)); }
    const model = { head, rows: head.rows, cols: head.cols, n, cell, exclusion, depth, codes, logs: logs(head.levels, head.largest), method: METHODS.indexOf(head.method), passing: head.passing };
    model.species = head.species.map((one) => species(model, one));
    return model;
  }

  // Cells that lack the same criteria, or have the same ones at 0, share a pattern: what to divide by is known once each.
  function species(model, one) {
    const { n, head } = model, pattern = new Uint32Array(n), codes = one.criteria.map((c) => model.codes[c.response]);
    let states = [[]];
    for (const column of codes) {
      const next = [], table = new Int32Array(states.length * 3).fill(-1);
      for (let j = 0; j < n; j += 1) {
        const code = column[j], state = code < head.levels ? 0 : code === head.levels ? 1 : 2, key = pattern[j] * 3 + state;
        if (table[key] < 0) { table[key] = next.length; next.push([...states[pattern[j]], state]); }
        pattern[j] = table[key];
      }
      states = next;
    }
    return {
      ...one, codes, pattern, states, plan: one.criteria.map((c) => c.weight), weights: Float64Array.from(one.criteria.map((c) => c.weight)),
      sum: new Float64Array(n), summed: -1, score: new Float32Array(n), count: 0, total: 0,
    };
  }

  // What a code adds: −log2 r, r, or r for the lowest. Unknown adds nothing; 0 is dealt with by the pattern.
  function table(model, weight) {
    const { logs: l, head, method } = model, out = new Float64Array(l.length);
    for (let c = 0; c < head.levels; c += 1) { out[c] = method === 0 ? weight * l[c] : method === 1 ? weight * 2 ** -l[c] : 2 ** -l[c]; }
    out[head.levels] = 0;
    out[head.levels + 1] = method === 2 ? 1 : 0;
    return out;
  }
  function add(into, codes, values, n) { for (let j = 0; j < n; j += 1) { into[j] += values[codes[j]]; } }
  function least(into, codes, values, n) { for (let j = 0; j < n; j += 1) { const v = values[codes[j]]; if (v < into[j]) { into[j] = v; } } }

  // A dragged criterion changes the sums by a difference; the lowest response only asks which weights are above 0.
  function gather(model, s, moved, before) {
    const { n, method } = model, now = moved < 0 ? 0 : s.weights[moved];
    if (moved >= 0 && s.summed === method && method < 2) {
      const old = table(model, before), fresh = table(model, now);
      for (let c = 0; c < fresh.length; c += 1) { fresh[c] -= old[c]; }
      add(s.sum, s.codes[moved], fresh, n);
      return;
    }
    if (moved >= 0 && s.summed === method && before > 0 === now > 0) { return; }
    s.sum.fill(method === 2 ? 1 : 0);
    s.codes.forEach((codes, i) => { if (s.weights[i] > 0) { (method === 2 ? least : add)(s.sum, codes, table(model, s.weights[i]), n); } });
    s.summed = method;
  }

  function divisors(model, s) {
    const many = s.states.length, per = new Float64Array(many), kind = new Uint8Array(many), unknown = new Float64Array(many);
    let total = 0;
    for (const w of s.weights) { total += w; }
    s.states.forEach((state, p) => {
      let lost = 0, zero = false;
      state.forEach((one, i) => { if (one === 2) { lost += s.weights[i]; } if (one === 1 && s.weights[i] > 0) { zero = true; } });
      const left = total - lost, blind = lost > (model.head.unknown + TOLERANCE) * total || left <= TOLERANCE * total;
      kind[p] = blind ? BLIND : zero && model.method !== 1 ? AT_ZERO : FINE;
      per[p] = blind ? 1 : 1 / left;
      unknown[p] = lost / total;
    });
    s.total = total; s.unknown = unknown;
    return { per, kind };
  }

  // Scores of a species after a change: `moved` is the criterion that was dragged from the weight `before`, −1 for all.
  // Cells of which too much is unknown get −1.
  function rescore(model, s, moved, before) {
    gather(model, s, moved, before);
    const { n, method } = model, { per, kind } = divisors(model, s), { sum, score, pattern } = s;
    if (method === 0) {
      for (let p = 0; p < per.length; p += 1) { per[p] *= -Math.LN2; }
      for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? Math.exp(sum[j] * per[p]) : kind[p] === AT_ZERO ? 0 : -1; }
    } else if (method === 1) {
      for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? Math.min(1, sum[j] * per[p]) : -1; }
    } else {
      for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? sum[j] : kind[p] === AT_ZERO ? 0 : -1; }
    }
  }
  function count(model, s) {
    const limit = Math.fround(model.passing), { score } = s;
    let found = 0, sum = 0;
    for (let j = 0; j < model.n; j += 1) { if (score[j] >= limit) { found += 1; sum += score[j]; } }
    s.count = found; s.mean = found ? sum / found : 0;
  }

  // Why a cell has its score: the response and share of each criterion, and the one whose rise to 1 helps most.
  function why(model, s, j) {
    const rows = s.codes.map((codes, i) => {
      const l = model.logs[codes[j]], r = l === Infinity ? 0 : Number.isNaN(l) ? NaN : 2 ** -l, w = s.weights[i], share = w / s.total;
      const loss = w === 0 || Number.isNaN(r) ? 0 : model.method === 0 ? w * l : model.method === 1 ? w * (1 - r) : 1 - r;
      return { name: s.criteria[i].name, response: r, share, loss };
    });
    let worst = null;
    for (const row of rows) { if (row.loss > (worst ? worst.loss : 0)) { worst = row; } }
    if (model.method === 0 && worst && worst.loss === Infinity) { worst = rows.filter((r) => r.loss === Infinity).reduce((a, b) => b.share > a.share ? b : a); }
    return { rows, limiting: worst, unknown: s.unknown[s.pattern[j]], score: s.score[j] };
  }

  // Place of the limiting criterion per cell, 255 for none.
  function limiting(model, s) {
    const { n, method } = model, which = new Uint8Array(n).fill(255), worst = new Float32Array(n);
    s.codes.forEach((codes, i) => {
      const w = s.weights[i];
      if (w === 0) { return; }
      const loss = new Float32Array(model.logs.length);
      for (let c = 0; c < loss.length; c += 1) {
        const l = model.logs[c];
        loss[c] = Number.isNaN(l) ? 0 : method === 0 ? (l === Infinity ? 1e9 * (1 + w) : w * l) : method === 1 ? w * (1 - 2 ** -l) : 1 - 2 ** -l;
      }
      for (let j = 0; j < n; j += 1) { const v = loss[codes[j]]; if (v > worst[j]) { worst[j] = v; which[j] = i; } }
    });
    return which;
  }

  return { METHODS, inflate, create, rescore, count, why, limiting, logs };
})();
