"""Outlines, lines and points as whole centimetres on the screen's plane, each with the facts a click shows."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from sitekit.outputs.map_html.mercator import Screen
from sitekit.outputs.map_html.plain_text import plain_text

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

STEP = 0.01  # m; coordinates are kept in whole steps, each as the difference from the one before

# column -> (words, decimals of a number or None for text)
_FACTS: dict[str, dict[str, tuple[str, int | None]]] = {
    "candidates": {
        "site": ("Site", None),
        "nearest_name": ("Nearest named place", None),
        "species": ("Species that pass", None),
        "area_m2": ("Area, m²", 0),
        "depth_min_m": ("Least depth, m", 1),
        "depth_mean_m": ("Mean depth, m", 1),
        "depth_max_m": ("Greatest depth, m", 1),
        "score_mean": ("Mean score, 0–1", 2),
        "score_max": ("Highest score, 0–1", 2),
        "limiting": ("Limiting criterion", None),
        "protected": ("Protected areas", None),
        "unknown_pct": ("Weight on unknown values, %", 0),
        "ranks": ("Rank under other weights", None),
        "room": ("Room, outplant units", None),
        "choice": ("Choice", None),
        "note": ("Note", None),
    },
    "sites": {
        "name": ("Name", None),
        "candidate": ("Candidate of this run", None),
        "rank": ("Rank", 0),
        "chosen": ("Chosen", None),
        "reason": ("Reason", None),
        "scouted": ("Scouted", None),
        "scouted_on": ("Scouted on", None),
        "observer": ("Scouted by", None),
        "verdict": ("Go/no-go", None),
        "answers": ("Answers", None),
        "shelter": ("Shelter", None),
        "units": ("Outplant units planned", 0),
        "most_units": ("Most units allowed", 0),
        "dives": ("Dives, estimate", 0),
        "boat_days": ("Boat days, estimate", 1),
        "nursery_m": ("Way by sea to the nursery, m", 0),
        "harbour_m": ("Way by sea to the harbour, m", 0),
        "depth_difference_m": ("Deeper than the nursery by, m", 1),
    },
    "plots": {
        "site": ("Site", None),
        "role": ("Role", None),
        "shape": ("Shape", None),
        "bearing_true_deg": ("Tape bearing, ° true", 0),
        "length_m": ("Length, m", 1),
        "width_m": ("Width, m", 1),
        "hard_pct": ("Hard bottom, %", 0),
        "robust_pct": ("Good wherever the pin falls, %", 0),
        "depth_min_m": ("Least depth, m", 1),
        "depth_max_m": ("Greatest depth, m", 1),
        "units": ("Outplant units", 0),
        "numbers": ("Sequence numbers", None),
        "note": ("Note", None),
    },
    "tape_lines": {"site": ("Site", None), "length_m": ("Length, m", 1), "bearing_true_deg": ("Bearing, ° true", 0)},
    "work_areas": {
        "site": ("Site", None),
        "kind": ("Kind", None),
        "area_m2": ("Area, m²", 0),
        "corners": ("Corners", 0),
        "plots": ("Plots", 0),
        "units": ("Outplant units", 0),
        "buffer_m": ("Buffer, m", 1),
        "depth_min_m": ("Least depth, m", 1),
        "depth_max_m": ("Greatest depth, m", 1),
        "rules": ("Rules", None),
        "note": ("Note", None),
    },
    "protected": {"rule": ("Rule", None), "note": ("Note", None)},
    "existing": {
        "species": ("Species", None),
        "size_cm": ("Size, cm", 0),
        "origin": ("Origin", None),
        "position_error_m": ("Position error, ± m", 1),
    },
    "contours": {},
}
_TITLES = {
    "candidates": ("Candidates", "Candidate", ("candidate",)),
    "sites": ("Sites", "Site", ("site",)),
    "plots": ("Plots", "Plot", ("plot",)),
    "tape_lines": ("Tape lines", "Tape line of plot", ("plot",)),
    "work_areas": ("Work areas", "Work area", ("work_area",)),
    "protected": ("Protected areas", "Protected area", ("name",)),
    "existing": ("Existing colonies", "Existing colony", ("name", "id")),
    "contours": ("Depth contours", "Depth contour", ("name",)),
}


def vector_layer(name: str, frame: GeoDataFrame | None, screen: Screen, cell: float) -> dict[str, Any]:
    """Return one layer for the page.

    Parameters
    ----------
    name : str
        One of the scene's vector names, or `contours`.
    frame : GeoDataFrame, optional
        In the working CRS; None means the run has no such layer.
    screen : Screen
        Plane of the page.
    cell : float
        Side of a grid cell [m]; outlines of over 40,000 corners are thinned to half of it for drawing.

    Returns
    -------
    dict
        `id`, `label`, `one`, `given`, `thinned`, `fields` (words of the facts), `items`: each `n` (name), `t` (P point,
        L lines, A areas), `r` (parts → rings → steps), `v` (facts), `k` (rule, role, origin or mark: decides the drawing).
    """
    label, one, name_columns = _TITLES[name]
    layer: dict[str, Any] = {"id": name, "label": label, "one": one, "given": frame is not None, "thinned": False}
    if frame is None or len(frame) == 0:
        return {**layer, "fields": [], "items": []}
    known = {c: words for c, words in _FACTS[name].items() if c in frame.columns}
    geometry = np.asarray(frame.geometry.array, dtype=object)
    if int(shapely.get_num_coordinates(geometry).sum()) > 40_000:
        geometry = shapely.simplify(geometry, cell * 0.5, preserve_topology=True)
        layer["thinned"] = True
    title = next((c for c in name_columns if c in frame.columns), None)
    kinds = next((frame[c] for c in ("rule", "role", "origin", "mark") if c in frame.columns), None)
    columns = [[_fact(v, places) for v in frame[c]] for c, (_, places) in known.items()]
    rows = [row for row, shape in enumerate(geometry) if shape is not None and not shape.is_empty]
    steps = _all_steps([geometry[row] for row in rows], frame.crs, screen) if rows else []
    items = [
        {
            "n": plain_text(frame[title].iloc[row]) if title else "",
            "k": plain_text(kinds.iloc[row]) if kinds is not None else "",
            **drawn,
            "v": [column[row] for column in columns],
        }
        for row, drawn in zip(rows, steps, strict=True)
    ]
    return {**layer, "fields": [words for words, _ in known.values()], "items": items}


_KINDS = {"Polygon": "A", "LineString": "L", "LinearRing": "L", "Point": "P"}


def _all_steps(shapes: list[Any], crs: Any, screen: Screen) -> list[dict[str, Any]]:
    """Return type, rings and the place of the name of each shape; all corners are projected at once."""
    found: list[dict[str, Any]] = []
    flat: list[Any] = []
    spots = shapely.point_on_surface(np.array(shapes, dtype=object))
    for shape in shapes:
        parts = list(getattr(shape, "geoms", [shape]))
        main = next((_KINDS[p.geom_type] for p in parts if p.geom_type in _KINDS), "P")
        rings = [
            [shapely.get_coordinates(r) for r in ((p.exterior, *p.interiors) if main == "A" else (p,))]
            for p in parts
            if _KINDS.get(p.geom_type) == main
        ]
        flat += [ring for part in rings for ring in part]
        found.append({"t": main, "r": [len(part) for part in rings]})
    corners = np.concatenate([*flat, shapely.get_coordinates(spots)])
    placed = np.rint((screen.forward(corners[:, 0], corners[:, 1], crs) - (screen.west, screen.south)) / STEP)
    ends = np.cumsum([len(ring) for ring in flat])
    *pieces, names = np.split(placed.astype(np.int64), ends)
    each = iter(pieces)
    for one, name in zip(found, names, strict=True):
        one["r"] = [[_differences(next(each)) for _ in range(count)] for count in one["r"]]
        if one["t"] == "A":
            one["l"] = [int(v) for v in name]
    return found


def _differences(points: Any) -> list[int]:
    out = np.diff(points, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    return [int(v) for v in out.ravel()]


def _fact(value: Any, places: int | None) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if places is None or isinstance(value, str):
        return plain_text(value)
    try:
        number = float(value)
    except (TypeError, ValueError):
        return ""
    return "" if math.isnan(number) else f"{number:,.{places}f}".replace(",", "\u202f").replace("-", "−")


def names_of(layers: Iterable[dict[str, Any]]) -> list[str]:
    """Return what to say of layers that are given but empty, then of those the run does not have."""
    listed = list(layers)
    empty = [f"{x['label']}: none in this run" for x in listed if x["given"] and not x["items"]]
    return empty + [f"{x['label']}: not part of this run" for x in listed if not x["given"]]
