// Patches of passing cells that share edges, as the run joins them: area in patches that are large enough.
explore.patches = (model, passes) => {
  const { rows, cols, cell, n } = model, label = new Int32Array(rows * cols), parent = [0], size = [0];
  const root = (a) => { let k = a; while (parent[k] !== k) { parent[k] = parent[parent[k]]; k = parent[k]; } return k; };
  for (let j = 0; j < n; j += 1) {
    if (!passes(j)) { continue; }
    const at = cell[j], left = at % cols ? label[at - 1] : 0, up = at >= cols ? label[at - cols] : 0;
    if (!left && !up) { label[at] = parent.length; parent.push(parent.length); size.push(1); continue; }
    let own = left ? root(left) : root(up);
    if (left && up) { const other = root(up); if (other !== own) { const low = Math.min(own, other), high = Math.max(own, other); parent[high] = low; size[low] += size[high]; own = low; } }
    label[at] = own; size[own] += 1;
  }
  const least = model.head.least_m2 / model.head.cell_m2;
  let cells = 0, many = 0;
  for (let k = 1; k < parent.length; k += 1) { if (parent[k] === k && size[k] >= least) { cells += size[k]; many += 1; } }
  const holds = (j) => j >= 0 && passes(j) && size[root(label[cell[j]])] >= least;
  return { area: cells * model.head.cell_m2, many, holds };
};
