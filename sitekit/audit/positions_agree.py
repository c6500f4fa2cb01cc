"""Whether every export tells the same places and the same rows as the season it was made from."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS, Geod, Transformer

from sitekit.audit.places_allowed import outlines_in
from sitekit.audit.promises import Finding, judged, not_looked_at
from sitekit.audit.written import DEGREES, Written

MAP_POSITIONS = "colonies.geojson and the season give each unit the same place"
LIST_POSITIONS = "colonies.csv and colonies.geojson give each unit the same place"
ROWS = "every file gives each unit the same tag, species, genet and plot"
OUTLINES = "candidates.geojson and the season give each candidate the same outline"
AREAS = "every candidate's area is that of its outline on the ellipsoid"
_PLACE_M = 5e-4  # 9 decimals: 0.06 mm by latitude and as much by longitude; the change of system adds under 0.1 mm
_OUTLINE_M = 0.02  # 7 decimals: 0.6 cm by latitude
_DEGREES = 1.5e-9  # one unit of the ninth decimal and a rounding
_SAME = ("tag", "candidate", "plot", "species", "genet", "units", "fragments")
_WGS84 = Geod(ellps="WGS84")


def audit_agreement(written: Written) -> list[Finding]:
    """Return the findings on places and rows that stand in more than one file."""
    findings = _colonies(written)
    return findings + _candidates(written)


def _colonies(written: Written) -> list[Finding]:
    table: Any = written.table("colonies")
    planned = written.planned()
    promises = (MAP_POSITIONS, LIST_POSITIONS, ROWS)
    if table is None or written.crs is None:
        return [not_looked_at(p, "the season cannot be read", "out/season.gpkg") for p in promises]
    if len(table) == 0 and planned is None and written.listed is None:
        return []
    season = pd.DataFrame(table.drop(columns="geometry")).assign(
        x_m=table.geometry.x.to_numpy(), y_m=table.geometry.y.to_numpy()
    )
    where = "out/season.gpkg, out/colonies.geojson, out/colonies.csv"
    if planned is None:
        return [not_looked_at(p, "colonies.geojson cannot be read", where) for p in promises]
    season, mapped = _keyed(season), _keyed(planned)
    both = season.join(mapped, how="inner", lsuffix="_season", rsuffix="_map")
    apart = both[["x_m_season", "y_m_season"]].to_numpy() - both[["x_m_map", "y_m_map"]].to_numpy()
    away = np.hypot(apart[:, 0], apart[:, 1])
    broken = [f"{n} is {m:.4g} m away" for n, m in zip(both.index, away, strict=True) if not m <= _PLACE_M]
    lost = sorted(set(season.index) ^ set(mapped.index))
    broken += [f"{n} stands in one of the two files only" for n in lost]
    findings = [
        judged(
            MAP_POSITIONS,
            broken,
            len(season),
            "out/season.gpkg, out/colonies.geojson",
            kept=f"greatest difference {np.max(away, initial=0.0) * 1000:.2f} mm",
            unit="units",
        )
    ]
    rows = _differences(season, mapped, "colonies.geojson")
    if written.listed is None:
        why = written.unread.get("colonies.csv", "colonies.csv is missing")
        return [*findings, not_looked_at(LIST_POSITIONS, why, where), not_looked_at(ROWS, why, where)]
    listed = written.listed
    try:
        numbers = listed.assign(
            sequence=pd.to_numeric(listed["sequence"]).astype("Int64"),
            lat=pd.to_numeric(listed["latitude_wgs84_deg"]).astype("float64"),
            lon=pd.to_numeric(listed["longitude_wgs84_deg"]).astype("float64"),
        )
    except (KeyError, ValueError) as error:
        why = f"colonies.csv: {error}"
        return [*findings, not_looked_at(LIST_POSITIONS, why, where), not_looked_at(ROWS, why, where)]
    lines = _keyed(numbers)
    both = lines.join(mapped, how="inner", lsuffix="_list", rsuffix="_map")
    off = np.abs(both[["lat_list", "lon_list"]].to_numpy() - both[["lat_map", "lon_map"]].to_numpy()).max(axis=1)
    broken = [f"{n} is {d:.3g}° away" for n, d in zip(both.index, off, strict=True) if not d <= _DEGREES]
    broken += [f"{n} stands in one of the two files only" for n in sorted(set(lines.index) ^ set(mapped.index))]
    findings.append(
        judged(
            LIST_POSITIONS,
            broken,
            len(lines),
            "out/colonies.csv, out/colonies.geojson",
            kept="equal to 9 decimals of a degree",
            unit="rows",
        )
    )
    rows += _differences(season, lines, "colonies.csv")
    findings.append(judged(ROWS, rows, len(season), where, kept="compared cell by cell", unit="units"))
    return findings


def _keyed(frame: pd.DataFrame) -> pd.DataFrame:
    """Rows by site and sequence; a name that comes twice gets a mark the second time: no other file has that."""
    names = pd.Series([f"{s}-{n}" for s, n in zip(frame["site"], frame["sequence"], strict=True)])
    again = names.groupby(names).cumcount()
    return frame.set_axis(pd.Index([n if k == 0 else f"{n} (again {k})" for n, k in zip(names, again, strict=True)]))


def _differences(season: pd.DataFrame, other: pd.DataFrame, name: str) -> list[str]:
    shared = season.index[season.index.isin(other.index)]
    broken = []
    for column in _SAME:
        if column not in other.columns:
            broken.append(f"{name} has no column {column}")
            continue
        a = _plain(season.loc[shared, column])
        b = _plain(other.loc[shared, column])
        broken += [
            f"{key} {column}: {x or 'empty'} in the season, {y or 'empty'} in {name}"
            for key, x, y in zip(shared, a, b, strict=True)
            if x != y
        ]
    return broken


def _plain(values: pd.Series[Any]) -> list[str]:
    return ["" if absent else str(v) for v, absent in zip(values, values.isna(), strict=True)]


def _candidates(written: Written) -> list[Finding]:
    table: Any = written.table("candidates")
    where = "out/season.gpkg, out/candidates.geojson"
    if table is None or written.candidates is None or written.crs is None:
        return [not_looked_at(p, "the outlines cannot be read", where) for p in (OUTLINES, AREAS)]
    if len(table) == 0 and len(written.candidates) == 0:
        return []
    season = dict(zip(map(str, table["candidate"]), table.geometry, strict=True))
    mapped = outlines_in(written.candidates, written.crs) if len(written.candidates) else {}
    broken = [f"{k} stands in one of the two files only" for k in sorted(set(season) ^ set(mapped))]
    if len(mapped) != len(written.candidates):
        broken.append("a label comes twice in candidates.geojson")
    for label in sorted(set(season) & set(mapped)):
        apart = _apart(season[label], mapped[label])
        if not apart <= _OUTLINE_M:
            broken.append(f"{label}: outlines are {apart:.3g} m apart")
    areas = []
    for label, noted in zip(table["candidate"], table["area_m2"], strict=True):
        if str(label) not in mapped:
            continue
        found, length = _area(mapped[str(label)], written.crs)
        if abs(found - noted) > _OUTLINE_M * length + 1e-6 * found:
            areas.append(f"{label}: {noted:.1f} m² is listed, its outline holds {found:.1f} m²")
    return [
        judged(OUTLINES, broken, len(season), where, kept=f"within {_OUTLINE_M:g} m", unit="candidates"),
        judged(AREAS, areas, len(season), where, kept="geodesic polygon area, WGS 84", unit="candidates"),
    ]


def _apart(one: Any, other: Any) -> float:
    """Greatest distance from a corner of either outline to the other outline [m]; infinite if one is empty."""
    if one.is_empty or other.is_empty:
        return float("inf")
    ways = []
    for corners, outline in ((one, other), (other, one)):
        lines = shapely.boundary(outline)
        pieces = shapely.get_parts(lines)
        segments = np.concatenate([_segments(p) for p in pieces])
        _, away = shapely.STRtree(segments).query_nearest(
            shapely.points(shapely.get_coordinates(corners)), return_distance=True, all_matches=False
        )
        ways.append(float(np.max(away)))
    return max(ways)


def _segments(ring: Any) -> Any:
    at = shapely.get_coordinates(ring)
    return shapely.linestrings(np.stack([at[:-1], at[1:]], axis=1))


def _area(outline: Any, crs: CRS) -> tuple[float, float]:
    """Area [m²] and length of the outline [m] on the ellipsoid."""
    back = Transformer.from_crs(crs, DEGREES, always_xy=True)
    degrees = shapely.transform(outline, lambda xy: np.column_stack(back.transform(xy[:, 0], xy[:, 1])))
    area, length = _WGS84.geometry_area_perimeter(shapely.orient_polygons(degrees))
    return abs(float(area)), float(length)
