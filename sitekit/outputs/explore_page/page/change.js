// The changed part of plan.toml: only a run makes a plan, so a change tried here is copied into its settings by hand.
explore.change = (model) => {
  const { head } = model, number = (v) => { const text = String(Number(v.toFixed(6))); return /[.e]/.test(text) ? text : `${text}.0`; };
  const same = (a, b) => Math.abs(a - b) < 1e-9, line = (text) => text.replace(/[\r\n]/g, " ");
  const parts = [], score = [];
  const method = explore.model.METHODS[model.method];
  if (method !== head.method) { score.push(`combine = "${method}"`.padEnd(30) + `# was "${head.method}"`); }
  if (!same(model.passing, head.passing)) { score.push(`passing = ${number(model.passing)}`.padEnd(30) + `# was ${number(head.passing)}`); }
  if (score.length) { parts.push(["# Change these lines in the table [score] of plan.toml:", "[score]", ...score].join("\n")); }
  for (const s of model.species) {
    if (s.plan.every((w, i) => same(w, s.weights[i]))) { continue; }
    const rows = s.criteria.map((c, i) => [`${c.key} = ${number(s.weights[i])}`, same(s.weights[i], s.plan[i]) ? "" : `  # was ${number(s.plan[i])}`]);
    parts.push([`# Add this table. Where there is one already, it takes its place:`, `[weights.${s.code}]`, 'method = "direct"',
      `who = ${head.who}`, "", `[weights.${s.code}.numbers]`, ...rows.map(([a, b]) => a + b)].join("\n"));
  }
  if (!parts.length) { return ""; }
  return `# Tried on the preview page of run ${line(head.run)}.\n# Only a run makes the plan: sitekit run\n\n${parts.join("\n\n")}\n`;
};
