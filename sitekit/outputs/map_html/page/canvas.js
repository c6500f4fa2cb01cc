// One canvas over the view, drawn again after each move; and the hatches and shapes that the map and its legend share.
sitekit.canvas = (() => {
  const PAD = 0.15; // share of the view drawn beyond each edge, so that dragging shows no bare border

  const Layer = L.Layer.extend({
    initialize(pane, draw) { this._pane = pane; this._draw = draw; },
    onAdd(map) {
      this._map = map;
      this._fresh();
      this.redraw();
    },
    // A new sheet: one that was wiped prints white over what lies beneath it.
    _fresh() {
      if (this._canvas) { this._canvas.remove(); }
      this._canvas = L.DomUtil.create("canvas", "leaflet-zoom-hide", this._map.getPane(this._pane));
      this._canvas.setAttribute("aria-hidden", "true");
    },
    onRemove() { this._canvas.remove(); this._canvas = null; },
    getEvents() { return { moveend: this.redraw, resize: this.redraw }; }, // a reset of the view ends in moveend too
    redraw() {
      if (!this._map) { return; }
      const size = this._map.getSize(), pad = size.multiplyBy(PAD).round(), paper = document.documentElement.classList.contains("sk-print");
      const ratio = paper ? 2 : window.devicePixelRatio || 1;
      const wide = size.x + 2 * pad.x, high = size.y + 2 * pad.y;
      if (paper) { this._fresh(); }
      L.DomUtil.setPosition(this._canvas, this._map.containerPointToLayerPoint(pad.multiplyBy(-1)));
      this._canvas.width = wide * ratio; this._canvas.height = high * ratio;
      this._canvas.style.width = `${wide}px`; this._canvas.style.height = `${high}px`;
      const context = this._canvas.getContext("2d");
      context.setTransform(ratio, 0, 0, ratio, 0, 0);
      this._draw(context, view(this._map, pad, wide, high, ratio));
    },
  });

  // Screen pixels of points on the plane: x(east), y(north); `perMetre` are pixels for a metre of the plane.
  function view(map, pad, wide, high, ratio) {
    const world = 256 * 2 ** map.getZoom(), perMetre = world / (2 * Math.PI * sitekit.geodesy.RADIUS);
    const corner = map.getPixelBounds().min.subtract(pad);
    return {
      wide, high, ratio, perMetre, corner, pad,
      x: (east) => east * perMetre + world / 2 - corner.x, y: (north) => world / 2 - north * perMetre - corner.y,
      ground: perMetre * Math.cosh((world / 2 - corner.y - high / 2) / perMetre / sitekit.geodesy.RADIUS),
    };
  }

  // Excluded: a light veil with falling strokes. Unknown: small open rings. Drawn at screen size at every zoom.
  function hatch(kind, ratio) {
    const side = kind === "excluded" ? 8 : 12, tile = document.createElement("canvas");
    tile.width = side * ratio; tile.height = side * ratio;
    const c = tile.getContext("2d");
    c.scale(ratio, ratio);
    if (kind === "excluded") {
      c.fillStyle = "rgba(255,255,255,0.30)"; c.fillRect(0, 0, side, side);
      c.strokeStyle = "rgba(40,46,52,0.72)"; c.lineWidth = 1.1;
      c.beginPath();
      for (const k of [-side, 0, side]) { c.moveTo(k - 1, -1); c.lineTo(k + side + 1, side + 1); }
      c.stroke();
    } else {
      c.fillStyle = "rgba(255,255,255,0.62)"; c.fillRect(0, 0, side, side);
      c.strokeStyle = "rgba(50,40,70,0.85)"; c.lineWidth = 1.1;
      for (const [x, y] of [[3, 3], [9, 9]]) { c.beginPath(); c.arc(x, y, 1.9, 0, 7); c.stroke(); }
    }
    return tile;
  }

  const SHAPES = ["circle", "square", "triangle", "diamond", "bar"];
  function shape(c, kind, x, y, r) {
    if (kind === "circle") { c.moveTo(x + r, y); c.arc(x, y, r, 0, 7); return; }
    if (kind === "square") { c.rect(x - r * 0.88, y - r * 0.88, r * 1.76, r * 1.76); return; }
    const corners = kind === "triangle" ? [[0, -1.2], [1.1, 0.8], [-1.1, 0.8]] : kind === "diamond" ? [[0, -1.3], [1.1, 0], [0, 1.3], [-1.1, 0]]
      : [[-1.4, -0.55], [1.4, -0.55], [1.4, 0.55], [-1.4, 0.55]];
    corners.forEach(([dx, dy], i) => { if (i) { c.lineTo(x + dx * r, y + dy * r); } else { c.moveTo(x + dx * r, y + dy * r); } });
    c.closePath();
  }

  return { Layer, hatch, shape, SHAPES };
})();
