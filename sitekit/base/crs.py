"""Coordinate systems: reading them, choosing the working one in metres, and how much its metres are stretched."""

from __future__ import annotations

import math
import warnings
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.enums import WktVersion
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

from sitekit.errors import Fault, InputFault

WGS84 = CRS.from_epsg(4326)
UTM_SOUTH_LIMIT_DEG, UTM_NORTH_LIMIT_DEG = -80.0, 84.0  # EPSG area of use of the WGS 84 UTM zones
_SAMPLES = 33  # per side of an area; a transverse Mercator scale is largest on its rim, so corners already hold it

Bounds = tuple[float, float, float, float]


def read_crs(text: str | CRS, where: str = "crs") -> CRS:
    """Return the coordinate system a text names (`"EPSG:32620"`, WKT, PROJ), or a fault that says what was due.

    Raises
    ------
    InputFault
        If the text names none.
    """
    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise InputFault(
            Fault(where, f"{str(text)[:80]!r} names no coordinate system", "a code such as EPSG:32620", "Correct it.")
        ) from None


def name_of(crs: CRS) -> str:
    """Short name for tables: the authority's code if there is one, else the name inside."""
    authority = crs.to_authority(min_confidence=70)
    return ":".join(authority) if authority else str(crs.name)


def utm_zone(lon: float, lat: float) -> CRS:
    """UTM zone on WGS 84 whose central meridian is nearest to a position.

    The zones of the grid-reference system that are widened off Norway and Svalbard are not followed: the nearest
    meridian keeps the scale closest to 1. Longitude 180 counts as −180 (zone 1); the equator counts as north.

    Parameters
    ----------
    lon, lat : float
        Position [degrees]; longitudes beyond ±180 are wrapped.

    Raises
    ------
    InputFault
        Outside 80° S to 84° N.
    """
    if not (math.isfinite(lon) and UTM_SOUTH_LIMIT_DEG <= lat <= UTM_NORTH_LIMIT_DEG):
        raise InputFault(
            Fault(
                "position",
                f"longitude {lon}, latitude {lat}",
                f"a latitude between {UTM_SOUTH_LIMIT_DEG:g} and {UTM_NORTH_LIMIT_DEG:g} degrees",
                "Check that latitude and longitude are not swapped, or name a projected system yourself.",
            )
        )
    zone = int(((lon + 180.0) % 360.0) // 6.0) + 1
    return CRS.from_epsg((32600 if lat >= 0.0 else 32700) + zone)


def working_crs(bounds: Bounds) -> CRS:
    """UTM zone for an area, by its middle.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north [degrees]. West greater than east means that the area crosses 180°.

    Raises
    ------
    InputFault
        If the middle lies outside 80° S to 84° N.
    """
    west, south, east, north = bounds
    if west > east:
        east += 360.0
    return utm_zone((west + east) / 2.0, (south + north) / 2.0)


@cache
def _transformer(source: str, target: str) -> Transformer:
    return Transformer.from_crs(CRS.from_wkt(source), CRS.from_wkt(target), always_xy=True)


def transformer(source: CRS, target: CRS) -> Transformer:
    """Return the transformation between two systems, easting or longitude first whatever the authority says."""
    return _transformer(source.to_wkt(WktVersion.WKT2_2019), target.to_wkt(WktVersion.WKT2_2019))


def transform_points(
    x: ArrayLike, y: ArrayLike, source: CRS, target: CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coordinates of points in another system; easting or longitude comes first on both sides.

    Points that the projection cannot reach come back as infinity.
    """
    gx, gy = transformer(source, target).transform(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    return np.asarray(gx), np.asarray(gy)


def geographic_bounds(bounds: Bounds, crs: CRS) -> Bounds:
    """West, south, east, north [degrees, WGS 84] of a box in `crs`; west > east where it crosses 180°.

    Raises
    ------
    InputFault
        If the box lies outside what the system can describe.
    """
    try:
        found = transformer(crs, WGS84).transform_bounds(*bounds, densify_pts=21)
    except ProjError:
        found = (math.inf,) * 4
    if not all(math.isfinite(v) for v in found):
        raise InputFault(
            Fault("extent", f"{tuple(bounds)} in {name_of(crs)}", "coordinates inside that system", "Check the system.")
        )
    west, south, east, north = (float(v) for v in found)
    return west, south, east, north


def projected_bounds(bounds: Bounds, crs: CRS) -> Bounds:
    """West, south, east, north in `crs` of a box in degrees (WGS 84), its sides followed at 23 points each."""
    west, south, east, north = bounds
    if west > east:
        east += 360.0
    u, v = np.linspace(west, east, 23), np.linspace(south, north, 23)
    lon = np.concatenate([u, u, np.full(23, west), np.full(23, east)])
    lat = np.concatenate([np.full(23, south), np.full(23, north), v, v])
    x, y = transform_points((lon + 180.0) % 360.0 - 180.0, lat, WGS84, crs)
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def scale_factor(crs: CRS, lon: ArrayLike, lat: ArrayLike) -> NDArray[np.float64]:
    """Largest grid distance per true distance at each position (1.0004 means 0.4 mm too long per metre).

    For a conformal system such as UTM it is the same in all directions; otherwise the longer axis of Tissot's ellipse.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected.
    lon, lat : array_like
        On the datum of `crs` [degrees].

    References
    ----------
    Snyder J.P. 1987, Map projections: a working manual, USGS Professional Paper 1395, equation 8-11 for UTM
    (recalled, unverified; the computation is PROJ's).
    """
    factors = Proj(crs).get_factors(np.asarray(lon, dtype=float), np.asarray(lat, dtype=float))
    return np.asarray(factors.tissot_semimajor, dtype=float)


def largest_scale_factor(crs: CRS, bounds: Bounds) -> float:
    """Largest scale factor over a box in grid coordinates: what a planned separation is multiplied by.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected.
    bounds : tuple of float
        West, south, east, north in `crs` [m].

    Raises
    ------
    InputFault
        If `crs` is not projected.
    """
    if not crs.is_projected:
        raise InputFault(
            Fault("crs", f"{name_of(crs)} is in degrees", "a projected system in metres", "Set plan.crs, or 'auto'.")
        )
    west, south, east, north = bounds
    x, y = np.meshgrid(np.linspace(west, east, _SAMPLES), np.linspace(south, north, _SAMPLES))
    lon, lat = transform_points(x, y, crs, crs.geodetic_crs or WGS84)
    return float(np.max(scale_factor(crs, lon, lat)))


def datum_note(source: CRS, target: CRS, x: ArrayLike, y: ArrayLike) -> str:
    """One sentence on the datum shift that is applied at some places; empty when both systems stand on the same datum.

    Parameters
    ----------
    source, target : pyproj.CRS
        As for `transform_points`.
    x, y : array_like
        The places in `source`, easting or longitude first. The middle one along each axis and the outermost are looked
        at: the operation depends on the place (NAD27 has one for the Bahamas, one for Cuba, and so on).

    Returns
    -------
    str
        Which operations are used and their stated accuracy, or that none is known there and positions pass unshifted.
    """
    a, b = (c if c.is_bound else c.geodetic_crs for c in (source, target))
    if a is None or b is None or a == b or (not a.is_bound and (a.datum == b.datum or a.to_2d() == b.to_2d())):
        return ""
    across, along = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    seen = np.isfinite(across) & np.isfinite(along) & ((np.abs(along) <= 90.0) | (not source.is_geographic))
    across, along = across[seen], along[seen]
    if not len(across):
        return ""
    orders = (np.argsort(across, kind="stable"), np.argsort(along, kind="stable"))
    picked = sorted({int(order[k]) for order in orders for k in (0, len(order) // 2, -1)})
    used = sorted({_shift_at(source, target, across[i], along[i]) for i in picked})
    better = _better_grid(a, b, source, across, along, [accuracy for _, accuracy in used])
    names = {c: "the system given" if c.name == "unknown" else c.name for c in (a, b)}
    if all(name == "" for name, _ in used):
        sizes = [c.ellipsoid.semi_major_metre for c in (a, b) if c.ellipsoid]
        lack = better.replace("a better one", "one")
        if len(sizes) == 2 and abs(sizes[0] - sizes[1]) > 1:
            lack += "; they may be off by hundreds of metres: give `crs` as a system that holds its own shift"
        return f"no transformation from {names[a]} to {names[b]} is known here: positions pass unshifted{lack}"
    said = [
        f"'{name}', " + (f"{accuracy:g} m" if accuracy >= 0 else "accuracy not stated") if name else "none in places"
        for name, accuracy in used
    ]
    return f"{names[a]} to {names[b]} by {' and '.join(said)}{better}"


def _shift_at(source: CRS, target: CRS, x: float, y: float) -> tuple[str, float]:
    """Name of the operation used at a place, without its conversions, and its accuracy [m]; −1 where none is stated."""
    way = transformer(source, target)
    way.transform(x, y)
    try:
        operation = way.get_last_used_operation()
    except ProjError:
        operation = way  # there is only one
    steps = [s for s in operation.operations or () if s.type_name not in ("Conversion", "Other Coordinate Operation")]
    names = [s.name for s in steps if not s.name.startswith("Ballpark")]
    accuracy = operation.accuracy
    return " + ".join(names), float(accuracy) if accuracy is not None and accuracy >= 0 else -1.0


def _better_grid(
    a: CRS, b: CRS, source: CRS, x: NDArray[np.float64], y: NDArray[np.float64], accuracies: list[float]
) -> str:
    """Whether a finer operation for this area needs a grid file that is not installed."""
    degrees = source.geodetic_crs or WGS84
    lon, lat = (x, y) if source.is_geographic else transform_points(x, y, source, degrees)
    there = np.isfinite(lon) & (np.abs(lat) <= 90.0)
    if not there.any():
        return ""
    lon, lat = (lon[there] + 180.0) % 360.0 - 180.0, lat[there]
    area = AreaOfInterest(float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max()))
    with warnings.catch_warnings():
        # pyproj warns when a better operation needs a grid file that is not installed; the note says so instead.
        warnings.simplefilter("ignore", UserWarning)
        group = TransformerGroup(a, b, always_xy=True, area_of_interest=area)  # type: ignore[arg-type]
    if group.best_available:
        return ""
    stated = [o.accuracy for o in group.unavailable_operations if o.accuracy is not None and o.accuracy >= 0]
    finer = stated and (min(accuracies) < 0 or min(stated) < max(accuracies))
    return "; a better one needs a grid file that is not installed" if finer else ""
