"""The screen's projection: spherical Mercator (EPSG:3857), turned by half the globe where a plan crosses 180°."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import rasterio.warp
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import Resampling

from sitekit.base.crs import transformer
from sitekit.layers.grid import Grid

RADIUS = 6378137.0  # m; EPSG:3857 by definition uses the WGS 84 semi-major axis as its sphere
MAX_SIDE = 4096  # pixels; phones refuse larger pictures
FINE_SIDE = 2048  # pixels; up to here cells are drawn at half their size, so that turned edges stay sharp


@dataclass(frozen=True)
class Screen:
    """Where the map lies on the screen's plane.

    Parameters
    ----------
    crs : pyproj.CRS
        EPSG:3857, or the same turned by 180°.
    shift : float
        Added to eastings of `crs` to give eastings that run on past 180° [m].
    west, south, east, north : float
        Outline of the grid after the shift [m].
    cell : float
        A grid cell on this plane, in the middle of the grid [m].
    """

    crs: CRS
    shift: float
    west: float
    south: float
    east: float
    north: float
    cell: float

    def forward(self, easting: NDArray[np.float64], northing: NDArray[np.float64], crs: CRS) -> NDArray[np.float64]:
        """Return an (n, 2) array of screen eastings and northings [m]."""
        x, y = transformer(crs, self.crs).transform(easting, northing)
        return np.stack([np.asarray(x, dtype=float) + self.shift, np.asarray(y, dtype=float)], axis=-1)

    def frame(self) -> tuple[tuple[int, int], Affine, float]:
        """Return (rows, columns), transform (before the shift) and pixel side [m] of the pictures drawn on it."""
        return self.frame_of(self.west, self.south, self.east, self.north)

    def frame_of(
        self, west: float, south: float, east: float, north: float, finest: float | None = None
    ) -> tuple[tuple[int, int], Affine, float]:
        """Return shape, transform and pixel side [m] for a picture with this outline (after the shift) [m]."""
        pixel = self.cell if finest is None else finest
        longest = max(east - west, north - south)
        if longest / pixel * 2 <= FINE_SIDE and finest is None:
            pixel /= 2
        pixel = max(pixel, longest / MAX_SIDE)
        rows, cols = (max(1, math.ceil(side / pixel - 1e-6)) for side in (north - south, east - west))
        return (rows, cols), Affine(pixel, 0, west - self.shift, 0, -pixel, north), pixel


def screen_of(grid: Grid) -> Screen:
    """Return the screen plane for a grid.

    Notes
    -----
    A plan crosses 180° when its outline spans more than 180° of longitude; it is then projected about 180° and shifted
    by half the equator, so that longitudes run on (179°, 180°, 181°) and nothing is torn apart.
    """
    x, y = _outline(grid)
    lon, _ = transformer(grid.crs, CRS.from_epsg(4326)).transform(x, y)
    torn = float(np.max(lon) - np.min(lon)) > 180.0
    crs = CRS.from_epsg(3857)
    if torn:
        crs = CRS.from_proj4(f"+proj=merc +a={RADIUS} +b={RADIUS} +lon_0=180 +k=1 +units=m +nadgrids=@null +no_defs")
    shift = math.pi * RADIUS if torn else 0.0
    to_screen = transformer(grid.crs, crs)
    sx, sy = to_screen.transform(x, y)
    west, south, east, north = grid.bounds
    mx, my = (west + east) / 2, (south + north) / 2
    cx, cy = to_screen.transform([mx, mx + grid.cell], [my, my])
    cell = math.hypot(cx[1] - cx[0], cy[1] - cy[0])
    return Screen(crs, shift, float(sx.min()) + shift, float(sy.min()), float(sx.max()) + shift, float(sy.max()), cell)


def warp(values: NDArray[np.uint8], grid: Grid, screen: Screen) -> NDArray[np.uint8]:
    """Return class codes on the screen's pixels, by nearest cell; 0 outside and for missing.

    Parameters
    ----------
    values : ndarray of uint8
        On the grid.
    """
    with_none = np.append(np.asarray(values, dtype=np.uint8).ravel(), np.uint8(0))  # the place −1 reads the last
    return with_none[_places(grid, screen)]


@lru_cache(maxsize=1)
def _places(grid: Grid, screen: Screen) -> NDArray[np.int32]:
    """Return for each of the screen's pixels which cell of the grid lies there, −1 for none: all layers share it."""
    shape, transform, _ = screen.frame()
    out = np.full(shape, -1, dtype=np.int32)
    rasterio.warp.reproject(
        np.arange(grid.shape[0] * grid.shape[1], dtype=np.int32).reshape(grid.shape),
        out,
        src_transform=grid.transform,
        src_crs=grid.crs.to_wkt(),
        dst_transform=transform,
        dst_crs=screen.crs.to_wkt(),
        src_nodata=-1,
        dst_nodata=-1,
        resampling=Resampling.nearest,
        num_threads=1,
    )
    return out


def longitude_latitude(x: float, y: float) -> tuple[float, float]:
    """Return longitude (runs on past 180) and latitude [degrees] of a point on the screen's plane [m]."""
    return math.degrees(x / RADIUS), math.degrees(math.atan(math.sinh(y / RADIUS)))


def _outline(grid: Grid) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    west, south, east, north = grid.bounds
    part = np.linspace(0, 1, 33)
    ew, ns = west + part * (east - west), south + part * (north - south)
    x = np.concatenate([ew, ew, np.full(33, west), np.full(33, east)])
    y = np.concatenate([np.full(33, south), np.full(33, north), ns, ns])
    return x, y
