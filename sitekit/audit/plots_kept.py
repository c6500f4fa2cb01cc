"""Whether plots are what a diver is told: apart, pinned at their ends, units at their readings, tags in order.

Everything is computed again from the tables of `season.gpkg`: outlines against each other, pins against outlines, the
readings of each unit against its coordinates, the share of allowed bottom against the written score rasters. Readings
are rounded to 0.1 m and positions follow the readings, so half a reading and a millimetre are allowed.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import rasterio
import shapely
from numpy.typing import NDArray
from pyproj import Geod, Transformer

from sitekit.audit.promises import Finding, judged, not_looked_at
from sitekit.audit.written import Written
from sitekit.errors import SitekitError
from sitekit.season.settings import Settings

APART = "plots do not overlap and stay the gap apart"
PINS = "pins stand at the ends of the tape and the bearing leads from one to the other"
READINGS = "along and offset lead to the coordinates of every unit"
SHARE = "no plot claims more allowed bottom than passes there"
PLOT_TAGS = "tags are given out in their order"
SEASON = "out/season.gpkg"
_HALF_READING_M = 0.05 + 1e-3
_LENGTH_M = 5e-3  # pins and outlines are written at full precision; circles are outlines of 64 corners
_BEARING_DEG = 0.05
_ANGLE_DEG = 0.51  # angles in circles are whole degrees
_STEEPEST = 2.5  # bottom distance per map distance: 66° of slope; beyond that a ratio is a fault
_SAMPLE_PCT = 2.0  # the share is sampled here at other places than in the plan
_WGS84 = Geod(ellps="WGS84")


def audit_plots(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on plots, none if the plan has no plots.

    Parameters
    ----------
    project : Path
        Folder with the team's files, for the list of tags.
    settings : Settings
        The plan as it stands.
    written : Written
        What stands in `out/`.
    """
    plots, colonies = written.table("plots"), written.table("colonies")
    if plots is None or colonies is None or written.crs is None:
        return [not_looked_at(p, "the tables could not be read", SEASON) for p in (APART, PINS, READINGS, SHARE)]
    if len(plots) == 0:
        return []
    findings = [_pins(plots, written), _readings(plots, colonies)]
    if settings.spacing.mode == "plots":
        findings = [_apart(plots, settings), *findings, _share(plots, settings, written)]
    if settings.spacing.mode != "fill" and settings.colonies is None:
        findings.append(_tags(project, settings, plots, colonies))
    return findings


def _apart(plots: pd.DataFrame, settings: Settings) -> Finding:
    shapes = np.asarray(plots.geometry)
    gap = settings.spacing.plot.gap_m
    tree = shapely.STRtree(shapes)
    one, other = tree.query(shapes, predicate="dwithin", distance=max(gap, 1e-6))
    one, other = one[one < other], other[one < other]
    away = shapely.distance(shapes[one], shapes[other])
    names = plots["plot"].to_numpy()
    set_down = _as_set(plots)
    broken = [
        f"{names[a]} and {names[b]} are {d:.2f} m apart, due {gap:g} m"
        for a, b, d in zip(one, other, away, strict=True)
        if d < gap - _LENGTH_M and not (set_down[a] or set_down[b])
    ]
    return judged(APART, broken, len(plots), SEASON, kept=f"each at least {gap:g} m from every other", unit="plots")


def _pins(plots: pd.DataFrame, written: Written) -> Finding:
    ax, ay, bx, by = (plots[c].to_numpy(np.float64) for c in ("pin_x_m", "pin_y_m", "second_pin_x_m", "second_pin_y_m"))
    length, width = plots["length_m"].to_numpy(np.float64), plots["width_m"].to_numpy(np.float64)
    circle = (plots["shape"] == "circle").to_numpy()
    off_length = np.abs(np.hypot(bx - ax, by - ay) - length)
    shapes = np.asarray(plots.geometry)
    rims = shapely.boundary(shapes)
    from_rim = np.maximum(
        shapely.distance(rims, shapely.points(ax, ay)), shapely.distance(rims, shapely.points(bx, by))
    )
    middle = shapely.distance(shapely.centroid(shapes), shapely.points(ax, ay))
    area = np.where(circle, 32 * np.sin(math.pi / 32) * (0.5 * width) ** 2, length * width)
    off_area = np.abs(shapely.area(shapes) - area) / area
    lon, lat = _degrees(np.concatenate([ax, bx]), np.concatenate([ay, by]), written)
    n = len(plots)
    bearing = np.asarray(_WGS84.inv(lon[:n], lat[:n], lon[n:], lat[n:])[0]) % 360.0
    turned = np.abs((bearing - plots["bearing_true_deg"].to_numpy(np.float64) + 180.0) % 360.0 - 180.0)
    loose = _BEARING_DEG + np.degrees(_LENGTH_M / np.maximum(length, _LENGTH_M))
    broken = []
    for k, name in enumerate(plots["plot"]):
        if not off_length[k] <= _LENGTH_M:
            broken.append(f"{name}: pins {length[k] + off_length[k]:.3f} m or less apart, listed {length[k]:.3f} m")
        elif not turned[k] <= loose[k]:
            broken.append(f"{name}: the second pin lies {turned[k]:.2f}° off the bearing")
        elif circle[k] and not middle[k] <= _LENGTH_M:
            broken.append(f"{name}: the pin is {middle[k]:.2f} m from the middle of the circle")
        elif not circle[k] and not from_rim[k] <= _LENGTH_M:
            broken.append(f"{name}: a pin is {from_rim[k]:.2f} m from the outline")
        elif not off_area[k] <= 1e-3:
            broken.append(f"{name}: the outline is not {length[k]:g} m by {width[k]:g} m")
    return judged(PINS, broken, n, SEASON, kept="lengths, outlines and bearings on the ellipsoid agree", unit="plots")


