"""Work areas: what a team asks an office for. Plots with the error of their pins, in few corners, no unit cut off."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.errors import Fault, InputFault

Floats = NDArray[np.float64]
MOST_CORNERS = 8  # house choice: a corner table that an officer reads and a boat can steer round
FEWEST_CORNERS = 4
# Half a unit of the last place of printed corners (0.0001 of a minute) is 0.093 m north and east at most; 0.14 m is a
# little over its diagonal (1 min of latitude is at most 1,862 m on WGS 84).
ROUNDING_M = 0.14
WASTE = 0.03  # house choice: a corner goes while it costs less than this share of the area


def work_areas(
    plots: Sequence[BaseGeometry], *, reach_m: float, join_m: float, most_corners: int = MOST_CORNERS
) -> list[tuple[BaseGeometry, list[int]]]:
    """Outlines that hold every plot wherever its pin may fall; plots near one another share one.

    Parameters
    ----------
    plots : sequence of Polygon
        In the working system [m].
    reach_m : float
        How far a unit may stand beside its plan: pin error + laying tolerance, × scale factor [m], ≥ 0.
    join_m : float
        Outlines whose widened plots come this near are made one [m], ≥ 0; so are outlines that would overlap.
    most_corners : int
        Most corners of one outline, ≥ 4.

    Returns
    -------
    list of (Polygon, list of int)
        Convex outlines, each with the plots in it (places in `plots`), in the order of their first plot. Each holds
        its plots widened by `reach_m`.

    Raises
    ------
    InputFault
        If there is no plot, or a length is negative.
    """
    if not plots or reach_m < 0 or join_m < 0 or most_corners < FEWEST_CORNERS:
        raise InputFault(
            Fault(
                "work areas",
                f"{len(plots)} plots, reach {reach_m} m, join {join_m} m, {most_corners} corners",
                "at least one plot, lengths of 0 m or more, 4 corners or more",
                "Correct the values.",
            )
        )
    wide = [p.buffer(reach_m, join_style="mitre", mitre_limit=1.5) if reach_m else p for p in plots]
    near = shapely.union_all([w.buffer(join_m / 2 + 1e-9) for w in wide])
    groups = [
        [k for k, w in enumerate(wide) if part.contains(w.representative_point())] for part in shapely.get_parts(near)
    ]
    while True:
        found = [(fewer_corners(shapely.union_all([wide[k] for k in g]).convex_hull, most_corners), g) for g in groups]
        meeting = next(
            ((a, b) for a, b in itertools.combinations(range(len(found)), 2) if found[a][0].intersects(found[b][0])),
            None,
        )
        if meeting is None:
            return sorted(found, key=lambda f: f[1][0])
        a, b = meeting
        groups = [sorted(groups[a] + groups[b]), *(g for k, g in enumerate(groups) if k not in meeting)]


def fewer_corners(hull: Any, most: int = MOST_CORNERS, waste: float = WASTE) -> BaseGeometry:
    """A convex outline with few corners that holds a convex one: its cheapest sides go, the neighbours are drawn on.

    Parameters
    ----------
    hull : Polygon
        Convex.
    most : int
        Corners to come down to, ≥ 4: a rectangle has no side whose neighbours meet.
    waste : float
        Below `most` a side goes only while it adds less than this share of the hull's area; 4 corners at least stay.

    Returns
    -------
    Polygon
        Contains `hull` but for rounding (1e-9 of its size).

    Notes
    -----
    Leaving out side i draws its neighbours on until they meet beyond it. They do if the two outer angles sum to less
    than 180°; the added area is that of the triangle between them.
    """
    ring = shapely.get_coordinates(shapely.geometry.polygon.orient(hull, 1.0))[:-1]
    ring = _without_straight(ring)
    full = float(hull.area)
    added = 0.0
    while len(ring) > 3:
        cost, corner = _leaving_out(ring)
        i = int(np.argmin(cost))
        enough = len(ring) <= most and (len(ring) <= FEWEST_CORNERS or added + cost[i] > waste * full)
        if not np.isfinite(cost[i]) or enough:
            break
        after = (i + 1) % len(ring)
        ring[i] = corner[i]
        ring = np.delete(ring, after, axis=0)
        added += float(cost[i])
    return shapely.Polygon(ring)


def _without_straight(ring: Floats) -> Floats:
    """Take off corners that do not turn."""
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    turn = (ring - before)[:, 0] * (after - ring)[:, 1] - (ring - before)[:, 1] * (after - ring)[:, 0]
    size = np.hypot(*(ring - before).T) * np.hypot(*(after - ring).T)
    keep = np.abs(turn) > 1e-9 * np.maximum(size, 1e-12)
    return ring[keep] if int(keep.sum()) >= 3 else ring


def _leaving_out(ring: Floats) -> tuple[Floats, Floats]:
    """Area added by leaving out each side [m²], infinite where its neighbours do not meet, and where they meet."""
    a, b, c, d = (np.roll(ring, -k, axis=0) for k in (-1, 0, 1, 2))
    u, v, side = b - a, c - d, c - b
    turn = _cross(u, v)
    size = np.hypot(*u.T) * np.hypot(*v.T)
    apart = np.abs(turn) > 1e-12 * np.maximum(size, 1e-12)
    safe = np.where(apart, turn, 1.0)
    s, t = _cross(side, v) / safe, _cross(side, u) / safe
    meet = b + s[:, None] * u
    cost = 0.5 * np.abs(_cross(side, meet - b))
    return np.where(apart & (s > 0) & (t > 0), cost, np.inf), meet


def _cross(u: Floats, v: Floats) -> Floats:
    return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])


def clipped(
    outline: BaseGeometry, keep: BaseGeometry, allowed: BaseGeometry | None, *, margin_m: float, reach_m: float = 0.0
) -> tuple[BaseGeometry, bool]:
    """Cut an outline back to where work is allowed, in few corners, without cutting off what must stay in it.

    Parameters
    ----------
    outline : Polygon
        As wanted.
    keep : Polygon or MultiPolygon
        What must stay inside: the plots.
    allowed : Polygon or MultiPolygon or None
        Where work is allowed; None leaves the outline as it is.
    margin_m : float
        Distance kept to the border of `allowed`, for the rounding of printed corners [m], ≥ 0.
    reach_m : float
        How far a unit may stand beside its plan [m], ≥ 0: away from the border of `allowed`, fewer corners must not
        take that room away.

    Returns
    -------
    (Polygon or MultiPolygon, bool)
        The outline, and whether all of `keep` is in it. It may be empty.
    """
    if allowed is None or _inner(allowed, margin_m).contains(outline):
        return outline, bool(outline.buffer(1e-6).contains(keep))
    must = keep.intersection(allowed)
    wide = keep.buffer(reach_m - 1e-6) if reach_m > 1e-6 else keep
    size = float(np.sqrt(max(outline.area, 0.0)))
    best: BaseGeometry = outline.intersection(_inner(allowed, margin_m))
    for tolerance in (size / 15, size / 30, size / 60, size / 150, size / 500):
        inner = outline.intersection(_inner(allowed, margin_m + tolerance))
        trial = shapely.simplify(inner, tolerance, preserve_topology=True)
        far = wide.intersection(_inner(allowed, margin_m + 2.0 * tolerance))
        held = trial.buffer(1e-6) if trial.is_valid else shapely.Polygon()
        if not trial.is_empty and held.contains(must) and held.contains(far):
            best = trial
            break
    parts = [p for p in shapely.get_parts(best) if p.geom_type == "Polygon" and p.area > 0]
    best = shapely.MultiPolygon(parts) if len(parts) > 1 else parts[0] if parts else shapely.Polygon()
    return best, bool(best.buffer(1e-6).contains(keep))


def _inner(shape: BaseGeometry, by_m: float) -> BaseGeometry:
    """A shape drawn in by a length; lengths too small for its coordinates leave it as it is (GEOS would lose it)."""
    return shape.buffer(-by_m) if by_m > 1e-6 else shape


def around(shape: BaseGeometry, most_corners: int, start_m: float) -> BaseGeometry:
    """An outline with few corners that holds a shape of many: for areas to scout, whose cells are coarse.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        E.g. the outline of a candidate's cells [m].
    most_corners : int
        In all rings together.
    start_m : float
        First width by which the shape is widened before corners go [m], > 0; it doubles until they are few enough.

    Notes
    -----
    A shape widened by t and thinned by t (Douglas and Peucker 1973, recalled, unverified) still holds the shape.
    """
    for t in start_m * 2.0 ** np.arange(16):
        wide = shape.buffer(t, join_style="mitre", mitre_limit=1.5)
        solid = shapely.union_all([shapely.Polygon(p.exterior) for p in shapely.get_parts(wide)])
        found: BaseGeometry = shapely.simplify(solid, t, preserve_topology=True)
        if corner_count(found) <= most_corners and found.is_valid and found.buffer(1e-6).contains(shape):
            return found
    hull: BaseGeometry = shape.convex_hull
    return hull


def corner_count(shape: BaseGeometry) -> int:
    """How many corners an outline has in all its rings."""
    return sum(
        len(shapely.get_coordinates(ring)) - 1
        for part in shapely.get_parts(shape)
        for ring in (part.exterior, *part.interiors)
    )


def corner_order(shape: BaseGeometry) -> list[list[tuple[float, float]]]:
    """Corners of each ring in the order in which they are numbered: clockwise from the most northern one.

    Of equally northern corners the most western comes first. Outer rings run clockwise, holes the other way.
    """
    rings = []
    for part in shapely.get_parts(shape):
        whole = shapely.geometry.polygon.orient(part, -1.0)
        for ring in (whole.exterior, *whole.interiors):
            xy = [(float(x), float(y)) for x, y in shapely.get_coordinates(ring)[:-1]]
            first = max(range(len(xy)), key=lambda k: (xy[k][1], -xy[k][0]))
            rings.append(list(itertools.chain(xy[first:], xy[:first])))
    return rings
