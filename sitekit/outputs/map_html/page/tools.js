// Cursor position, measuring on the ellipsoid, scale bar and printing on one page.
sitekit.tools = (() => {
  const $ = (id) => document.getElementById(id);
  const FOOT = 0.3048; // m, international foot (exact by definition, 1959)

  function metres(value) {
    const far = value >= 10000 ? `${(value / 1000).toFixed(2)} km` : `${value.toFixed(1)} m`;
    const feet = value / FOOT, long = feet >= 52800 ? `${(feet / 5280).toFixed(2)} mi` : `${feet.toFixed(0)} ft`;
    return sitekit.units === "m" ? far : sitekit.units === "ft" ? long : `${far} (${long})`;
  }

  function cursor(map, state) {
    const out = $("sk-position"), pick = $("sk-notation");
    let last = null;
    pick.value = state.notationFirst;
    if (window.matchMedia("(hover: none)").matches) { out.textContent = sitekit.say("tap"); }
    const tell = () => { if (last) { out.textContent = sitekit.geodesy.position(last.lng, last.lat, pick.value); } };
    map.on("mousemove click", (event) => { last = event.latlng; tell(); });
    map.on("moveend", () => { if (document.activeElement === map.getContainer()) { last = map.getCenter(); tell(); } });
    pick.addEventListener("change", tell);
    state.notation = () => pick.value;
  }

  function measure(map, state) {
    const button = $("sk-measure"), out = $("sk-length");
    let points = [], line = null;
    const draw = () => {
      if (line) { line.remove(); }
      line = L.layerGroup([L.polyline(points, { color: "#ffffff", weight: 6, interactive: false, pane: "sk-chosen", renderer: state.chosenRenderer }),
        L.polyline(points, { color: "#000000", weight: 2.5, dashArray: "8 6", interactive: false, pane: "sk-chosen", renderer: state.chosenRenderer }),
        ...points.map((p) => L.circleMarker(p, { radius: 4, color: "#000000", weight: 2, fillColor: "#ffffff", fillOpacity: 1, interactive: false, pane: "sk-chosen", renderer: state.chosenRenderer }))]).addTo(map);
      let sum = 0, last = null;
      for (let i = 1; i < points.length; i += 1) {
        last = sitekit.geodesy.inverse(points[i - 1].lng, points[i - 1].lat, points[i].lng, points[i].lat);
        if (!last) { out.textContent = sitekit.say("too_far"); return; }
        sum += last.metres;
      }
      if (!last) { out.textContent = sitekit.say("next_point"); return; }
      const all = metres(sum), bearing = last.bearing.toFixed(0), end = sitekit.units === "ft" ? metres(last.metres) : `${last.metres.toFixed(1)} m`;
      out.textContent = points.length > 2 ? sitekit.say("in_all", { sum: all, last: end, bearing }) : sitekit.say("one_way", { sum: all, bearing });
    };
    button.addEventListener("click", () => {
      state.measuring = !state.measuring;
      button.setAttribute("aria-pressed", String(state.measuring));
      points = [];
      if (line) { line.remove(); line = null; }
      out.textContent = state.measuring ? sitekit.say("first_point") : "";
    });
    state.addPoint = (latlng) => { points.push(latlng); draw(); };
  }

  // True to the ellipsoid at the middle of the view.
  function scale(map) {
    const box = $("sk-scale");
    const draw = () => {
      const size = map.getSize(), y = size.y / 2, x = size.x / 2, span = Math.min(160, size.x / 3);
      const a = map.containerPointToLatLng([x - span / 2, y]), b = map.containerPointToLatLng([x + span / 2, y]);
      const got = sitekit.geodesy.inverse(a.lng, a.lat, b.lng, b.lat);
      box.replaceChildren();
      if (!got || !got.metres) { return; }
      const round = (top) => { const p = 10 ** Math.floor(Math.log10(top)); return [5, 2, 1].map((k) => k * p).find((v) => v <= top) || p; };
      const bars = [];
      for (const [unit, long, name] of [[1, 1000, ["m", "km"]], [FOOT, 5280, ["ft", "mi"]]]) {
        let value = round(got.metres / unit), words = `${value} ${name[0]}`, wide = value * unit;
        if (value >= long) { value = round(got.metres / unit / long); words = `${value} ${name[1]}`; wide = value * unit * long; }
        const bar = document.createElement("span");
        bar.style.width = `${(span * wide / got.metres).toFixed(1)}px`;
        bar.textContent = words;
        bars.push(words);
        box.appendChild(bar);
      }
      box.setAttribute("aria-label", sitekit.say("scale_bars", { bars: bars.join(", ") }));
    };
    map.on("moveend resize", draw);
    draw();
  }

  // One sheet: type shrinks until legend and notes fit, the map takes what is left.
  function printing(map) {
    const root = document.documentElement, key = document.querySelector(".sk-key"), about = document.querySelector(".sk-about");
    const MM = 96 / 25.4, HIGH = 190; // CSS pixels in a millimetre; height of the sheet's matter, mm
    let before = null, snap = null;
    const over = (box) => box.scrollHeight > box.clientHeight + 1 || box.scrollWidth > box.clientWidth + 1;
    function fit() {
      for (const size of [8.5, 8, 7.5, 7, 6.5, 6, 5.5, 5]) {
        root.style.setProperty("--sk-type", `${size}pt`);
        const head = document.querySelector(".sk-head").offsetHeight / MM;
        for (const high of [138, 128, 118, 108, 98]) {
          root.style.setProperty("--sk-high", `${Math.min(high, HIGH - head - 20).toFixed(1)}mm`);
          if (!over(about) && !over(key)) { return; }
        }
      }
    }
    const start = () => {
      if (before) { return; }
      before = map.getBounds(); snap = map.options.zoomSnap;
      root.classList.add("sk-print");
      fit();
      map.options.zoomSnap = 0;
      map.invalidateSize({ animate: false, pan: false });
      map.fitBounds(before, { animate: false });
      const size = map.getSize(), a = map.containerPointToLatLng([0, size.y / 2]), b = map.containerPointToLatLng([size.x, size.y / 2]), got = sitekit.geodesy.inverse(a.lng, a.lat, b.lng, b.lat);
      $("sk-paper").textContent = got && got.metres ? sitekit.say("paper_scale", { scale: Number((got.metres / (size.x / MM / 1000)).toPrecision(3)).toLocaleString("en").replace(/,/g, "\u202f") }) : "";
    };
    const stop = () => {
      if (!before) { return; }
      root.classList.remove("sk-print");
      root.style.removeProperty("--sk-type"); root.style.removeProperty("--sk-high");
      map.options.zoomSnap = snap;
      map.invalidateSize({ animate: false, pan: false });
      map.fitBounds(before, { animate: false });
      before = null;
    };
    window.addEventListener("beforeprint", start);
    window.addEventListener("afterprint", stop);
    $("sk-print").addEventListener("click", () => window.print());
  }

  return { cursor, measure, scale, printing, metres, FOOT };
})();
