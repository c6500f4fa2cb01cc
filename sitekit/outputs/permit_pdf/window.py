"""A piece of sea floor on a piece of paper at a round scale: metres to points and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.base.crs import transform_points
from sitekit.outputs.paper.pen import Box
from sitekit.outputs.paper.scales import map_scale, points_per_metre

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Window:
    """A map: a box on the sheet [pt] over a box on the ground [m], north of the grid up.

    Parameters
    ----------
    box : tuple of float
        Left, bottom, right, top [pt].
    centre : tuple of float
        Easting and northing in the middle [m].
    denominator : int
        Of the scale.
    """

    box: Box
    centre: tuple[float, float]
    denominator: int

    @property
    def per_metre(self) -> float:
        """Points per metre."""
        return points_per_metre(self.denominator)

    @property
    def ground(self) -> Box:
        """West, south, east, north [m]."""
        half = (self.box[2] - self.box[0]) / 2 / self.per_metre, (self.box[3] - self.box[1]) / 2 / self.per_metre
        x, y = self.centre
        return x - half[0], y - half[1], x + half[0], y + half[1]

    def points(self, xy: Any) -> Floats:
        """Return places on the sheet [pt] of places on the ground, shape (n, 2) [m]."""
        middle = np.array([(self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2])
        return np.asarray(middle + (np.asarray(xy, dtype=float).reshape(-1, 2) - self.centre) * self.per_metre)

    def shape(self, shape: Any, *, clip: bool = True) -> Any:
        """Return a shape on the sheet [pt], cut at the window's edge."""
        seen = _cut(shape, self.ground) if clip else shape
        return shapely.transform(seen, self.points)

    def holds(self, x: float, y: float) -> bool:
        """Whether a place on the ground lies in the window."""
        west, south, east, north = self.ground
        return west <= x <= east and south <= y <= north

    def degrees(self, crs: CRS, datum: CRS) -> tuple[float, float, float, float]:
        """West, south, east, north [degrees]; east runs on beyond 180 where the window crosses it."""
        west, south, east, north = self.ground
        u = np.linspace(0.0, 1.0, 9)
        x = np.concatenate([west + u * (east - west)] * 2 + [np.full(9, west), np.full(9, east)])
        y = np.concatenate([np.full(9, south), np.full(9, north)] + [south + u * (north - south)] * 2)
        lon, lat = transform_points(x, y, crs, datum)
        first = float(transform_points([self.centre[0]], [self.centre[1]], crs, datum)[0][0])
        lon = first + (lon - first + 180.0) % 360.0 - 180.0
        return float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max())


def window_on(bounds: Box, box: Box, *, margin: float = 0.08, least_m: float = 20.0) -> Window:
    """Return the map at the largest round scale that shows an extent with a margin.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north [m].
    box : tuple of float
        On the sheet [pt].
    margin : float
        Share of the extent added on each side.
    least_m : float
        Least width and height on the ground [m].
    """
    west, south, east, north = bounds
    wide, high = max(east - west, least_m / 2), max(north - south, least_m / 2)
    room = (box[2] - box[0], box[3] - box[1])
    scale = map_scale(wide * (1 + 2 * margin), high * (1 + 2 * margin), room)
    return Window(box, ((west + east) / 2, (south + north) / 2), scale)


def _cut(shape: Any, ground: Box) -> Any:
    if shape.is_empty or shapely.box(*ground).contains(shape):
        return shape
    return shapely.intersection(shape, shapely.box(*ground))
