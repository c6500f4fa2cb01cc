// What lies under a point: every visible thing there, its facts as label and text. Text is only ever set as text.
sitekit.facts = (() => {
  const say = (key, values) => sitekit.say(key, values);
  const NEAR = 9; // pixels

  // The class of a raster at a point, read from one pixel of the very picture that is shown.
  async function classAt(image, box, legend, x, y) {
    const [west, south, east, north] = box;
    if (x < west || x >= east || y <= south || y > north) { return null; }
    await image.decode();
    const canvas = document.createElement("canvas");
    canvas.width = 1; canvas.height = 1;
    const c = canvas.getContext("2d", { willReadFrequently: true });
    c.imageSmoothingEnabled = false;
    const column = Math.floor((x - west) / (east - west) * image.naturalWidth), row = Math.floor((north - y) / (north - south) * image.naturalHeight);
    c.drawImage(image, column, row, 1, 1, 0, 0, 1, 1);
    const [red, green, blue, alpha] = c.getImageData(0, 0, 1, 1).data;
    if (alpha === 0) { return null; }
    const colour = `#${[red, green, blue].map((v) => v.toString(16).padStart(2, "0")).join("")}`;
    return { colour, red, name: (legend.find((row_) => row_[0] === colour) || [null, ""])[1] };
  }

  function inside(item, x, y) {
    const [west, south, east, north] = item.box;
    if (x < west || x > east || y < south || y > north) { return false; }
    let odd = false;
    for (const part of item.parts) {
      for (const p of part) {
        for (let i = 0, j = p.length - 2; i < p.length; j = i, i += 2) {
          if ((p[i + 1] > y) !== (p[j + 1] > y) && x < (p[j] - p[i]) * (y - p[i + 1]) / (p[j + 1] - p[i + 1]) + p[i]) { odd = !odd; }
        }
      }
    }
    return odd;
  }
  function away(item, x, y) {
    let least = Infinity;
    for (const part of item.parts) {
      for (const p of part) {
        if (p.length === 2) { least = Math.min(least, Math.hypot(p[0] - x, p[1] - y)); }
        for (let i = 2; i < p.length; i += 2) {
          const ax = p[i - 2], ay = p[i - 1], dx = p[i] - ax, dy = p[i + 1] - ay, long = dx * dx + dy * dy;
          const t = long ? Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / long)) : 0;
          least = Math.min(least, Math.hypot(ax + t * dx - x, ay + t * dy - y));
        }
      }
    }
    return least;
  }

  function colonyFacts(all, i, notation) {
    const [species, genet] = all.genets[all.genet[i]], [site, plot] = all.plot(i);
    const p = sitekit.geodesy.toDegrees(all.x[i], all.y[i]);
    const rows = [[say("sequence"), String(all.sequence(i))], [say("species"), species], [say("genet"), genet], [say("site"), site], [say("plot"), plot],
      [say("depth", { unit: sitekit.units === "ft" ? "ft" : "m" }), all.depthText(i)], [say("planned_position"), sitekit.geodesy.position(p.lon, p.lat, notation)]];
    if (all.along) {
      rows.push([say("along"), all.length(all.along, i, 0)]);
      const offset = all.offset[i] === 65535 ? "" : (all.offset[i] - 32768) / 100;
      const away = offset === "" ? "" : Math.abs(offset).toFixed(2);
      rows.push([say("offset"), offset < 0 ? say("left", { offset: away }) : offset > 0 ? say("right", { offset: away }) : away]);
    }
    return { title: say("colony", { tag: all.tag(i) || say("no_tag") }), rows, at: [all.x[i], all.y[i]] };
  }
  function itemFacts(item) {
    const rows = item.layer.fields.map((label, k) => [label, item.v[k]]);
    return { title: item.n ? `${item.layer.one} ${item.n}` : item.layer.one, rows, item };
  }

  async function under(state, x, y) {
    const reach = NEAR / state.perMetre(), found = [];
    const all = state.colonies;
    if (all.count && state.shown.colonies) {
      const near = [];
      for (let i = 0; i < all.count; i += 1) {
        const dx = all.x[i] - x, dy = all.y[i] - y, far = dx * dx + dy * dy;
        if (far <= reach * reach && (state.only === null || all.genet[i] === state.only)) { near.push([far, i]); }
      }
      near.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
      const told = near.length > 3 ? 1 : near.length;
      for (const [, i] of near.slice(0, told)) { found.push(colonyFacts(all, i, state.notation())); }
      if (near.length > told) { found[0].more = say("more_colonies", { number: near.length - told }); }
    }
    for (const id of ["sites", "standing", "plots", "tape_lines", "existing", "candidates", "work_areas", "protected", "contours"]) {
      const layer = state.layers.find((one) => one.id === id);
      if (!layer || !layer.on) { continue; }
      let hits = layer.items.filter((item) => item.t === "A" ? inside(item, x, y) : near2(item, x, y, reach));
      if (id === "existing" || id === "standing") { hits = hits.sort((a, b) => away(a, x, y) - away(b, x, y)).slice(0, 3); }
      const told = hits.map(itemFacts);
      if (id === "sites") { found.unshift(...told); } else { found.push(...told); } // a site's mark lies above all
    }
    const cell = { title: say("cell"), rows: [] };
    const first = state.rasters[state.shown.raster];
    for (const raster of first ? [first, ...state.rasters.filter((one) => one !== first)] : state.rasters) {
      const got = await classAt(raster.load(), raster.box, raster.legend, x, y);
      cell.rows.push([raster.unit ? `${raster.label}, ${raster.unit}` : raster.label, got ? got.name : say("no_value")]);
    }
    for (const name of Object.keys(state.reasons)) {
      const reason = state.reasons[name], got = await classAt(reason.image, reason.box, [], x, y);
      if (got) { const [kind, words] = reason.legend[got.red - 1]; cell.rows.push([reason.label, kind === "excluded" ? say("excluded", { reasons: words }) : say("unknown", { reasons: words })]); }
    }
    const p = sitekit.geodesy.toDegrees(x, y);
    cell.rows.push([say("position"), sitekit.geodesy.position(p.lon, p.lat, state.notation())]);
    found.push(cell);
    return found;
  }
  function near2(item, x, y, reach) {
    const [west, south, east, north] = item.box;
    return x >= west - reach && x <= east + reach && y >= south - reach && y <= north + reach && away(item, x, y) <= reach;
  }

  return { under, colonyFacts, itemFacts, inside };
})();
