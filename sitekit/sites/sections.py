"""Where a section view is cut: through most plots, from one side of the work area to the other."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
MOST_JOINED = 12  # plots whose middles are joined
LEAST_MET_M = 1.0  # a plot that the cut only touches is not shown
BEYOND = 0.08  # house choice: the cut runs on beyond the outline by this share of its length on each side


def section_line(
    outline: BaseGeometry, plots: Sequence[BaseGeometry] = (), axes: Sequence[tuple[Floats, Floats]] = ()
) -> Floats:
    """Ends of the cut through a work area, the western one first.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        Work area [m].
    plots : sequence of Polygon
        Plots in it.
    axes : sequence of (start, end)
        Their tape lines. The cut follows a tape line, or joins the middles of two plots, whichever meets most plots, then
        most of their length. Without any it follows the longer side of the least box round the outline, through its
        centroid.

    Returns
    -------
    ndarray, shape (2, 2)
        Easting and northing of both ends [m].
    """
    best, most = None, (-1, -1.0)
    middles = [shapely.get_coordinates(p.centroid)[0] for p in plots[:MOST_JOINED]]
    pairs = [(a, b) for a, b in itertools.combinations(middles, 2) if float(np.hypot(*(b - a))) > 1e-6]
    for start, end in [*axes, *pairs]:
        line = _across(outline, np.asarray(start, float), np.asarray(end, float))
        lengths = [float(shapely.LineString(line).intersection(p).length) for p in plots]
        score = (sum(v > LEAST_MET_M for v in lengths), round(sum(lengths), 6))
        if score > most:
            best, most = line, score
    if best is None:
        box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
        sides = np.hypot(*np.diff(box, axis=0).T)
        k = int(np.argmax(sides[:2]))
        middle = shapely.get_coordinates(outline.centroid)[0]
        best = _across(outline, middle, middle + (box[k + 1] - box[k]) / max(float(sides[k]), 1e-9))
    west = best[np.lexsort((best[:, 1], best[:, 0]))]
    return np.asarray(west)


def _across(outline: BaseGeometry, start: Floats, end: Floats) -> Floats:
    way = (end - start) / max(float(np.hypot(*(end - start))), 1e-12)
    corners = shapely.get_coordinates(outline)
    reach = float(np.abs((corners - start) @ way).max()) + 1.0
    cut = shapely.LineString([start - reach * way, start + reach * way]).intersection(outline)
    along = (shapely.get_coordinates(cut) - start) @ way if not cut.is_empty else np.array([-reach, reach])
    more = BEYOND * float(np.ptp(along))
    return np.array([start + (along.min() - more) * way, start + (along.max() + more) * way])
