"""Distances, bearings and areas on the ellipsoid, by Karney's geodesics as PROJ carries them.

Longitude comes before latitude; azimuths are clockwise from true north, 0 ≤ azimuth < 360 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Geod

from sitekit.base.crs import WGS84, transform_points

WGS84_ELLIPSOID = Geod(ellps="WGS84")  # a = 6378137 m, 1/f = 298.257223563
LONGEST_EDGE_M = 100.0  # outlines are straight on the grid; pieces this short and their geodesics agree to 1 mm


@dataclass(frozen=True)
class Inverse:
    """Geodesics between pairs of points.

    Parameters
    ----------
    distance_m : ndarray
        Length [m].
    azimuth_deg : ndarray
        Azimuth at the first point towards the second [degrees].
    back_azimuth_deg : ndarray
        Azimuth at the second point towards the first [degrees].
    """

    distance_m: NDArray[np.float64]
    azimuth_deg: NDArray[np.float64]
    back_azimuth_deg: NDArray[np.float64]


def inverse(
    lon1: ArrayLike, lat1: ArrayLike, lon2: ArrayLike, lat2: ArrayLike, *, ellipsoid: Geod = WGS84_ELLIPSOID
) -> Inverse:
    """Distance and azimuths between positions in degrees.

    Converges for every pair, near-antipodal ones too.

    References
    ----------
    Karney C.F.F. 2013, Algorithms for geodesics, J. Geodesy 87:43-55.
    """
    a, b, c, d = (np.array(v) for v in np.broadcast_arrays(*(np.asarray(v, float) for v in (lon1, lat1, lon2, lat2))))
    forward, back, distance_m = ellipsoid.inv(a, b, c, d)
    return Inverse(np.asarray(distance_m), _turn(forward), _turn(back))


def distance(
    lon1: ArrayLike, lat1: ArrayLike, lon2: ArrayLike, lat2: ArrayLike, *, ellipsoid: Geod = WGS84_ELLIPSOID
) -> NDArray[np.float64]:
    """Length of the geodesic between positions in degrees [m]; see `inverse`."""
    return inverse(lon1, lat1, lon2, lat2, ellipsoid=ellipsoid).distance_m


def direct(
    lon: ArrayLike,
    lat: ArrayLike,
    azimuth_deg: ArrayLike,
    distance_m: ArrayLike,
    *,
    ellipsoid: Geod = WGS84_ELLIPSOID,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Longitude and latitude reached by going `distance_m` along an azimuth; −180 ≤ longitude < 180.

    References
    ----------
    Karney C.F.F. 2013, Algorithms for geodesics, J. Geodesy 87:43-55.
    """
    given = (np.asarray(v, float) for v in (lon, lat, azimuth_deg, distance_m))
    a, b, c, d = (np.array(v) for v in np.broadcast_arrays(*given))
    end_lon, end_lat, _ = ellipsoid.fwd(a, b, c, d)
    return (np.asarray(end_lon) + 180.0) % 360.0 - 180.0, np.asarray(end_lat)


def polygon_area(geometry: Any, crs: CRS = WGS84) -> float:
    """Area of a polygon or multipolygon on the ellipsoid [m²], ≥ 0, holes taken off, whatever the winding.

    Parameters
    ----------
    geometry : shapely geometry
        Polygon or multipolygon; its edges are straight in `crs`. Empty ones have area 0.
    crs : pyproj.CRS
        Of the coordinates. On a projected system edges are first cut into pieces of at most 100 m, so that each piece
        and its geodesic agree; in degrees an edge *is* taken as the geodesic between its ends.

    Notes
    -----
    Edges may cross 180°: differences of longitude are taken the short way. A ring around a pole is not meant.

    References
    ----------
    Karney C.F.F. 2013, section 6.
    """
    ellipsoid = crs.get_geod() or WGS84_ELLIPSOID
    total = 0.0
    for polygon in shapely.get_parts(geometry):
        if polygon.is_empty:
            continue
        total += abs(_ring(polygon.exterior, crs, ellipsoid)[0])
        total -= sum(abs(_ring(ring, crs, ellipsoid)[0]) for ring in polygon.interiors)
    return total


def polygon_areas(geometries: Any, crs: CRS = WGS84) -> NDArray[np.float64]:
    """Area of each geometry of a sequence or GeoSeries [m²]; see `polygon_area`."""
    return np.array([polygon_area(g, crs) for g in geometries], dtype=float)


def perimeter(geometry: Any, crs: CRS = WGS84) -> float:
    """Length of all rings on the ellipsoid [m], holes included; edges as in `polygon_area`."""
    ellipsoid = crs.get_geod() or WGS84_ELLIPSOID
    return sum(
        _ring(ring, crs, ellipsoid)[1]
        for polygon in shapely.get_parts(geometry)
        if not polygon.is_empty
        for ring in (polygon.exterior, *polygon.interiors)
    )


def _ring(ring: Any, crs: CRS, ellipsoid: Geod) -> tuple[float, float]:
    """Signed area and length."""
    if crs.is_projected:
        x, y = shapely.get_coordinates(shapely.segmentize(ring, LONGEST_EDGE_M)).T
        lon, lat = transform_points(x, y, crs, crs.geodetic_crs or WGS84)
    else:
        lon, lat = shapely.get_coordinates(ring).T.copy()
    size, length = ellipsoid.polygon_area_perimeter(lon, lat)
    return float(size), float(length)


def _turn(azimuth: ArrayLike) -> NDArray[np.float64]:
    turned = np.asarray(azimuth, dtype=float) % 360.0
    return np.where(turned >= 360.0, 0.0, turned)
