// The page's data as arrays: outlines in metres on the screen's plane, colonies as typed arrays, tags made when asked for.
sitekit.unpack = (() => {
  const STEP = 0.01; // m, as in vectors.py

  function layers(data) {
    for (const layer of data.layers) {
      layer.on = layer.items.length > 0;
      for (const item of layer.items) {
        item.box = [Infinity, Infinity, -Infinity, -Infinity];
        item.parts = item.r.map((part) => part.map((steps) => ring(steps, data, item.box)));
        item.at = item.l ? [data.west + item.l[0] * STEP, data.south + item.l[1] * STEP] : middle(item.parts[0][0]);
        item.layer = layer;
        delete item.r;
      }
    }
    return data.layers;
  }

  function ring(steps, data, box) {
    const out = new Float64Array(steps.length);
    let x = 0, y = 0;
    for (let i = 0; i < steps.length; i += 2) {
      x += steps[i]; y += steps[i + 1];
      out[i] = data.west + x * STEP; out[i + 1] = data.south + y * STEP;
      box[0] = Math.min(box[0], out[i]); box[1] = Math.min(box[1], out[i + 1]);
      box[2] = Math.max(box[2], out[i]); box[3] = Math.max(box[3], out[i + 1]);
    }
    return out;
  }

  function middle(points) {
    const i = Math.floor(points.length / 4) * 2;
    return [points[i], points[i + 1]];
  }

  function colonies(packed, data) {
    const n = packed.count;
    if (!n) { return { count: 0, genets: [], plots: [], given: packed.given }; }
    const text = atob(packed.data), bytes = new Uint8Array(text.length);
    for (let i = 0; i < text.length; i += 1) { bytes[i] = text.charCodeAt(i); }
    delete packed.data;
    const plane = (k) => bytes.subarray(k * n, (k + 1) * n);
    const word = (k) => { const a = plane(k), b = plane(k + 1), out = new Uint16Array(n); for (let i = 0; i < n; i += 1) { out[i] = a[i] | b[i] << 8; } return out; };
    const place = (k, from) => {
      const a = plane(k), b = plane(k + 1), c = plane(k + 2), out = new Float64Array(n);
      for (let i = 0; i < n; i += 1) { out[i] = from + (a[i] | b[i] << 8 | c[i] << 16) * packed.step; }
      return out;
    };
    const species = [...new Set(packed.genets.map((g) => g[0]))].sort();
    const genet = word(6), speciesOf = packed.genets.map((g) => species.indexOf(g[0]));
    const all = {
      count: n, given: true, genets: packed.genets, plots: packed.plots, species, genet, speciesOf,
      x: place(0, data.west + packed.west), y: place(3, data.south + packed.south), depth: word(8),
      along: packed.wide ? word(10) : null, offset: packed.wide ? word(12) : null,
    };
    const tagStart = starts(packed.tags, 3), sequenceStart = starts(packed.sequences, 1);
    all.tag = (i) => {
      const run = runOf(tagStart, i), [prefix, digits, first] = packed.tags[run];
      return digits ? prefix + String(first + i - tagStart[run]).padStart(digits, "0") : prefix;
    };
    all.sequence = (i) => { const run = runOf(sequenceStart, i); return packed.sequences[run][0] + i - sequenceStart[run]; };
    const plotStart = packed.plots.map((p) => p[2]);
    all.plot = (i) => packed.plots[runOf(plotStart, i)];
    all.depthText = (i) => all.depth[i] === 65535 ? "" : (all.depth[i] / 100 / (sitekit.units === "ft" ? sitekit.tools.FOOT : 1)).toFixed(1);
    all.length = (values, i, zero) => values[i] === 65535 ? "" : ((values[i] - zero) / 100).toFixed(2);
    all.byGenet = packed.genets.map((g) => new Uint32Array(g[2]));
    const filled = new Uint32Array(packed.genets.length);
    for (let i = 0; i < n; i += 1) { const g = genet[i]; all.byGenet[g][filled[g]] = i; filled[g] += 1; }
    return all;
  }

  function starts(runs, place) {
    const out = new Uint32Array(runs.length);
    let at = 0;
    runs.forEach((run, k) => { out[k] = at; at += run[place]; });
    return out;
  }
  function runOf(start, i) {
    let low = 0, high = start.length - 1;
    while (low < high) { const mid = (low + high + 1) >> 1; if (start[mid] <= i) { low = mid; } else { high = mid - 1; } }
    return low;
  }

  return { layers, colonies };
})();
