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
      sums: [new Float64Array(n), new Float64Array(n), new Float32Array(n)], held: METHODS.map(() => null), score: new Float32Array(n), count: 0, total: 0,
    };
  }

  // What a code adds: −log2 r, r, or r for the lowest. Unknown adds nothing; 0 is dealt with by the pattern.
  function table(model, method, weight) {
    const { logs: l, head } = model, out = new Float64Array(l.length);
    for (let c = 0; c < head.levels; c += 1) { out[c] = method === 0 ? weight * l[c] : method === 1 ? weight * 2 ** -l[c] : 2 ** -l[c]; }
    out[head.levels] = 0;
    out[head.levels + 1] = method === 2 ? 1 : 0;
    return out;
  }
  function add(into, codes, values, n) { for (let j = 0; j < n; j += 1) { into[j] += values[codes[j]]; } }
  function least(into, codes, values, n) { for (let j = 0; j < n; j += 1) { const v = values[codes[j]]; if (v < into[j]) { into[j] = v; } } }
  function addFour(into, [a, b, c, d], [p, q, r, s], n) { for (let j = 0; j < n; j += 1) { into[j] += p[a[j]] + q[b[j]] + r[c[j]] + s[d[j]]; } }
  function leastFour(into, [a, b, c, d], values, n) {
    for (let j = 0; j < n; j += 1) {
      const p = values[a[j]], q = values[b[j]], r = values[c[j]], s = values[d[j]], e = p < q ? p : q, f = r < s ? r : s, v = e < f ? e : f;
      if (v < into[j]) { into[j] = v; }
    }
  }

  // Brings the sums of a rule to the weights of now. `held` are the weights they stand for: each criterion that moved since
  // is added as a difference, so that a drag costs one pass. The lowest response only asks which weights are above 0.
  function gather(model, s, method) {
    const { n } = model, sum = s.sums[method], held = s.held[method], all = [...s.codes.keys()];
    const counts = method === 2 ? (w) => w > 0 ? 1 : 0 : (w) => w;
    const moved = held ? all.filter((i) => counts(s.weights[i]) !== counts(held[i])) : all;
    const fresh = !held || moved.length * 2 > all.length || (method === 2 && moved.some((i) => s.weights[i] === 0));
    const parts = fresh ? all.filter((i) => s.weights[i] > 0) : moved, codes = parts.map((i) => s.codes[i]);
    if (fresh) { sum.fill(method === 2 ? 1 : 0); }
    const one = table(model, method, 1), tables = parts.map((i) => method === 2 ? one : one.map((v) => v * (s.weights[i] - (fresh ? 0 : held[i]))));
    let k = 0;
    for (; k + 4 <= parts.length; k += 4) { if (method === 2) { leastFour(sum, codes.slice(k, k + 4), one, n); } else { addFour(sum, codes.slice(k, k + 4), tables.slice(k, k + 4), n); } }
    for (; k < parts.length; k += 1) { (method === 2 ? least : add)(sum, codes[k], tables[k], n); }
    s.held[method] = s.weights.slice();
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

  // 2 to the power −v: straight lines between 1,024 points a unit, off by (ln 2 / 1024)² / 8 = 6e-8 of it at most.
  const POINTS = 1024, FAR = 16, HALVES = Float64Array.from({ length: POINTS * FAR + 1 }, (_, i) => 2 ** (-i / POINTS));
  function half(v) {
    if (v >= FAR) { return Math.exp(-Math.LN2 * v); }
    const at = v * POINTS, i = at | 0, low = HALVES[i];
    return low + (at - i) * (HALVES[i + 1] - low);
  }

  // Scores of a species after a change. Cells of which too much is unknown get −1.
  function rescore(model, s) {
    gather(model, s, model.method);
    const { per, kind } = divisors(model, s);
    SCORES[model.method](s.score, s.sums[model.method], s.pattern, per, kind, model.n);
  }
  const SCORES = [
    (score, sum, pattern, per, kind, n) => { for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? half(per[p] * sum[j]) : kind[p] === AT_ZERO ? 0 : -1; } },
    (score, sum, pattern, per, kind, n) => { for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? Math.min(1, sum[j] * per[p]) : -1; } },
    (score, sum, pattern, per, kind, n) => { for (let j = 0; j < n; j += 1) { const p = pattern[j]; score[j] = kind[p] === FINE ? sum[j] : kind[p] === AT_ZERO ? 0 : -1; } },
  ];
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
    const { n, method } = model, which = s.which || (s.which = new Uint8Array(n)), worst = s.worst || (s.worst = new Float32Array(n));
    const parts = [...s.codes.keys()].filter((i) => s.weights[i] > 0), nothing = new Float32Array(model.logs.length);
    const losses = parts.map((i) => {
      const w = s.weights[i];
      return Float32Array.from(model.logs, (l) => Number.isNaN(l) ? 0 : method === 0 ? (l === Infinity ? 1e9 * (1 + w) : w * l) : method === 1 ? w * (1 - 2 ** -l) : 1 - 2 ** -l);
    });
    which.fill(255); worst.fill(0);
    for (let k = 0; k < parts.length; k += 4) {
      const four = [0, 1, 2, 3].map((m) => k + m < parts.length ? k + m : -1);
      worstOfFour(which, worst, four.map((m) => m < 0 ? s.codes[0] : s.codes[parts[m]]), four.map((m) => m < 0 ? nothing : losses[m]), four.map((m) => m < 0 ? 255 : parts[m]), n);
    }
    return which;
  }
  function worstOfFour(which, worst, [a, b, c, d], [p, q, r, s], [e, f, g, h], n) {
    for (let j = 0; j < n; j += 1) {
      let v = worst[j], at = which[j];
      const first = p[a[j]], second = q[b[j]], third = r[c[j]], fourth = s[d[j]];
      if (first > v) { v = first; at = e; }
      if (second > v) { v = second; at = f; }
      if (third > v) { v = third; at = g; }
      if (fourth > v) { v = fourth; at = h; }
      worst[j] = v; which[j] = at;
    }
  }

  return { METHODS, inflate, create, gather, rescore, count, why, limiting, logs };
})();
