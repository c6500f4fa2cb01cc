"""Outlines, lines and points as whole centimetres on the screen's plane, each with the facts a click shows."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from sitekit.base.wording import length_unit, retell_parts, say
from sitekit.outputs.map_html.mercator import Screen
from sitekit.outputs.map_html.plain_text import plain_text

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

STEP = 0.01  # m; coordinates are kept in whole steps, each as the difference from the one before

# column -> (label of what a click shows, decimals of a number or None for text); labels that end in _m follow the units
_FACTS: dict[str, dict[str, tuple[str, int | None]]] = {
    "candidates": {
        "site": ("fact.site", None),
        "nearest_name": ("fact.nearest_name", None),
        "species": ("fact.species_passing", None),
        "area_m2": ("fact.area_m2", 0),
        "depth_min_m": ("fact.depth_min_m", 1),
        "depth_mean_m": ("fact.depth_mean_m", 1),
        "depth_max_m": ("fact.depth_max_m", 1),
        "score_mean": ("fact.score_mean", 2),
        "score_max": ("fact.score_max", 2),
        "limiting": ("fact.limiting", None),
        "protected": ("fact.protected", None),
        "unknown_pct": ("fact.unknown_pct", 0),
        "ranks": ("fact.ranks", None),
        "room": ("fact.room", None),
        "choice": ("fact.choice", None),
        "note": ("fact.note", None),
    },
    "sites": {
        "name": ("fact.name", None),
        "candidate": ("fact.candidate", None),
        "rank": ("fact.rank", 0),
        "chosen": ("fact.chosen", None),
        "reason": ("fact.reason", None),
        "scouted": ("fact.scouted", None),
        "scouted_on": ("fact.scouted_on", None),
        "observer": ("fact.observer", None),
        "verdict": ("fact.verdict", None),
        "answers": ("fact.answers", None),
        "shelter": ("fact.shelter", None),
        "units": ("fact.units_planned", 0),
        "most_units": ("fact.most_units", 0),
        "dives": ("fact.dives", 0),
        "boat_days": ("fact.boat_days", 1),
        "nursery_m": ("fact.nursery_m", 0),
        "harbour_m": ("fact.harbour_m", 0),
        "depth_difference_m": ("fact.depth_difference_m", 1),
    },
    "plots": {
        "site": ("fact.site", None),
        "role": ("fact.role", None),
        "shape": ("fact.shape", None),
        "bearing_true_deg": ("fact.bearing_true_deg", 0),
        "length_m": ("fact.length", 1),
        "width_m": ("fact.width", 1),
        "hard_pct": ("fact.hard_pct", 0),
        "robust_pct": ("fact.robust_pct", 0),
        "depth_min_m": ("fact.depth_min_m", 1),
        "depth_max_m": ("fact.depth_max_m", 1),
        "units": ("fact.units", 0),
        "numbers": ("fact.numbers", None),
        "note": ("fact.note", None),
    },
    "tape_lines": {
        "site": ("fact.site", None),
        "length_m": ("fact.length", 1),
        "bearing_true_deg": ("fact.bearing", 0),
    },
    "work_areas": {
        "site": ("fact.site", None),
        "kind": ("fact.kind", None),
        "area_m2": ("fact.area_m2", 0),
        "corners": ("fact.corners", 0),
        "plots": ("fact.plots", 0),
        "units": ("fact.units", 0),
        "buffer_m": ("fact.buffer_m", 1),
        "depth_min_m": ("fact.depth_min_m", 1),
        "depth_max_m": ("fact.depth_max_m", 1),
        "rules": ("fact.rules", None),
        "note": ("fact.note", None),
    },
    "protected": {
        "rule": ("fact.rule", None),
        "note": ("fact.note", None),
    },
    "existing": {
        "species": ("fact.species", None),
        "size_cm": ("fact.size_cm", 0),
        "origin": ("fact.origin", None),
        "position_error_m": ("fact.position_error_m", 1),
    },
    "standing": {
        "plot": ("fact.plot", None),
        "species": ("fact.species", None),
        "genet": ("fact.genet", None),
        "tag": ("fact.tag", None),
        "planted": ("fact.planted", None),
        "state": ("fact.state", None),
        "seen": ("fact.seen", None),
        "live_pct": ("fact.live_pct", 0),
        "cause": ("fact.cause", None),
        "error_m": ("fact.position_error_m", 1),
    },
    "contours": {},
}
_NAMES: dict[str, tuple[str, ...]] = {
    "candidates": ("candidate",),
    "sites": ("site",),
    "plots": ("plot",),
    "tape_lines": ("plot",),
    "work_areas": ("work_area",),
    "protected": ("name",),
    "existing": ("name", "id"),
    "standing": ("unit",),
    "contours": ("name",),
}
# column that decides the drawing -> its words -> their labels
_KINDS_SAID = {
    "rule": {k: f"map.rule_{k}" for k in ("forbidden", "permit", "preferred", "none")},
    "role": {k: f"permit.role_{k}" for k in ("planted", "control", "reference")},
    "origin": {"wild": "layer.origin_wild", "outplant": "layer.origin_outplant"},
    "state": {
        "planted": "layer.state_planted",
        "alive": "rows.alive",
        "dead": "rows.dead",
        "missing": "rows.missing",
    },
    "mark": {
        "chosen": "layer.mark_chosen",
        "not chosen": "layer.mark_not_chosen",
        "chosen, not scouted": "layer.mark_chosen_not_scouted",
        "not chosen, not scouted": "layer.mark_not_chosen_not_scouted",
    },
}
_TYPED = (
    "site",
    "nearest_name",
    "species",
    "name",
    "candidate",
    "scouted_on",
    "observer",
    "numbers",
    "plot",
    "genet",
    "tag",
    "planted",
    "seen",
    "cause",
)  # told as they are


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
        `id`, `label`, `one`, `given`, `thinned`, `fields` (words of the facts), `kinds` (what each kind
        is called), `items`: each `n` (name), `t` (P point,
        L lines, A areas), `r` (parts → rings → steps), `v` (facts), `k` (rule, role, origin or mark: decides the drawing).
    """
    name_columns = _NAMES[name]
    layer: dict[str, Any] = {
        "id": name,
        "label": say(f"layer.many_{name}"),
        "one": say(f"layer.one_{name}"),
        "given": frame is not None,
        "thinned": False,
    }
    if frame is None or len(frame) == 0:
        return {**layer, "fields": [], "items": []}
    known = {c: words for c, words in _FACTS[name].items() if c in frame.columns}
    geometry = np.asarray(frame.geometry.array, dtype=object)
    if int(shapely.get_num_coordinates(geometry).sum()) > 40_000:
        geometry = shapely.simplify(geometry, cell * 0.5, preserve_topology=True)
        layer["thinned"] = True
    title = next((c for c in name_columns if c in frame.columns), None)
    kind = next((c for c in _KINDS_SAID if c in frame.columns), "")
    kinds = frame[kind] if kind else None
    columns = [[_told(c, key, v, places) for v in frame[c]] for c, (key, places) in known.items()]
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
    found = {**layer, "fields": [_words(key) for key, _ in known.values()], "items": items}
    said = {k: _kind(kind, k) for k in dict.fromkeys(item["k"] for item in items) if k}
    return {**found, "kinds": said} if said != {k: k for k in said} else found


def _kind(column: str, value: str) -> str:
    """What a kind is called; a word that has no label, as it stands."""
    key = _KINDS_SAID[column].get(value)
    return say(key) if key else value


def _words(key: str) -> str:
    return say(key, unit=length_unit()[0]) if key.endswith("_m") else say(key)


def _told(column: str, key: str, value: Any, places: int | None) -> str:
    if places is not None and key.endswith("_m") and not isinstance(value, str):
        return _fact(_in_unit(value), places)
    text = _fact(value, places)
    if places is not None or column in _TYPED or not text:
        return text
    if column in _KINDS_SAID:
        return _kind(column, text)
    return retell_parts(text, typed=True)


def _in_unit(value: Any) -> Any:
    try:
        return float(value) / length_unit()[1]
    except (TypeError, ValueError):
        return value


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
        return say("told.yes" if value else "told.no")
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
    empty = [say("layer.none", layer=x["label"]) for x in listed if x["given"] and not x["items"]]
    return empty + [say("layer.not_part", layer=x["label"]) for x in listed if not x["given"]]
