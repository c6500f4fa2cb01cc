"""What new plots keep clear of: outlines that stand already, of another species or at a neighbouring site.

A plot may hold some bottom that is not allowed, so it is not enough to take the bottom around an outline away: every
start of a rectangle, every centre of a circle, that would come nearer than the gap is closed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.layout.shelves import Field
from sitekit.layout.tape import direction

Floats = NDArray[np.float64]

_QUARTER = 16  # chords per quarter turn of a rounded corner
_OUTER = 1.0 / math.cos(math.pi / (4.0 * _QUARTER))  # chords of a circle this much larger stay outside the circle
_TOUCH_M = 1e-9  # what stands exactly the gap apart is not too near


@dataclass(frozen=True)
class Standing:
    """An outline and how near plots may come to it.

    Parameters
    ----------
    outline : shapely.Polygon
        Convex, on the map [m].
    gap_m : float
        Least distance [m], ≥ 0.
    """

    outline: BaseGeometry
    gap_m: float


def close_starts(field: Field, standing: Sequence[Standing], *, length_m: float, width_m: float) -> None:
    """Close the starts of a field whose rectangle comes nearer to an outline than its gap (changes `field.quality`).

    Parameters
    ----------
    field : Field
        Of one bearing.
    standing : sequence of Standing
        What stands already.
    length_m, width_m : float
        The rectangle [m].

    Notes
    -----
    A rectangle comes nearer to a convex outline than a gap exactly if its centre lies in the outline widened by half
    the rectangle on each side and by the gap all around (Minkowski sum). Corners are rounded by chords that lie outside
    the circle, so the gap is kept, and off a corner a start is closed at most 0.2 % of the gap too early.
    """
    s, c = direction(field.bearing_grid_deg)
    half = np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]]) * (0.5 * length_m, 0.5 * width_m)
    rows, columns = field.quality.shape
    for one in standing:
        x, y = shapely.get_coordinates(one.outline).T - [[field.corner_x_m], [field.corner_y_m]]
        turned = np.column_stack([x * s + y * c, x * c - y * s])
        wide = shapely.convex_hull(shapely.MultiPoint((turned[:, np.newaxis] + half).reshape(-1, 2)))
        ring = shapely.get_coordinates(shapely.get_exterior_ring(_widened(wide, one.gap_m)))
        low, high = ring[:, 1].min(), ring[:, 1].max()
        first = max(math.ceil(low / field.step_across_m - 0.5 * field.across), 0)
        last = min(math.floor(high / field.step_across_m - 0.5 * field.across), rows - 1)
        if first > last:
            continue
        v = (np.arange(first, last + 1) + 0.5 * field.across) * field.step_across_m
        left, right = _span(ring, v)
        begin = np.ceil(left / field.step_along_m - 0.5 * field.along).clip(0, columns).astype(np.int64)
        end = np.floor(right / field.step_along_m - 0.5 * field.along).clip(-1, columns - 1).astype(np.int64) + 1
        for row, a, b in zip(range(first, last + 1), begin, end, strict=True):
            field.quality[row, a:b] = -1.0


def clear_centres(x_m: Floats, y_m: Floats, standing: Sequence[Standing], *, radius_m: float) -> NDArray[np.bool_]:
    """Tell which centres of circles keep the gap to every outline.

    Parameters
    ----------
    x_m, y_m : ndarray, shape (n,)
        Centres [m].
    standing : sequence of Standing
        What stands already.
    radius_m : float
        Of the circles [m].
    """
    clear = np.ones(x_m.size, bool)
    for one in standing:
        near = _widened(one.outline, radius_m + one.gap_m)
        shapely.prepare(near)
        clear[clear] = ~shapely.contains_xy(near, x_m[clear], y_m[clear])
    return clear


def _widened(shape: BaseGeometry, distance_m: float) -> BaseGeometry:
    """Return a convex shape with all that is nearer to it than a distance: sides exact, corners a little too far."""
    straight = shape.buffer(distance_m - _TOUCH_M, join_style="mitre")
    return straight.intersection(shape.buffer(distance_m * _OUTER, quad_segs=_QUARTER))


def _span(ring: Floats, v: Floats) -> tuple[Floats, Floats]:
    """Return where lines of equal second coordinate enter and leave a closed convex ring."""
    points = ring[:-1]
    lowest = int(points[:, 1].argmin())
    points = np.roll(points, -lowest, axis=0)
    top = int(points[:, 1].argmax())
    up, down = points[: top + 1], np.vstack([points[top:], points[:1]])[::-1]
    one, other = (np.interp(v, chain[:, 1], chain[:, 0]) for chain in (up, down))
    return np.minimum(one, other), np.maximum(one, other)
