"""Work areas of a plan: outlines whose corners are the printed ones, their areas, their sections."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from pyproj import CRS
from rasterio.windows import Window
from shapely.geometry.base import BaseGeometry

from sitekit.base.crs import WGS84, read_crs, transform_points
from sitekit.base.geodesy import distance, perimeter, polygon_area
from sitekit.base.notation import angle_text
from sitekit.base.positions import read_angle
from sitekit.base.units import square_metres_per
from sitekit.errors import Fault, InputFault
from sitekit.pipeline.fields import Ground, raster
from sitekit.pipeline.project import Project
from sitekit.season.settings_permit import DATUMS
from sitekit.sites.sections import section_line
from sitekit.sites.work_areas import ROUNDING_M, around, clipped, corner_count, corner_order, work_areas

MINUTE_DECIMALS, DEGREE_DECIMALS = 4, 6  # of printed corners (design section 7; trade row TV-126: 5-6 of a degree)
PER_DEGREE = 60 * 10**MINUTE_DECIMALS
MOST_SCOUTED = 20  # areas to scout in one packet; the rest stands in out/candidates.geojson
SCOUT_CORNERS = 16
PROFILE_POINTS = 240


@dataclass(frozen=True)
class Outline:
    """One work area: its shape in the working system, and its corners in the datum of the office."""

    name: str
    site: str
    shape: Any
    plots: tuple[int, ...]
    whole: bool
    note: str


def office_datum(text: str) -> CRS:
    """Return the geographic system in which corners are printed.

    Raises
    ------
    InputFault
        If the code names no geographic system.
    """
    crs = read_crs(DATUMS.get(text, text), "permit.datum")
    if not crs.is_geographic:
        raise InputFault(
            Fault(
                "permit.datum", f"{text} is {crs.name}, in metres", "a system of latitude and longitude", "Correct it."
            )
        )
    return crs


def outlines_of(
    project: Project, ground: Ground, tables: dict[str, pd.DataFrame], allowed: BaseGeometry | None, datum: CRS
) -> list[Outline]:
    """Return the work areas of all sites, or the areas to scout, in the order of the sites."""
    crs = ground.grid.crs
    if ground.scout:
        return _to_scout(tables, crs, datum, ground.grid.cell)
    spacing = project.settings.spacing
    plots = tables["plots"]
    found: list[Outline] = []
    for site in dict.fromkeys(plots["site"].tolist()):
        rows = np.flatnonzero((plots["site"] == site).to_numpy())
        shapes = [plots.geometry.iloc[k] for k in rows]
        wanted = work_areas(shapes, reach_m=reach_m(project, ground), join_m=spacing.plot.gap_m * ground.scale)
        for k, (outline, members) in enumerate(wanted):
            keep = shapely.union_all([shapes[m] for m in members])
            margin, reach = ROUNDING_M * ground.scale, reach_m(project, ground)
            cut, whole = clipped(outline, keep, allowed, margin_m=margin, reach_m=reach)
            if cut.is_empty:
                note, shape = "lies wholly where no work is allowed", outline
            else:
                note, shape = "" if whole else "plots reach beyond the permitted outline", cut
            if not note and not any(plots["role"].iloc[rows[m]] == "planted" for m in members):
                note = "control or reference plots: nothing is planted"
            name = f"{site}-{letters(k)}"
            found.append(
                Outline(name, site, printed(shape, crs, datum), tuple(int(rows[m]) for m in members), whole, note)
            )
    return found


def letters(place: int) -> str:
    """Return A, B … Z, AA, AB …: letters, so that no work area is taken for a plot (`WS-A` beside `WS-01`)."""
    text = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        text = chr(65 + rest) + text
    return text


def reach_m(project: Project, ground: Ground) -> float:
    """Return the width added round the plots [m]: pin error, laying tolerance, rounding of corners, on the grid."""
    spacing = project.settings.spacing
    return (spacing.pin_error_m + spacing.lay_tolerance_m + ROUNDING_M) * ground.scale


def _to_scout(tables: dict[str, pd.DataFrame], crs: CRS, datum: CRS, cell: float) -> list[Outline]:
    candidates = tables["candidates"].head(MOST_SCOUTED)
    named = dict(zip(tables["sites"]["candidate"], tables["sites"]["site"], strict=True))
    found = []
    records: list[Any] = list(candidates.itertuples())
    for row in records:
        site = str(named.get(row.candidate, row.candidate))
        shape = around(row.geometry, SCOUT_CORNERS, 0.75 * cell)
        found.append(Outline(site, site, printed(shape, crs, datum), (), True, "area to scout: no plots are planned"))
    return found


def printed(shape: BaseGeometry, crs: CRS, datum: CRS) -> BaseGeometry:
    """Return the shape with its corners rounded to 4 decimals of a minute in the office's datum, in `crs`.

    Rings run as they are numbered: clockwise from the most northern corner.
    """
    parts = []
    for part in shapely.get_parts(shape):
        rings = [np.array([*r, r[0]]) for r in corner_order(part)]
        parts.append(shapely.Polygon(_rounded(rings[0], crs, datum), [_rounded(r, crs, datum) for r in rings[1:]]))
    return shapely.MultiPolygon(parts)


def _rounded(xy: Any, crs: CRS, datum: CRS) -> Any:
    lon, lat = transform_points(xy[:, 0], xy[:, 1], crs, datum)
    lon, lat = np.round(lon * PER_DEGREE) / PER_DEGREE, np.round(lat * PER_DEGREE) / PER_DEGREE
    return np.column_stack(transform_points(lon, lat, datum, crs))


def corner_rows(outline: Outline, crs: CRS, datum: CRS, datum_name: str) -> list[dict[str, Any]]:
    """Return the corners of a work area as printed."""
    rows: list[dict[str, Any]] = []
    rings = [r for part in outline.shape.geoms for r in (part.exterior, *part.interiors)]
    for k, ring in enumerate(rings, start=1):
        xy = shapely.get_coordinates(ring)[:-1]
        lon, lat = transform_points(xy[:, 0], xy[:, 1], crs, datum)
        lon, lat = np.round(lon * PER_DEGREE) / PER_DEGREE, np.round(lat * PER_DEGREE) / PER_DEGREE
        for x, y, a, b in zip(xy[:, 0], xy[:, 1], lon, lat, strict=True):
            rows.append(
                {
                    "work_area": outline.name,
                    "ring": k,
                    "corner": len(rows) + 1,
                    "easting_m": float(x),
                    "northing_m": float(y),
                    "longitude_deg": float(a),
                    "latitude_deg": float(b),
                    "latitude_minutes": angle_text(float(b), "lat", "DDM", MINUTE_DECIMALS),
                    "longitude_minutes": angle_text(float(a), "lon", "DDM", MINUTE_DECIMALS),
                    "latitude_degrees": angle_text(float(b), "lat", "DD", DEGREE_DECIMALS),
                    "longitude_degrees": angle_text(float(a), "lon", "DD", DEGREE_DECIMALS),
                    "datum": datum_name,
                }
            )
    return rows


def printed_area(outline: Outline, rows: list[dict[str, Any]], datum: CRS, style: str) -> float:
    """Return the area of a work area recomputed from its corners as printed, edges as geodesics [m²]."""
    rings: dict[int, list[tuple[float, float]]] = {}
    for row in rows:
        lon = read_angle(row[f"longitude_{style}"], "lon", outline.name)
        lat = read_angle(row[f"latitude_{style}"], "lat", outline.name)
        rings.setdefault(int(row["ring"]), []).append((lon, lat))
    total, k = 0.0, 0
    for part in outline.shape.geoms:
        for hole in range(1 + len(part.interiors)):
            k += 1
            size = polygon_area(shapely.Polygon(rings[k]), datum)
            total += -size if hole else size
    return total


def area_row(
    project: Project,
    ground: Ground,
    outline: Outline,
    corners: list[dict[str, Any]],
    tables: dict[str, pd.DataFrame],
    datum: CRS,
    harbour: tuple[float, float] | None,
) -> dict[str, Any]:
    """Return the row of `work_areas`; `harbour` is longitude and latitude, WGS 84."""
    crs = ground.grid.crs
    area, degrees = (printed_area(outline, corners, datum, style) for style in ("minutes", "degrees"))
    drawn = polygon_area(outline.shape, crs)
    middle = outline.shape.representative_point()
    lon, lat = transform_points([middle.x], [middle.y], crs, datum)
    away = None
    if harbour is not None:
        x, y = transform_points([middle.x], [middle.y], crs, WGS84)
        away = float(distance(x[0], y[0], harbour[0], harbour[1]))
    plots = tables["plots"].iloc[list(outline.plots)]
    units = tables["colonies"]
    own = units[units["plot"].isin(plots["plot"])] if len(plots) else units.iloc[:0]
    names = {str(r.site): r.name for r in tables["sites"].itertuples(index=False)}
    return {
        "work_area": outline.name,
        "site": outline.site,
        "name": names.get(outline.site),
        "kind": "area to scout" if ground.scout else "work area",
        "area_m2": area,
        "area_ha": area / square_metres_per("ha"),
        "area_acre": area / square_metres_per("acre"),
        "degrees_area_m2": degrees,
        "outline_area_m2": drawn,
        "difference_m2": max(abs(degrees - area), abs(drawn - area)),
        "perimeter_m": perimeter(outline.shape, crs),
        "corners": corner_count(outline.shape),
        "plots": len(plots),
        "units": len(own),
        "fragments": int(own["fragments"].sum()),
        "buffer_m": 0.0 if ground.scout else reach_m(project, ground) / ground.scale,
        "depth_min_m": float(plots["depth_min_m"].min()) if len(plots) else None,
        "depth_max_m": float(plots["depth_max_m"].max()) if len(plots) else None,
        "longitude_deg": float(lon[0]),
        "latitude_deg": float(lat[0]),
        "harbour_m": away,
        "whole": outline.whole,
        "rules": None,
        "note": outline.note or None,
    }


def section_rows(project: Project, ground: Ground, outline: Outline, plots: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return charted depths along the cut through a work area."""
    own = plots.iloc[list(outline.plots)]
    axes = [
        (np.array([p.pin_x_m, p.pin_y_m]), np.array([p.second_pin_x_m, p.second_pin_y_m]))
        for p in own.itertuples()
        if not pd.isna(p.second_pin_x_m)
    ]
    start, end = section_line(outline.shape, list(own.geometry), axes)
    length = float(np.hypot(*(end - start)))
    count = int(np.clip(math.ceil(length / (0.5 * ground.grid.cell)), 2, PROFILE_POINTS)) + 1
    at = np.linspace(0.0, length, count)
    xy = start + np.outer(at / max(length, 1e-12), end - start)
    depth = _depths(project, ground, xy)
    return [
        {
            "work_area": outline.name,
            "at_m": float(a),
            "easting_m": float(x),
            "northing_m": float(y),
            "depth_m": None if np.isnan(d) else float(d),
        }
        for a, (x, y), d in zip(at, xy, depth, strict=True)
    ]


def _depths(project: Project, ground: Ground, xy: Any) -> Any:
    row, col = ground.grid.cell_of(xy[:, 0], xy[:, 1])
    held = ground.grid.holds(row, col)
    out = np.full(len(xy), np.nan)
    if held.any():
        top, left = int(row[held].min()), int(col[held].min())
        window = Window(left, top, int(col[held].max()) - left + 1, int(row[held].max()) - top + 1)
        with rasterio.open(raster(project, "depth")) as file:
            values = file.read(1, window=window)
        out[held] = values[row[held] - top, col[held] - left]
    return out