def _degrees(
    x: NDArray[np.float64], y: NDArray[np.float64], written: Written
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    lon, lat = Transformer.from_crs(written.crs, 4326, always_xy=True).transform(x, y)
    return np.asarray(lon), np.asarray(lat)


def _readings(plots: pd.DataFrame, colonies: pd.DataFrame) -> Finding:
    frame: Any = colonies
    held = frame["plot"].notna().to_numpy()
    place = pd.Series(np.arange(len(plots)), index=plots["plot"].to_numpy())
    broken = [f"plot {p} is named {n} times" for p, n in plots["plot"].value_counts().items() if n > 1]
    unknown = sorted(set(frame["plot"][held]) - set(place.index))
    broken += [f"plot {p} of a unit is not in the plan" for p in unknown]
    rows = np.flatnonzero(held & ~frame["plot"].isin(unknown).to_numpy())
    if rows.size == 0 or broken:
        return judged(READINGS, broken, len(colonies), SEASON, kept="no unit stands in a plot", unit="units")
    of = place[frame["plot"].to_numpy()[rows]].to_numpy()
    x, y = shapely.get_coordinates(np.asarray(frame.geometry)[rows]).T
    along = frame["along_m"].to_numpy(np.float64)[rows]
    offset = frame["offset_m"].to_numpy(np.float64)[rows]
    angle = frame["angle_deg"].to_numpy(np.float64)[rows]
    ax, ay, bx, by, length, tape = (
        plots[c].to_numpy(np.float64)[of]
        for c in ("pin_x_m", "pin_y_m", "second_pin_x_m", "second_pin_y_m", "length_m", "tape_m")
    )
    circle = (plots["shape"] == "circle").to_numpy()[of]
    s, c = (bx - ax) / length, (by - ay) / length
    u, v = (x - ax) * s + (y - ay) * c, (x - ax) * c - (y - ay) * s
    ratio = tape / length
    bad_along = np.abs(u * ratio - along) > _HALF_READING_M
    bad_along |= (along < -_HALF_READING_M) | ((along > tape + _HALF_READING_M) & ~_as_set(plots)[of])
    across = _ratio_across(of, v, offset, len(plots))[of]
    bad_offset = np.abs(v * across - offset) > _HALF_READING_M
    away = np.hypot(u, v)
    turned = np.abs((np.degrees(np.arctan2(v, u)) - angle + 180.0) % 360.0 - 180.0)
    bad_ring = ~((along >= away - _HALF_READING_M) & (along <= away * _STEEPEST + _HALF_READING_M))
    bad_ring |= ~(turned <= _ANGLE_DEG)
    wrong = np.where(circle, bad_ring, bad_along | bad_offset | ~np.isfinite(along + offset))
    site, number = frame["site"].to_numpy()[rows], frame["sequence"].to_numpy()[rows]
    broken = [
        f"{site[k]}-{number[k]}: listed {along[k]:g} m along, "
        + (f"{angle[k]:g}°, is {away[k]:.2f} m away" if circle[k] else f"{offset[k]:g} m off, is ")
        + ("" if circle[k] else f"{u[k] * ratio[k]:.2f} m and {v[k] * across[k]:.2f} m")
        for k in np.flatnonzero(wrong)[:200]
    ]
    broken += ["another"] * (int(wrong.sum()) - len(broken))
    return judged(READINGS, broken, len(rows), SEASON, kept="within half a reading of 0.1 m", unit="units")


def _ratio_across(of: Any, v: NDArray[np.float64], offset: NDArray[np.float64], plots: int) -> NDArray[np.float64]:
    """Return each plot's bottom distance per map distance across the tape, from its own units: one number must fit all.

    The ratio is not listed; the one that fits best is used if it is one that a slope can have.
    """
    top, low = np.bincount(of, v * offset, minlength=plots), np.bincount(of, v * v, minlength=plots)
    with np.errstate(invalid="ignore", divide="ignore"):
        fitted = np.where(low > 1e-6, top / low, 1.0)
    return np.asarray(np.clip(fitted, 1.0, _STEEPEST))


def _share(plots: pd.DataFrame, settings: Settings, written: Written) -> Finding:
    """Compare the listed share with the share of samples whose cell passes for the plot's species."""
    due = 100.0 * settings.spacing.plot.allowed_share
    planted = plots[(plots["role"] == "planted").to_numpy()]
    set_down = _as_set(planted)
    broken: list[str] = []
    colonies: Any = written.tables["colonies"]
    species = dict(zip(colonies["plot"], colonies["species"], strict=True))
    for code in sorted({s for s in species.values() if isinstance(s, str)}):
        try:
            with rasterio.open(written.out / f"score_{code}.tif") as file:
                score, inverse = file.read(1), ~file.transform
        except (rasterio.errors.RasterioIOError, SitekitError) as error:
            return not_looked_at(SHARE, str(error).splitlines()[0], f"out/score_{code}.tif")
        passing = np.isfinite(score) & (score >= np.float32(settings.score.passing))
        rows: list[Any] = list(planted.itertuples())
        for k, plot in enumerate(rows):
            if species.get(plot.plot) != code or set_down[k]:
                continue
            x, y = _samples(plot.geometry)
            col, row = (np.floor(i).astype(np.int64) for i in inverse @ (x, y))
            inside = (row >= 0) & (col >= 0) & (row < passing.shape[0]) & (col < passing.shape[1])
            found = 100.0 * float(passing[row[inside], col[inside]].sum()) / max(x.size, 1)
            if plot.hard_pct > found + _SAMPLE_PCT or plot.hard_pct < due - 1e-6:
                broken.append(f"{plot.plot}: {plot.hard_pct:.1f} % listed, {found:.1f} % pass, due {due:g} %")
    kept = f"each at least {due:g} %, by samples of the score rasters"
    return judged(SHARE, broken, len(planted), f"{SEASON}, out/score_*.tif", kept=kept, unit="plots")


def _samples(shape: shapely.Polygon) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    west, south, east, north = shape.bounds
    step = max(min(east - west, north - south) / 40.0, 0.1)
    x, y = np.meshgrid(np.arange(west, east, step) + 0.37 * step, np.arange(south, north, step) + 0.37 * step)
    inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
    return x.ravel()[inside], y.ravel()[inside]


def _tags(project: Path, settings: Settings, plots: pd.DataFrame, colonies: pd.DataFrame) -> Finding:
    """Tags must rise through the list on hand, or as numbers, with sites in plan order and sequence inside."""
    if settings.tagging.which == "plot":
        given = [str(t) for t in plots["tag"].dropna()]
        stray = [
            f"unit {r.site}-{r.sequence} has a tag of its own" for r in colonies[colonies["tag"].notna()].itertuples()
        ]
    else:
        given = [str(t) for t in colonies["tag"].dropna()]
        stray = [f"plot {p} has a tag" for p in plots["plot"][plots["tag"].notna()]]
    where = SEASON
    if settings.tagging.numbers_from:
        where = f"{SEASON}, {settings.tagging.numbers_from}"
        try:
            text = (project / settings.tagging.numbers_from).read_text("utf-8-sig")
        except OSError as error:
            return not_looked_at(PLOT_TAGS, str(error), where)
        rank = {line.strip(): k for k, line in enumerate(text.splitlines()) if line.strip()}
        broken = [f"tag {t} is not on the list" for t in given if t not in rank]
        order = [rank[t] for t in given if t in rank]
    else:
        broken = [f"tag {t} is not a number" for t in given if not t.isdigit()]
        order = [int(t) for t in given if t.isdigit()]
    if settings.tagging.which != "plot":
        broken += [f"tag {given[k + 1]} comes after {given[k]}" for k in np.flatnonzero(np.diff(order) <= 0)]
    elif len(set(order)) < len(order):
        broken.append("a tag stands on two plots")
    return judged(PLOT_TAGS, broken + stray, len(given), where, kept="each higher than the one before", unit="tags")


def _as_set(plots: pd.DataFrame) -> NDArray[np.bool_]:
    """Plots whose pins were set on the bottom: they lie where they lie."""
    return np.asarray(plots["note"].fillna("").str.contains(r"pin [AB] set ", regex=True), np.bool_)
