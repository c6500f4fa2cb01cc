"""Whether planted units keep their distance: every pair, on the ellipsoid, from the written coordinates.

Near pairs are found with a k-d tree in a transverse Mercator plane of this file's own, centred on the colonies; the
distance of each is then computed on the WGS 84 ellipsoid. That plane stretches lengths by the hyperbolic cosine of the
distance from its meridian over the earth's radius (Snyder 1987, equation 8-4); the search is widened by that and 0.1 %.

References
----------
Karney, C. F. F. (2013). Algorithms for geodesics. Journal of Geodesy 87, 43-55: the inverse problem, as in PROJ.
Snyder, J. P. (1987). Map projections: a working manual. USGS Professional Paper 1395, page 58 (recalled, unverified;
a test compares the search with all pairs).
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import Geod, Transformer
from scipy.spatial import cKDTree

from sitekit.audit.promises import SHOWN, Finding, not_looked_at
from sitekit.audit.written import Written
from sitekit.season.settings import Settings

SEPARATION = "no two units stand closer than the separation asked for"
TOLERANCE = "the plan adds the laying tolerance to every separation"
_WIDER = 1.001  # spare of the search radius beside the stretch of the plane
_EARTH_M = 6.33e6  # least radius of curvature of WGS 84, meridian at the equator: 6,335 km
_ROUNDING_M = 2e-4  # two coordinates rounded to 1e-9 degree: under 0.16 mm in all
_SCALE = 1e-3  # the tolerance is laid in the plane; projected systems stretch by less than 0.1 %
_WGS84 = Geod(ellps="WGS84")


def audit_spacing(settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on distances between planted units.

    The first judges what was asked for and allows nothing; the second what was planned, and allows 0.2 mm for
    rounding and 0.1 % of the tolerance for the scale of the plane.
    """
    where = "out/colonies.geojson"
    planned = written.planned()
    if planned is None:
        if written.table("colonies") is not None and len(written.tables["colonies"]) == 0:
            return []
        return [not_looked_at(p, "no positions could be read", where) for p in (SEPARATION, TOLERANCE)]
    if len(planned) < 2:
        return []
    asked = separations(settings)
    tolerance = settings.spacing.lay_tolerance_m
    flat = _plane(planned)
    close: list[str] = []
    short: list[str] = []
    pairs = near = 0
    least = np.inf
    excess = np.inf
    codes = sorted(set(planned["species"]))
    for one, other in combinations_with_replacement(codes, 2):
        d = asked.get((one, other))
        if d is None:
            close.append(f"species {one} or {other} is not in plan.toml")
            continue
        found = _pairs(planned, flat, one, other, d + tolerance)
        near += len(found)
        pairs += 1
        if len(found) == 0:
            continue
        least = min(least, float(found["m"].min()))
        excess = min(excess, float(found["m"].min()) - d)
        close += _named(planned, found[found["m"] < d], f"asked {d:g} m")
        limit = d + tolerance * (1 - _SCALE) - _ROUNDING_M
        short += _named(planned, found[found["m"] < limit], f"planned {d + tolerance:g} m")
    nearest = _nearest(planned, flat)
    figure = float(min(least, nearest))
    species = ", ".join(f"{a} {asked[(a, a)]:g} m" for a in codes if (a, a) in asked)
    return [
        _finding(
            SEPARATION, figure, close, f"least distance of all pairs of {len(planned)} units; asked: {species}", where
        ),
        _finding(
            TOLERANCE,
            figure,
            short,
            f"planned on paper: asked distance + {tolerance:g} m; {near} pairs looked at on the ellipsoid",
            where,
        ),
    ]


def separations(settings: Settings) -> dict[tuple[str, str], float]:
    """Return the separation asked for between units of two species [m], by sorted pair of codes.

    Between two species it is the pair's own of `spacing.between`, else `spacing.between_species_m` where that is given,
    else the larger of their own.
    """
    own = {s.code: float(s.separation_m or settings.spacing.separation_m) for s in settings.species}
    return {
        (a, b): own[a] if a == b else float(settings.spacing.between_m(a, b) or max(own[a], own[b]))
        for a, b in combinations_with_replacement(sorted(own), 2)
    }


def _plane(planned: pd.DataFrame) -> NDArray[np.float64]:
    lon, lat = np.radians(planned["lon"].to_numpy()), planned["lat"].to_numpy()
    middle = np.degrees(np.arctan2(np.sin(lon).mean(), np.cos(lon).mean()))
    centre = f"+proj=tmerc +lat_0={lat.mean():.6f} +lon_0={middle:.6f} +k=1 +ellps=WGS84 +units=m"
    x, y = Transformer.from_crs(4326, centre, always_xy=True).transform(planned["lon"].to_numpy(), lat)
    flat = np.column_stack([x, y]).astype(np.float64)
    flat[~np.isfinite(flat).all(axis=1)] = np.nan
    return flat


def _pairs(planned: pd.DataFrame, flat: NDArray[np.float64], one: str, other: str, distance: float) -> pd.DataFrame:
    usable = np.isfinite(flat).all(axis=1)
    species = planned["species"].to_numpy()
    a = np.flatnonzero((species == one) & usable)
    b = np.flatnonzero((species == other) & usable)
    radius = distance * _WIDER * float(np.cosh(np.nanmax(np.abs(flat[:, 0]), initial=0.0) / _EARTH_M))
    if len(a) == 0 or len(b) == 0:
        found = np.empty((0, 2), dtype=np.int64)
    elif one == other:
        found = a[cKDTree(flat[a]).query_pairs(radius, output_type="ndarray")]
    else:
        matrix: Any = cKDTree(flat[a]).sparse_distance_matrix(cKDTree(flat[b]), radius, output_type="ndarray")
        found = np.column_stack([a[matrix["i"]], b[matrix["j"]]])
    return pd.DataFrame({"i": found[:, 0], "j": found[:, 1], "m": _geodesic(planned, found[:, 0], found[:, 1])})


def _nearest(planned: pd.DataFrame, flat: NDArray[np.float64]) -> float:
    """Least distance from any unit to its nearest neighbour, whatever the species."""
    usable = np.flatnonzero(np.isfinite(flat).all(axis=1))
    if len(usable) < 2:
        return float("inf")
    _, place = cKDTree(flat[usable]).query(flat[usable], k=2)
    return float(_geodesic(planned, usable[place[:, 0]], usable[place[:, 1]]).min())


def _geodesic(planned: pd.DataFrame, i: NDArray[np.int64], j: NDArray[np.int64]) -> NDArray[np.float64]:
    lon, lat = planned["lon"].to_numpy(), planned["lat"].to_numpy()
    if len(i) == 0:
        return np.empty(0)
    return np.asarray(_WGS84.inv(lon[i], lat[i], lon[j], lat[j])[2], dtype=np.float64)


def _named(planned: pd.DataFrame, found: pd.DataFrame, due: str) -> list[str]:
    ordered = found.sort_values("m", kind="stable")
    site, number = planned["site"].to_numpy(), planned["sequence"].to_numpy()
    shown = [
        f"{site[i]}-{number[i]} and {site[j]}-{number[j]}: {m:.4f} m, {due}"
        for i, j, m in ordered.head(SHOWN).itertuples(index=False)
    ]
    return shown + [due] * (len(ordered) - len(shown))


def _finding(promise: str, least: float, broken: list[str], kept: str, where: str) -> Finding:
    more = f" and {len(broken) - SHOWN} more pairs" if len(broken) > SHOWN else ""
    detail = "; ".join(broken[:SHOWN]) + more if broken else kept
    return Finding(promise, least, "m", not broken, detail, where)
