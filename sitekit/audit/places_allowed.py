"""Whether every planned unit stands where the plan may put it: inside its candidate, on passing cells, clear of areas
where planting is forbidden, on allowed bottom, at the depth the bathymetry shows.

Outlines and rasters are the team's own files, asked at the written coordinates; only the score comes from the run.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.audit.inputs_again import cell_centres, covering, depth_range, nearest_cell, outlines, raster_values, ruled
from sitekit.audit.looks_again import seen_bottom, shifted_depths
from sitekit.audit.promises import Finding, asked, judged, not_looked_at
from sitekit.audit.written import Written, working
from sitekit.season.settings import Settings

IN_CANDIDATE = "every unit stands inside its candidate"
PASSES = "every unit stands on a cell that passes for its species"
FORBIDDEN = "no unit stands where planting is forbidden"
PERMIT = "units that need a permit stand where one is held"
IN_AREA = "every unit stands in the area of interest"
BOTTOM = "every unit stands on allowed bottom"
DEPTH = "every unit's depth is the bathymetry's, within the plan's limits"
_OUTLINE_M = 0.02  # outlines carry 7 decimals of a degree (1.1 cm), points 9
_DEPTH_M = 0.01  # depths are printed to the centimetre
_EDGE_M = 1e-3  # as near to an edge between two cells of a map as counts as on it
_SCORE = 1e-6  # half a step of a float32 near 1 is 3e-8
_SIDE_M = 1e-3  # m; how near a cell side a unit may be counted to the cell beyond
POSITIONS = "out/colonies.geojson"


def audit_places(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on where planned units stand.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    planned = written.planned()
    checks = {
        IN_CANDIDATE: _in_candidate,
        PASSES: _passes,
        FORBIDDEN: _forbidden,
        PERMIT: _permit,
        IN_AREA: _in_area,
        BOTTOM: _bottom,
        DEPTH: _depth,
    }
    due = [
        p
        for p in checks
        if not (p in (FORBIDDEN, PERMIT) and settings.layers.protected is None)
        and not (p == IN_AREA and settings.layers.area is None)
        and not (p == BOTTOM and settings.layers.substrate is None)
    ]
    if planned is None or written.crs is None:
        table = written.table("colonies")
        if table is not None and len(table) == 0 and written.colonies is None:
            return []
        return [not_looked_at(p, "no positions could be read", POSITIONS) for p in due]
    lost = ~np.isfinite(planned[["x_m", "y_m"]].to_numpy()).all(axis=1)
    kept = planned[~lost].reset_index(drop=True)
    findings: list[Finding] = []
    for promise in due:
        findings += asked(promise, POSITIONS, partial(checks[promise], project, settings, written, kept))
    if lost.any():
        gone = [f"{n} lies outside the working system" for n in _names(planned[lost])]
        findings[0] = judged(IN_CANDIDATE, gone, len(planned), POSITIONS, kept="", unit="units")
    return findings


def _names(frame: pd.DataFrame) -> list[str]:
    return [f"{s}-{n}" for s, n in zip(frame["site"], frame["sequence"], strict=True)]


def _xy(planned: pd.DataFrame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return planned["x_m"].to_numpy(dtype=np.float64), planned["y_m"].to_numpy(dtype=np.float64)


def _in_candidate(_: Path, __: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    where = f"{POSITIONS}, out/candidates.geojson"
    if written.candidates is None or written.crs is None:
        return not_looked_at(IN_CANDIDATE, "no outlines could be read", where)
    shapes = outlines_in(written.candidates, written.crs)
    x, y = _xy(planned)
    points = np.array(shapely.points(x, y), dtype=object, ndmin=1)
    broken = []
    labels = planned["candidate"].to_numpy(dtype=object)
    names = np.array(_names(planned), dtype=object)
    for label in sorted({str(v) for v in labels}):
        members = np.flatnonzero(labels.astype(str) == label)
        if label not in shapes:
            broken += [f"{n}: candidate {label} has no outline" for n in names[members]]
            continue
        shapely.prepare(shapes[label])
        within = shapely.dwithin(shapes[label], points[members], _OUTLINE_M)
        for i in members[~within]:
            broken.append(f"{names[i]} is {shapely.distance(shapes[label], points[i]):.2f} m outside {label}")
    return judged(
        IN_CANDIDATE, broken, len(planned), where, kept=f"point in outline, {_OUTLINE_M:g} m for rounding", unit="units"
    )


def outlines_in(candidates: Any, crs: CRS) -> dict[str, Any]:
    """Return candidate label -> outline in the working system, from longitude and latitude."""

    def change(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(working(xy[:, 0], xy[:, 1], crs))

    shapes = shapely.transform(candidates.geometry.to_numpy(), change)
    return {str(k): v for k, v in zip(candidates["candidate"], shapes, strict=True)}


def _passes(_: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    broken = []
    x, y = _xy(planned)
    least = np.float32(settings.score.passing)
    for code in sorted(set(planned["species"])):
        members = np.flatnonzero((planned["species"] == code).to_numpy())
        rows = planned.iloc[members]
        value = raster_values(written.out / f"score_{code}.tif", 1, x[members], y[members])
        reason = raster_values(written.out / f"reasons_{code}.tif", 2, x[members], y[members])
        noted = rows["score"].to_numpy(dtype=np.float64)
        # a unit on the side of a cell may be counted to either one: 9 decimals of a degree round by 0.1 mm
        for east, north in ((_SIDE_M, 0.0), (-_SIDE_M, 0.0), (0.0, _SIDE_M), (0.0, -_SIDE_M)):
            beside = raster_values(written.out / f"score_{code}.tif", 1, x[members] + east, y[members] + north)
            why = raster_values(written.out / f"reasons_{code}.tif", 2, x[members] + east, y[members] + north)
            better = (np.abs(noted - beside) <= _SCORE) & ~(np.abs(noted - value) <= _SCORE)
            value, reason = np.where(better, beside, value), np.where(better, why, reason)
        for name, v, r, n in zip(_names(rows), value, reason, noted, strict=True):
            if not np.isfinite(v) or v < least:
                broken.append(f"{name}: score {v:.4f} of its cell is below {settings.score.passing:g}")
            elif r != 0:
                broken.append(f"{name}: its cell is excluded (reason {r:.0f})")
            elif abs(n - v) > _SCORE:
                broken.append(f"{name}: score {n:.4f} is listed, its cell has {v:.4f}")
    return judged(
        PASSES,
        broken,
        len(planned),
        f"{POSITIONS}, out/score_*.tif, out/reasons_*.tif",
        kept=f"score at least {settings.score.passing:g}, not excluded, as listed",
        unit="units",
    )


def _forbidden(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    assert settings.layers.protected is not None
    frame = ruled(project, settings.layers.protected, written.crs)
    shut = frame[frame["_rule"] == "forbidden"]
    hits = covering(shut, *_xy(planned))
    names = _names(planned)
    broken = [f"{names[p]} is in {shut['_name'].iloc[r]}" for p, r in zip(hits["point"], hits["row"], strict=True)]
    return judged(
        FORBIDDEN,
        broken,
        len(planned),
        f"{POSITIONS}, {_file(settings.layers.protected)}",
        kept=f"exact position against {len(shut)} forbidden areas",
        unit="units",
    )


def _permit(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    assert settings.layers.protected is not None
    frame = ruled(project, settings.layers.protected, written.crs)
    needs = frame[frame["_rule"] == "permit"]
    hits = covering(needs, *_xy(planned))
    held = settings.exclusions.permit_held
    inside_of = [str(needs["_name"].iloc[r]) for r in hits["row"]]
    names = _names(planned)
    broken = [
        f"{names[p]} is in {area}, whose permit is not held"
        for p, area in zip(hits["point"], inside_of, strict=True)
        if held and area not in held
    ]
    counts = pd.Series(inside_of, dtype=object).value_counts().sort_index()
    listed = ", ".join(f"{n} in {area}" for area, n in counts.items()) or "none stands in such an area"
    kept = listed if held or not inside_of else f"{listed}: exclusions.permit_held names no permit, get one first"
    return judged(
        PERMIT, broken, len(planned), f"{POSITIONS}, {_file(settings.layers.protected)}", kept=kept, unit="units"
    )


def _in_area(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    assert settings.layers.area is not None
    frame = outlines(project, settings.layers.area, written.crs)
    reach = settings.plan.cell_m * 0.5**0.5
    x, y = _xy(planned)
    near = shapely.dwithin(shapely.union_all(frame.geometry.to_numpy()), shapely.points(x, y), reach)
    names = np.array(_names(planned), dtype=object)
    return judged(
        IN_AREA,
        [f"{n} is outside" for n in names[~near]],
        len(planned),
        f"{POSITIONS}, {_file(settings.layers.area)}",
        kept="to half a cell's diagonal",
        unit="units",
    )


def _bottom(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    layer = settings.layers.substrate
    assert layer is not None
    names = _names(planned)
    x, y = cell_centres(written.out / f"score_{settings.species[0].code}.tif", *_xy(planned))
    if layer.field is not None:
        frame = outlines(project, layer, written.crs)
        hits = covering(frame, x, y)
        values = [_text(v) for v in frame[layer.field].iloc[hits["row"]]]
    else:
        # on an edge between two cells of the map either may be the one that the run took
        beside = [(a, b) for a in (-_EDGE_M, _EDGE_M) for b in (-_EDGE_M, _EDGE_M)]
        found = np.stack([nearest_cell(project, layer, written.crs, x + a, y + b) for a, b in beside])
        hits = pd.DataFrame({"point": np.nonzero(np.isfinite(found))[1]})
        values = [_text(v) for v in found[np.isfinite(found)]]
    excluded = set(settings.exclusions.substrate)
    classes = [layer.classes.get(v) for v in values]
    fine = {
        int(p)
        for p, c in zip(hits["point"], classes, strict=True)
        if (c not in excluded if c is not None else not settings.exclusions.unknown_substrate)
    }
    on: dict[int, str] = {int(p): v for p, v in zip(hits["point"], values, strict=True)}
    for k, name in seen_bottom(project, settings, written.crs, x, y).items():
        on[k] = f"{name}, seen when scouted"
        fine = fine - {k} if name in excluded else fine | {k}
    broken = []
    for i, name in enumerate(names):
        if i in fine or (i not in on and not settings.exclusions.unknown_substrate):
            continue
        broken.append(f"{name} is on {on[i]}" if i in on else f"{name} is on unmapped bottom")
    return judged(
        BOTTOM,
        broken,
        len(planned),
        f"{POSITIONS}, {_file(layer)}",
        kept="bottom class at the centre of its cell",
        unit="units",
    )


def _text(value: Any) -> str:
    if isinstance(value, (float, np.floating)):
        return f"{value:g}"
    return str(value).strip()


def _depth(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    x, y = _xy(planned)
    low, high = shifted_depths(project, settings, written.crs, x, y, *depth_range(project, settings, written.crs, x, y))
    noted = planned["depth_m"].to_numpy(dtype=np.float64)
    least, greatest = settings.exclusions.least_depth_m, settings.exclusions.greatest_depth_m
    broken = []
    for name, d, a, b in zip(_names(planned), noted, low, high, strict=True):
        if not np.isfinite(a):
            broken.append(f"{name}: the bathymetry has no depth there")
        elif not a - _DEPTH_M <= d <= b + _DEPTH_M:
            broken.append(f"{name}: {d:.2f} m is listed, the bathymetry has {a:.2f} to {b:.2f} m around it")
        elif (least is not None and d < least - _DEPTH_M) or (greatest is not None and d > greatest + _DEPTH_M):
            broken.append(f"{name}: {d:.2f} m is beyond the plan's limits")
    return judged(
        DEPTH,
        broken,
        len(planned),
        f"{POSITIONS}, {_file(settings.layers.bathymetry)}",
        kept="between the least and greatest input depth around it",
        unit="units",
    )


def _file(layer: Any) -> str:
    return str(layer.file)
