"""The map on one printed page, to scale: the first layer with its hatches, outlines, names, legend, norths, graticule."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS
from reportlab import rl_config
from reportlab.lib.utils import ImageReader

from sitekit.base.wording import caution, length_unit, say, wording
from sitekit.outputs.map_html.contours import contour_lines
from sitekit.outputs.map_html.overlays import bin_codes, bin_names, hillshade
from sitekit.outputs.map_html.plain_text import plain_text
from sitekit.outputs.map_html.ramps import ramp, rgb
from sitekit.outputs.map_html.scene import MapScene, ReasonLayer
from sitekit.outputs.map_html.snapshot import hatch_tile
from sitekit.outputs.paper.book import PAPERS, write_book
from sitekit.outputs.paper.fonts import fitted, scripts_lacking, width, wrapped
from sitekit.outputs.paper.frame import check_line
from sitekit.outputs.paper.hatches import hatch
from sitekit.outputs.paper.norths import Norths, draw_norths
from sitekit.outputs.paper.pen import Pen, around
from sitekit.outputs.paper.scales import POINTS_PER_METRE, scale_bars, scale_text
from sitekit.outputs.permit_pdf.chart import graticule, label_graticule
from sitekit.outputs.permit_pdf.symbols import PLOTS, PROTECTED, colony, diamond, lines
from sitekit.outputs.permit_pdf.window import Window

MARGIN = 27.0  # pt
COLUMN = 176.0  # pt, legend at the right
FOOT = 74.0  # pt
DOTS_PER_INCH = 150
SCALES = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5, 10.0)  # times a power of ten
_INK, _RING = (40, 46, 52), (50, 40, 70)


def write_map_sheet(target: Path, scene: MapScene, norths: Norths, paper: str) -> None:
    """Write the map as a PDF of one page.

    Parameters
    ----------
    target : Path
        `out/map.pdf`.
    scene : MapScene
        What the map shows; its first raster is drawn.
    norths : Norths
        In the middle of the map.
    paper : str
        `letter` or `A4`, laid across.

    Raises
    ------
    FileFault
        If the file cannot be written.

    Notes
    -----
    Names in a script that the font lacks are left out, and the sheet says how many; the page in HTML holds them.
    """
    size = PAPERS[paper][1], PAPERS[paper][0]

    def draw(pen: Pen, number: int, total: int) -> None:
        _Sheet(pen, scene, norths).draw(number, total)

    plain85 = rl_config.useA85
    rl_config.useA85 = 0  # bytes as they are: text of 85 letters takes most of the time and a quarter more room
    try:
        write_book(
            target,
            [draw],
            size,
            title=_plain(scene.title) or say("map.title"),
            subject=say("run", run=_plain(scene.run_id)),
        )
    finally:
        rl_config.useA85 = plain85


def _plain(text: str) -> str:
    return plain_text(text) if not scripts_lacking(plain_text(text)) else ""


class _Sheet:
    """One sheet: where things stand, and the names left out so far."""

    def __init__(self, pen: Pen, scene: MapScene, norths: Norths) -> None:
        self.pen, self.scene, self.norths = pen, scene, norths
        self.lost = 0
        box = MARGIN, MARGIN + FOOT, pen.width - MARGIN - COLUMN - 8, pen.height - MARGIN - 26
        self.window = _window(scene, box)

    def draw(self, number: int, total: int) -> None:
        self._head(number, total)
        self._raster()
        with self.pen.clipped(shapely.box(*self.window.box)):
            self._outlines()
            label_graticule(
                self.pen, self.window, graticule(self.pen, self.window, self.scene.grid.crs, CRS.from_epsg(4326))
            )
            self._names()
        self.pen.box(self.window.box, 0.9)
        self._legend()
        self._foot()

    def _say(self, text: object) -> str:
        shown = plain_text(text)
        if scripts_lacking(shown):
            self.lost += 1
            return ""
        return shown

    def _head(self, number: int, total: int) -> None:
        pen, top, edge = self.pen, self.pen.height - MARGIN, self.pen.width - MARGIN
        page = say("page_of", number=number, total=total)
        pen.text(edge, top - 10, page, 8, align="right")
        edge -= width(page, 8) + 8
        for stamp in reversed([*([say("fictional")] if self.scene.fictional else []), *self.scene.stamps]):
            words = self._say(stamp)[:70]
            wide = width(words, 8, True) + 8
            pen.box((edge - wide, top - 14, edge, top - 1), 1.0)
            pen.text(edge - wide + 4, top - 10.5, words, 8, bold=True)
            edge -= wide + 5
        room = edge - MARGIN - 6
        title = self._say(self.scene.title)
        for size in (13.0, 11.0, 9.0, 7.5, 6.5):
            rows = wrapped(title, room, size, True)
            if len(rows) * size * 1.2 <= 24 or size == 6.5:
                for k, row in enumerate(rows[:3]):
                    pen.text(MARGIN, top - size * 0.9 - k * size * 1.15, row, size, bold=True)
                return

    def _raster(self) -> None:
        """Draw the first raster over shaded depth, hatched where cells are out, as one picture of the window."""
        box, scene = self.window.box, self.scene
        wide, high = (max(1, round((b - a) / 72 * DOTS_PER_INCH)) for a, b in ((box[0], box[2]), (box[1], box[3])))
        west, south, east, north = self.window.ground
        grid = scene.grid
        cols = np.floor((west + (np.arange(wide) + 0.5) / wide * (east - west) - grid.west) / grid.cell).astype(int)
        rows = np.floor((grid.north - north + (np.arange(high) + 0.5) / high * (north - south)) / grid.cell).astype(int)
        there = ((rows >= 0) & (rows < grid.shape[0]))[:, None] & ((cols >= 0) & (cols < grid.shape[1]))[None, :]
        at = np.clip(rows, 0, grid.shape[0] - 1)[:, None], np.clip(cols, 0, grid.shape[1] - 1)[None, :]
        pixels = np.full((high, wide, 3), 255, np.float32)
        if scene.depth is not None:
            light = (150 + 105 * hillshade(scene.depth, grid.cell)).astype(np.float32)
            pixels = np.where((there & ~np.isnan(scene.depth[at]))[..., None], light[at][..., None], pixels)
        if scene.rasters:
            first = scene.rasters[0]
            codes, colours, _ = self._bins()
            table = np.array([(255, 255, 255), *map(rgb, colours)], np.float32)
            seen = np.where(there, codes[at], 0)
            mixed = pixels * (1 - first.opacity) + table[seen] * first.opacity
            pixels = np.where((seen > 0)[..., None], mixed, pixels)
        reason = self._reason()
        if reason is not None:
            codes_out = np.where(there, np.asarray(reason.codes)[at], 0)
            for kind, ink in (("excluded", _INK), ("unknown", _RING)):
                mask = np.isin(codes_out, list(getattr(reason, kind)))
                strokes, veil = hatch_tile(kind, mask.shape)
                pixels[mask] = pixels[mask] * (1 - veil) + 255 * veil
                pixels[mask & strokes] = pixels[mask & strokes] * 0.3 + np.array(ink, np.float32) * 0.7
        image = Image.fromarray(np.rint(pixels).astype(np.uint8))
        self.pen.canvas.drawImage(ImageReader(image), box[0], box[1], box[2] - box[0], box[3] - box[1])

    def _bins(self) -> tuple[NDArray[np.uint8], list[str], list[str]]:
        first = self.scene.rasters[0]
        if first.classes:
            known = sorted(first.classes)
            codes = np.zeros(first.values.shape, np.uint8)
            for place, code in enumerate(known, 1):
                codes[first.values == code] = place
            return codes, ramp(first.ramp, len(known)), [first.classes[c] for c in known]
        codes = bin_codes(first.values, first.edges)
        return codes, ramp(first.ramp, len(first.edges) - 1), bin_names(first.values, first.edges)

    def _reason(self) -> ReasonLayer | None:
        wanted = self.scene.rasters[0].reasons if self.scene.rasters else ""
        return next((r for r in self.scene.reasons if r.name == wanted), None)

    def _outlines(self) -> None:
        pen, window, scene = self.pen, self.window, self.scene
        if scene.depth is not None:
            for _, line in contour_lines(scene.depth, scene.grid, scene.contour_interval_m):
                lines(pen, window.shape(line), 0.25, "full")
        for row in _rows(scene.protected):
            inside = window.shape(row.geometry)
            name, style, weight = PROTECTED.get(getattr(row, "rule", "none"), PROTECTED["none"])
            if name is not None and getattr(row, "rule", "") == "forbidden":
                hatch(pen, inside, name)
            lines(pen, shapely.boundary(inside), weight, style)
        for row in _rows(scene.candidates):
            lines(pen, shapely.boundary(window.shape(row.geometry)), 0.7, "full")
        for row in _rows(scene.work_areas):
            lines(pen, shapely.boundary(window.shape(row.geometry)), 0.9, "dash-dot")
        for row in _rows(scene.plots):
            style, weight = PLOTS.get(getattr(row, "role", "planted"), PLOTS["planted"])
            pen.outline(window.shape(row.geometry), weight, style, fill=1.0)
        for row in _rows(scene.tape_lines):
            lines(pen, window.shape(row.geometry), 0.5, "full")
        for row in _rows(scene.existing):
            x, y = window.points([(row.geometry.x, row.geometry.y)])[0]
            colony(pen, float(x), float(y), getattr(row, "origin", "wild") != "outplant")

    def _names(self) -> None:
        pen, window = self.pen, self.window
        for row in _rows(self.scene.sites):
            spot = row.geometry.representative_point()
            x, y = (float(v) for v in window.points([(spot.x, spot.y)])[0])
            chosen = bool(getattr(row, "chosen", False) is True)
            if not chosen:
                continue
            diamond(pen, x, y, 4.0, fill=1.0 if "not scouted" in str(getattr(row, "mark", "")) else 0.0)
            pen.try_text(around(x, y, 6.0, 8.0), self._say(row.site)[:30], 8.0, bold=True, inside=window.box)
        for column, frame, size in (("plot", self.scene.plots, 5.5), ("candidate", self.scene.candidates, 6.5)):
            for row in _rows(frame):
                spot = row.geometry.representative_point()
                x, y = (float(v) for v in window.points([(spot.x, spot.y)])[0])
                pen.try_text(around(x, y, 4.0, size), self._say(getattr(row, column, ""))[:24], size, inside=window.box)
        for row in _rows(self.scene.protected):
            spot = row.geometry.intersection(shapely.box(*window.ground)).representative_point()
            if spot.is_empty:
                continue
            x, y = (float(v) for v in window.points([(spot.x, spot.y)])[0])
            rule = say(f"map.rule_{getattr(row, 'rule', 'none')}")
            words = self._say(f"{getattr(row, 'name', '')} ({rule})")[:60]
            places = [(x, y + dy, "centre") for dy in (0.0, 10.0, -10.0, 24.0, -24.0, 40.0, -40.0)]
            pen.try_text(places, words, 6.5, inside=window.box)  # type: ignore[arg-type]

    def _legend(self) -> None:
        pen, scene = self.pen, self.scene
        left, top = self.pen.width - MARGIN - COLUMN, self.window.box[3]
        draw_norths(pen, left, top - 84, self.norths, (COLUMN, 84))
        scale_bars(pen, left, top - 128, self.window.denominator, COLUMN)
        pen.text(left + 4, top - 140, say("map.scale", scale=scale_text(self.window.denominator)), 8, bold=True)
        y = top - 154
        if scene.rasters:
            first = scene.rasters[0]
            y = self._lines(f"{first.label}, {first.unit}" if first.unit else first.label, left, y, COLUMN, 7.5, True)
            _, colours, names = self._bins()
            half = math.ceil(len(names) / 2) if not first.classes else len(names)
            for k, (colour, name) in enumerate(zip(colours, names, strict=True)):
                x, row = left + (COLUMN / 2 if k >= half else 0), y - 10 * (k % half) - 8
                part = [round(255 + (v - 255) * first.opacity) / 255 for v in rgb(colour)]
                pen.canvas.setFillColorRGB(*part)
                pen.canvas.rect(x, row, 18, 8, stroke=1, fill=1)
                pen.canvas.setFillGray(0)
                pen.text(x + 22, row + 1.5, self._say(name)[:34], 6.5)
            y -= 10 * half + 2
            y = self._lines(first.note, left, y, COLUMN, 6.0)
        reason = self._reason()
        for kind in ("excluded", "unknown") if reason is not None else ():
            words = "; ".join(self._say(text) for text in getattr(reason, kind).values())
            if words:
                self._pattern(kind, left, y - 9)
                y = self._lines(say(f"map.{kind}", reasons=words), left + 22, y, COLUMN - 22, 6.0) - 1
        for words, draw in self._marks():
            if y < MARGIN + 12:
                break
            draw(left, y - 8)
            pen.text(left + 22, y - 6.5, words, 6.5)
            y -= 10

    def _pattern(self, kind: str, x: float, y: float) -> None:
        strokes, _ = hatch_tile(kind, (17, 38))
        ink = np.array(_INK if kind == "excluded" else _RING)
        tile = np.where(strokes[..., None], ink, 255).astype(np.uint8)
        self.pen.canvas.drawImage(ImageReader(Image.fromarray(tile)), x, y, 18, 8)
        self.pen.box((x, y, x + 18, y + 8), 0.4)

    def _marks(self) -> Iterable[tuple[str, Any]]:
        pen, scene = self.pen, self.scene

        def area(weight: float, style: str, fill: str | None = None) -> Any:
            def draw(x: float, y: float) -> None:
                box = (x, y, x + 18, y + 8)
                if fill:
                    hatch(pen, shapely.box(*box), fill)
                pen.box(box, weight, style=style)

            return draw

        if scene.candidates is not None and len(scene.candidates):
            yield say("map.candidate"), area(0.7, "full")
        if scene.sites is not None and len(scene.sites):
            marks = list(scene.sites.get("mark", []))
            for fill, words in ((0.0, say("map.chosen")), (1.0, say("map.chosen_not_scouted"))):
                if (fill == 1.0) == any(m == "chosen, not scouted" for m in marks):
                    yield words, lambda x, y, f=fill: diamond(pen, x + 9, y + 4, 4.0, fill=f)
        if scene.work_areas is not None and len(scene.work_areas):
            yield say("permit.work_area"), area(0.9, "dash-dot")
        for role in sorted(set(scene.plots["role"])) if scene.plots is not None and len(scene.plots) else ():
            style, weight = PLOTS.get(role, PLOTS["planted"])
            yield say("map.plot", role=say(f"permit.role_{role}")), area(weight, style)
        for rule in (
            sorted(set(scene.protected["rule"])) if scene.protected is not None and len(scene.protected) else ()
        ):
            name, style, weight = PROTECTED.get(rule, PROTECTED["none"])
            yield (
                say("map.protected", rule=say(f"map.rule_{rule}")),
                area(weight, style, name if rule == "forbidden" else None),
            )
        if scene.existing is not None and len(scene.existing):
            for wild, words in ((True, say("map.living")), (False, say("permit.outplant"))):
                if any((o != "outplant") == wild for o in scene.existing.get("origin", [])):
                    yield words, lambda x, y, w=wild: colony(pen, x + 9, y + 4, w)
        if scene.contour_interval_m > 0 and scene.depth is not None:
            unit, per = length_unit()
            words = say("map.contours", interval=f"{round(scene.contour_interval_m / per, 6):g}", unit=unit)
            yield words, lambda x, y: pen.line([(x, y + 4), (x + 18, y + 4)], 0.25)

    def _lines(self, text: str, x: float, y: float, room: float, size: float, bold: bool = False) -> float:
        for row in wrapped(self._say(text), room, size, bold)[:8] if text else ():
            self.pen.text(x, y - size, row, size, bold=bold)
            y -= size * 1.2
        return y - 1.5

    def _foot(self) -> None:
        pen, scene = self.pen, self.scene
        wide = self.window.box[2] - self.window.box[0]
        top = self.window.box[1] - 4
        check_line(pen, MARGIN, MARGIN, wide)
        facts = [
            say("map.date_run", date=self._say(scene.date), run=self._say(scene.run_id)),
            say("map.datum_grid", datum=self._say(scene.datum), grid=scene.grid.crs.name),
            *([] if wording().reviewed else [f"{say('unreviewed').capitalize()}."]),
            *(self._say(caution(c)) for c in scene.cautions),
            *(self._say(n) for n in scene.notes),
        ]
        if missing := _missing(scene):
            facts.insert(2, say("map.not_drawn", names=", ".join(missing)))
        if scene.scout:
            facts.insert(0, say("map.scout"))
        if scene.sources:
            facts.append(say("map.sources", sources="; ".join(self._say(s) for s in scene.sources)))
        if self.lost:
            facts.append(say("map.lost", number=self.lost))
        room = top - MARGIN - 14
        words = " ".join(f for f in facts if f)
        while True:
            for size in (7.0, 6.5, 6.0, 5.5, 5.0):
                if len(wrapped(words, wide, size)) * size * 1.25 <= room:
                    pen.lines(MARGIN, top, fitted(words, (wide, room + 1), sizes=(size,), where="notes of the map"))
                    return
            words = words[: int(len(words) * 0.9)].rstrip() + say("map.more")


def _missing(scene: MapScene) -> list[str]:
    lacking = [] if scene.rasters else ["scores"]
    lacking += [] if scene.depth is not None and np.isfinite(scene.depth).any() else ["depths"]
    for name in ("candidates", "sites", "plots", "work_areas", "protected", "existing"):
        frame = getattr(scene, name)
        if frame is None or not len(frame):
            lacking.append("protected_areas" if name == "protected" else name)
    return [say(f"map.no_{name}") for name in lacking]


def _window(scene: MapScene, box: tuple[float, float, float, float]) -> Window:
    """Return the largest round scale at which the whole grid fits."""
    west, south, east, north = scene.grid.bounds
    need = max((east - west) / (box[2] - box[0]), (north - south) / (box[3] - box[1])) * POINTS_PER_METRE * 1.01
    power = 10.0 ** math.floor(math.log10(need))
    scale = next(k * power for k in SCALES if k * power >= need)
    return Window(box, ((west + east) / 2, (south + north) / 2), max(10, round(scale)))


def _rows(frame: Any) -> Iterable[Any]:
    return () if frame is None or len(frame) == 0 else frame.itertuples(index=False)
