"""What divers brought back, read again from the form: it stands in place of the input layers near its waypoints."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from sitekit.audit.inputs_again import depth_range
from sitekit.base.files import inside
from sitekit.layers.rows import read_rows
from sitekit.season.settings import Settings

Floats = NDArray[np.float64]

_POINTS = {
    "bottom_centre": (0.0, 0.0),
    "bottom_north": (0.0, 1.0),
    "bottom_east": (1.0, 0.0),
    "bottom_south": (0.0, -1.0),
    "bottom_west": (-1.0, 0.0),
}


@dataclass(frozen=True)
class Look:
    """One filled-in line of the form, on the working grid.

    Parameters
    ----------
    x_m, y_m : float
        Its waypoint [m].
    depth_m : float or None
        Depth read less height of tide [m]; None where one of them is missing.
    bottom : list of tuple
        (east, north, class) of each point that was looked at [m].
    """

    x_m: float
    y_m: float
    depth_m: float | None
    bottom: list[tuple[float, float, str]]


def filled_forms(project: Path, settings: Settings) -> dict[int, dict[str, str]]:
    """Return the filled-in lines of the returned form, column by column, by their line; empty without a form."""
    if settings.scout.from_file is None:
        return {}
    table = read_rows(inside(project, settings.scout.from_file), "scout.from", settings.scout.reading)
    forms = {
        int(line): {name: str(cell).strip() for name, cell in zip(table.names, cells, strict=True)}
        for line, cells in zip(table.lines, table.cells, strict=True)
    }
    return {line: form for line, form in forms.items() if form["date"] or form["observer"]}


def looks(project: Path, settings: Settings, crs: CRS) -> list[Look]:
    """Return the filled-in lines of the returned form that name a site of the plan."""
    turn = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    codes = {s.code for s in settings.site}
    found = []
    for row in filled_forms(project, settings).values():
        longitude, latitude = _number(row.get("longitude_deg", "")), _number(row.get("latitude_deg", ""))
        if row["site"] not in codes or longitude is None or latitude is None:
            continue
        x, y = turn.transform(longitude, latitude)
        depth, tide = _number(row.get("depth_m", "")), _number(row.get("tide_m", ""))
        step = settings.scout.points_m
        bottom = [(x + e * step, y + n * step, row[k]) for k, (e, n) in _POINTS.items() if row.get(k)]
        found.append(Look(x, y, None if depth is None or tide is None else depth - tide, bottom))
    return found


def shifted_depths(
    project: Path, settings: Settings, crs: CRS, x: Floats, y: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats]:
    """Widen least and greatest depths near a waypoint by how far the depth read there lies off the bathymetry."""
    low, high = low.copy(), high.copy()
    for look in looks(project, settings, crs):
        if look.depth_m is None:
            continue
        first, last = depth_range(project, settings, crs, np.array([look.x_m]), np.array([look.y_m]))
        near = np.hypot(x - look.x_m, y - look.y_m) <= settings.scout.points_m
        low[near] += min(0.0, look.depth_m - float(last[0]))
        high[near] += max(0.0, look.depth_m - float(first[0]))
    return low, high


def seen_bottom(project: Path, settings: Settings, crs: CRS, x: Floats, y: Floats) -> dict[int, str]:
    """Return the class that a diver saw for each cell centre nearer to a look than half the distance between looks."""
    seen: dict[int, str] = {}
    for look in looks(project, settings, crs):
        for east, north, name in look.bottom:
            for k in np.flatnonzero(np.hypot(x - east, y - north) <= 0.5 * settings.scout.points_m):
                seen[int(k)] = name
    return seen


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
