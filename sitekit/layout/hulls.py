"""Convex hulls of patches that lie apart, and what a convex piece of bottom can hold at most.

N points of a convex set K with every pair at least d apart number at most 2 A / (√3 d²) + P / (2 d) + 1, with A the area
and P the perimeter of K (Oler 1961; proven in docs/methods-layout.md). On strips and small compact patches this is less
than what the dilated area allows; on ragged bottom the hull is far larger than the bottom and the dilated area is less.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_FLOOR = 1e-6  # relative: rounding never lowers the bound


def most_in_convex(area: Floats, perimeter: Floats, separation: float) -> Ints:
    """Return the most points that convex sets can hold.

    Parameters
    ----------
    area, perimeter : ndarray
        Of each set, ≥ 0, in units of one length.
    separation : float
        Least distance of any pair, > 0, in the same unit.

    Returns
    -------
    ndarray of int64
        ⌊2 A / (√3 d²) + P / (2 d) + 1⌋.

    References
    ----------
    Oler, N. (1961). An inequality in the geometry of numbers. Acta Mathematica 105, 19-48 (recalled, unverified; the
    proof for convex sets stands in docs/methods-layout.md) [source key: oler-1961].
    Folkman, J. H. & Graham, R. L. (1969). A packing inequality for compact convex subsets of the plane. Canadian
    Mathematical Bulletin 12, 745-752 (recalled, unverified) [source key: folkman-graham-1969].
    """
    most = 2.0 / math.sqrt(3.0) * area / separation**2 + perimeter / (2.0 * separation) + 1.0
    return np.floor(most * (1.0 + _FLOOR)).astype(np.int64)


def clusters(
    first: Ints, begin: Ints, end: Ints, group: Ints, groups: int, link: float
) -> tuple[Ints, NDArray[np.object_]]:
    """Join groups of cells until the convex hulls of all are at least a distance apart.

    Parameters
    ----------
    first, begin, end, group : ndarray of int64
        Runs of cells along rows: first run of each row, first column, column after the last, group.
    groups : int
        Number of groups.
    link : float
        Distance [cells].

    Returns
    -------
    tuple
        Cluster of each group, and the convex hull of each cluster, in cells.
    """
    row = np.repeat(np.arange(first.size - 1), np.diff(first))
    order = np.lexsort((row, group))
    row, group, begin, end = row[order], group[order], begin[order], end[order]
    new = np.flatnonzero((np.diff(row, prepend=-1) != 0) | (np.diff(group, prepend=-1) != 0))  # ends of a row suffice
    row, group, begin, end = row[new], group[new], np.minimum.reduceat(begin, new), np.maximum.reduceat(end, new)
    x = np.stack([begin, begin, end, end], axis=1).ravel().astype(np.float64)
    y = np.stack([row, row + 1, row, row + 1], axis=1).ravel().astype(np.float64)
    cluster = np.arange(groups, dtype=np.int64)
    hulls = _hulls(np.column_stack([x, y]), np.repeat(group, 4), groups)
    while len(hulls) > 1:
        pairs = shapely.STRtree(hulls).query(hulls, predicate="dwithin", distance=link)
        pairs = pairs[:, pairs[0] < pairs[1]]
        if pairs.shape[1] == 0:
            break
        near = sparse.coo_matrix((np.ones(pairs.shape[1]), (pairs[0], pairs[1])), shape=(len(hulls), len(hulls)))
        count, joined = csgraph.connected_components(near, directed=False)
        points, of = shapely.get_coordinates(hulls, return_index=True)
        hulls = _hulls(points, joined[of], count)
        cluster = joined[cluster].astype(np.int64)
    return cluster, hulls


def _hulls(points: Floats, of: Ints, count: int) -> NDArray[np.object_]:
    order = np.argsort(of, kind="stable")
    out = np.empty(count, dtype=object)
    shapely.multipoints(points[order], indices=of[order], out=out)
    return np.asarray(shapely.convex_hull(out))
