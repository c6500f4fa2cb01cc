"""Fills that survive a black-and-white copy: line hatches, crosses and dots, told apart by direction and spacing."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from sitekit.outputs.paper.pen import Pen

# name -> directions [degrees], spacing [pt], weight [pt]; dots have a spacing and a radius.
# "colour reproductions are not acceptable; use hatching, dot shading, heavy lines" (trade row TV-118): no class rests
# on a grey alone.
HATCHES: dict[str, tuple[tuple[float, ...], float, float]] = {
    "rising": ((45.0,), 5.0, 0.4),
    "falling": ((135.0,), 5.0, 0.4),
    "level": ((0.0,), 4.0, 0.35),
    "upright": ((90.0,), 4.0, 0.35),
    "crossed": ((45.0, 135.0), 6.0, 0.4),
    "squares": ((0.0, 90.0), 6.0, 0.35),
    "dense": ((45.0,), 2.4, 0.5),
    "wide": ((135.0,), 9.0, 0.7),
}
DOTS: dict[str, tuple[float, float]] = {"dots": (5.0, 0.7), "coarse dots": (8.0, 0.9)}
NAMES = (*HATCHES, *DOTS)
_MOST_LINES = 4000  # in one fill; wider spacing beyond that


def hatch(pen: Pen, shape: Any, name: str) -> None:
    """Fill a polygon given in points with a hatch; lines run on from shape to shape, so neighbours join.

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    shape : shapely polygon or multipolygon
        In points.
    name : str
        One of `NAMES`.
    """
    if shape is None or shape.is_empty:
        return
    west, south, east, north = shape.bounds
    with pen.clipped(shape) as there:
        if not there:
            return
        if name in DOTS:
            spacing, radius = DOTS[name]
            xs = np.arange(math.floor(west / spacing), math.ceil(east / spacing) + 1) * spacing
            ys = np.arange(math.floor(south / spacing), math.ceil(north / spacing) + 1)
            gx, gy = np.meshgrid(xs, ys)
            spots = np.column_stack([(gx + (gy % 2) * spacing / 2).ravel(), (gy * spacing).ravel()])
            near = shapely.intersects_xy(shape.buffer(radius), spots[:, 0], spots[:, 1])
            pen.strokes(np.stack([spots[near], spots[near]], axis=1), 2 * radius)
            return
        directions, spacing, weight = HATCHES[name]
        for direction in directions:
            _parallel(pen, (west, south, east, north), direction, spacing, weight)


def _parallel(
    pen: Pen, box: tuple[float, float, float, float], direction: float, spacing: float, weight: float
) -> None:
    west, south, east, north = box
    along = np.array([math.cos(math.radians(direction)), math.sin(math.radians(direction))])
    across = np.array([-along[1], along[0]])
    corners = np.array([[west, south], [east, south], [east, north], [west, north]])
    s, t = corners @ along, corners @ across
    step = max(spacing, float(np.ptp(t)) / _MOST_LINES)
    middles = np.arange(math.floor(t.min() / step), math.ceil(t.max() / step) + 1)[:, None] * step * across
    pen.strokes(np.stack([middles + s.min() * along, middles + s.max() * along], axis=1), weight)


def swatch(pen: Pen, box: tuple[float, float, float, float], name: str) -> None:
    """Draw a hatch in a small framed box, for a legend."""
    hatch(pen, shapely.box(*box), name)
    pen.box(box, 0.5)
