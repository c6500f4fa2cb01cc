"""Writes the page: one file with everything in it."""

from __future__ import annotations

import html
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from pyproj import CRS

from sitekit.base.crs import transformer
from sitekit.base.files import write_text
from sitekit.outputs.explore_page.coding import LARGEST, LEVELS
from sitekit.outputs.explore_page.pack import outlines, pack_cells
from sitekit.outputs.explore_page.scene import ExploreScene, Judged
from sitekit.outputs.map_html.plain_text import plain_text, script_json
from sitekit.outputs.map_html.ramps import ramp
from sitekit.outputs.map_html.shell import assemble, filled

_FILES = resources.files("sitekit.outputs.explore_page")
PAGE_SCRIPTS = ("model", "patches", "view", "panel", "change", "start")  # page/*.js, in this order
BINS = 10
_KNOTS = 17  # rows and columns of the net that turns cells into degrees


def write_explore(target: Path, scene: ExploreScene) -> None:
    """Write the page, whole or not at all.

    Parameters
    ----------
    target : Path
        `out/explore.html`.
    scene : ExploreScene
        What the page is given.

    Raises
    ------
    FileFault
        If the file cannot be written.
    """
    write_text(target, explore_page(scene))


def explore_page(scene: ExploreScene) -> str:
    """Return the HTML of the page; the same scene gives the same bytes."""
    rows, cols = scene.grid.shape
    data: dict[str, Any] = {
        "title": plain_text(scene.title),
        "run": plain_text(scene.run_id),
        "who": toml_text(f"tried on the preview page of run {scene.run_id}"),
        "rows": rows,
        "cols": cols,
        "cell_m": scene.grid.cell,
        "cell_m2": scene.cell_m2,
        "every": scene.every,
        "levels": LEVELS,
        "largest": LARGEST,
        "responses": len(scene.responses),
        "reasons": {str(k): plain_text(v) for k, v in sorted(scene.reasons.items())},
        "species": [_species(one) for one in scene.species],
        "method": scene.method,
        "passing": scene.passing,
        "unknown": scene.max_unknown_weight,
        "least_m2": scene.least_area_m2,
        "ramp": ramp("score", BINS),
        "classes": ramp("classes", 24),
        "net": _net(scene),
        **outlines(scene),
    }
    data["candidates"] = [[plain_text(name), rings] for name, rings in data["candidates"]]
    data["sites"] = [[plain_text(name), *rest] for name, *rest in data["sites"]]
    return assemble(
        plain_text(scene.title) + ": preview of weights",
        ["\n".join(_text(f"page/{name}.js") for name in PAGE_SCRIPTS).strip()],
        [_text("page/page.css").strip()],
        _body(scene),
        {"ex-data": ("application/json", script_json(data)), "ex-cells-data": ("text/plain", pack_cells(scene))},
    )


def toml_text(text: str) -> str:
    """Return a TOML basic string: quotes, backslashes, control and direction marks are written as escapes."""
    out = []
    for mark in text:
        if mark in '"\\':
            out.append("\\" + mark)
        elif not mark.isprintable():
            out.append(f"\\u{ord(mark):04X}" if ord(mark) < 0x10000 else f"\\U{ord(mark):08X}")
        else:
            out.append(mark)
    return '"' + "".join(out) + '"'


def _species(one: Judged) -> dict[str, Any]:
    return {
        "code": plain_text(one.code),
        "name": plain_text(one.name),
        "unit_m2": one.unit_area_m2,
        "share": None if np.isnan(one.layout_share) else one.layout_share,
        "separation_m": one.separation_m,
        "run_m2": one.passing_m2,
        "criteria": [
            {
                "name": plain_text(c.name),
                "key": toml_text(c.name),
                "weight": c.weight,
                "response": c.response,
                "source": plain_text(c.source),
                "verified": c.verified,
            }
            for c in one.criteria
        ],
    }


def _net(scene: ExploreScene) -> dict[str, list[float]]:
    """Return longitudes and latitudes [degrees] on an even net over the grid, for straight lines in between."""
    west, south, east, north = scene.grid.bounds
    x, y = np.meshgrid(np.linspace(west, east, _KNOTS), np.linspace(north, south, _KNOTS))
    lon, lat = transformer(scene.grid.crs, CRS.from_epsg(4326)).transform(x.ravel(), y.ravel())
    lon = np.unwrap(np.asarray(lon), period=360.0)
    return {"lon": [round(float(v), 8) for v in lon], "lat": [round(float(v), 8) for v in np.asarray(lat)]}


def _body(scene: ExploreScene) -> str:
    def text(value: str) -> str:
        return f"<bdi>{html.escape(plain_text(value))}</bdi>"

    notes = [*scene.notes, f"Grid north of {scene.grid.crs.name} is up."]
    if scene.every > 1:
        notes.append(f"Every {scene.every}th row and column of the run's grid is shown.")
    if scene.candidates is None or len(scene.candidates) == 0:
        notes.append("The run found no candidates: no outlines are drawn.")
    template = _text("page/page.html")
    return filled(
        template,
        {
            "title": text(scene.title),
            "ribbon": '<strong class="ex-ribbon">FICTIONAL</strong>' if scene.fictional else "",
            "scout": '<strong class="ex-ribbon">Areas to scout</strong>' if scene.scout else "",
            "date": text(scene.date),
            "run": text(scene.run_id),
            "datum": text(scene.datum),
            "notes": "".join(f"<li>{text(n)}</li>" for n in notes),
            "cautions": "".join(f"<li>{text(c)}</li>" for c in scene.cautions),
        },
    )


def _text(name: str) -> str:
    return _FILES.joinpath(name).read_text("utf-8").replace("\r\n", "\n")
