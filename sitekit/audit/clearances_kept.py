"""Whether units keep clear of living colonies and of excluded bottom, as planned on paper.

"Planned, ± error": positions of living colonies are as good as their survey; the clearance judged here is to the
written position, with the stated error added. What divers really leave free is measured after planting, not here.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
from numpy.typing import NDArray
from pyproj import Geod
from scipy.spatial import cKDTree

from sitekit.audit.inputs_again import cell_place, padded
from sitekit.audit.living_again import living
from sitekit.audit.promises import SHOWN, Finding, asked, judged, not_looked_at
from sitekit.audit.written import Written, working
from sitekit.season.settings import Settings

LIVING = "every unit keeps clear of living colonies, their position error added"
EDGES = "every unit keeps clear of excluded cells"
_WIDER = 1.002  # the plane of the working system stretches by less than 0.1 %
_EDGE_M = 1e-3  # of positions rounded to 9 decimals of a degree
_PIECE = 1024  # side of the raster pieces read at once [cells]
_WGS84 = Geod(ellps="WGS84")


def audit_clearances(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on clearances.

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
    due = [LIVING] if settings.layers.colonies else []
    due += [EDGES] if settings.spacing.edge_clearance_m > 0 else []
    if planned is None:
        table = written.table("colonies")
        if table is not None and len(table) == 0 and written.colonies is None:
            return []
        return [not_looked_at(p, "no positions could be read", "out/colonies.geojson") for p in due]
    planned = planned[np.isfinite(planned[["x_m", "y_m"]].to_numpy()).all(axis=1)].reset_index(drop=True)
    findings = []
    for promise, check in ((LIVING, _living), (EDGES, _edges)):
        if promise not in due:
            continue
        findings += asked(promise, "out/colonies.geojson", partial(check, project, settings, written, planned))
    return findings


def _living(project: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    assert written.crs is not None
    where = "out/colonies.geojson, " + ", ".join(c.file for c in settings.layers.colonies)
    there = living(project, settings, written.crs)
    if len(there) == 0 or len(planned) == 0:
        return Finding(LIVING, "no pair", "", True, "no living colony is listed, or no unit planned", where)
    if bool(there["error_m"].isna().any()):
        row = there[there["error_m"].isna()].iloc[0]
        return not_looked_at(LIVING, f"{row['named']} states no position error", where)
    clearance = settings.spacing.clearance_m
    due = clearance + there["error_m"].to_numpy(dtype=np.float64)
    lon, lat = there["lon"].to_numpy(dtype=np.float64), there["lat"].to_numpy(dtype=np.float64)
    centres = np.column_stack(working(lon, lat, written.crs))
    tree = cKDTree(planned[["x_m", "y_m"]].to_numpy())
    good = np.flatnonzero(np.isfinite(centres).all(axis=1))
    near = tree.query_ball_point(centres[good], due[good] * _WIDER)
    broken = []
    for k, members in zip(good, near, strict=True):
        for i in sorted(members):
            unit = planned.iloc[i]
            metres = float(_WGS84.inv(lon[k], lat[k], unit["lon"], unit["lat"])[2])
            if metres < due[k]:
                broken.append(
                    f"{unit['site']}-{unit['sequence']}: {metres:.2f} m to {there['named'][k]}, due {due[k]:g} m"
                )
    _, nearest = tree.query(centres[good])
    least = _WGS84.inv(lon[good], lat[good], planned["lon"].to_numpy()[nearest], planned["lat"].to_numpy()[nearest])[2]
    more = f" and {len(broken) - SHOWN} more" if len(broken) > SHOWN else ""
    errors = there["error_m"]
    kept = (
        f"planned on paper, ± {errors.min():g} to {errors.max():g} m of position error; "
        f"due {clearance:g} m and the error of each of {len(there)} colonies"
    )
    detail = "; ".join(broken[:SHOWN]) + more if broken else kept
    return Finding(LIVING, float(np.min(least)), "m", not broken, detail, where)


def _edges(_: Path, settings: Settings, written: Written, planned: pd.DataFrame) -> Finding:
    clearance = settings.spacing.edge_clearance_m
    names = [f"{s}-{n}" for s, n in zip(planned["site"], planned["sequence"], strict=True)]
    broken = []
    for code in sorted(set(planned["species"])):
        members = np.flatnonzero((planned["species"] == code).to_numpy())
        x, y = planned["x_m"].to_numpy()[members], planned["y_m"].to_numpy()[members]
        away = _to_excluded(written.out / f"reasons_{code}.tif", clearance, x, y)
        broken += [
            f"{names[i]} is {m:.2f} m from an excluded cell, due {clearance:g} m"
            for i, m in zip(members, away, strict=True)
            if m < clearance - _EDGE_M
        ]
    return judged(
        EDGES,
        broken,
        len(planned),
        "out/colonies.geojson, out/reasons_*.tif",
        kept=f"planned on paper, {clearance:g} m to the nearest side of an excluded cell",
        unit="units",
    )


def _to_excluded(path: Path, reach: float, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance from each point to the nearest excluded cell's square, infinite beyond the reach [m]."""
    out = np.full(x.size, np.inf)
    with rasterio.open(path) as source:
        cell = float(source.transform.a)
        column, row = cell_place(source.transform, x, y)
        halo = int(np.ceil(reach / cell)) + 1
        places = pd.DataFrame({"r": np.floor(row) // _PIECE, "c": np.floor(column) // _PIECE})
        for _, part in places.groupby(["r", "c"], sort=True):
            members = part.index.to_numpy()
            top = int(part["r"].iloc[0]) * _PIECE - halo
            left = int(part["c"].iloc[0]) * _PIECE - halo
            side = _PIECE + 2 * halo
            shut = np.nan_to_num(padded(source, 2, (top, left, side, side))) != 0
            r, c = row[members] - top, column[members] - left
            for dr in range(-halo, halo + 1):
                for dc in range(-halo, halo + 1):
                    i, j = np.floor(r).astype(np.int64) + dr, np.floor(c).astype(np.int64) + dc
                    south = np.maximum(np.maximum(i - r, r - i - 1), 0.0)
                    east = np.maximum(np.maximum(j - c, c - j - 1), 0.0)
                    metres = np.where(shut[i, j], np.hypot(south, east) * cell, np.inf)
                    out[members] = np.minimum(out[members], metres)
    return out
