"""Which candidates lie too near each other, told in few rows: groups of which at most one may be taken."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

# Distances on paper carry rounding: pairs that are exactly as far apart as asked for are far enough.
_TOUCHING_M = 1e-6


def near_pairs(points: ArrayLike, least_m: float) -> NDArray[np.int64]:
    """Return the pairs of points that lie nearer to each other than `least_m`.

    Parameters
    ----------
    points : array_like, shape (n, 2)
        Easting, northing [m].
    least_m : float
        Least distance allowed [m], ≥ 0; exactly as far is far enough.

    Returns
    -------
    ndarray of int64, shape (m, 2)
        Rows (i, j) with i < j, in order.
    """
    at = np.asarray(points, np.float64).reshape(-1, 2)
    if least_m <= _TOUCHING_M or len(at) < 2:
        return np.zeros((0, 2), np.int64)
    pairs = cKDTree(at).query_pairs(least_m - _TOUCHING_M, output_type="ndarray").astype(np.int64)
    return _in_order(pairs)


def near_outlines(outlines: Sequence[BaseGeometry], least_m: float) -> NDArray[np.int64]:
    """Return the pairs of outlines whose nearest edges lie nearer to each other than `least_m`.

    Parameters
    ----------
    outlines : sequence of shapely geometry
        In the working system [m].
    least_m : float
        Least distance allowed [m], ≥ 0; exactly as far is far enough.

    Returns
    -------
    ndarray of int64, shape (m, 2)
        Rows (i, j) with i < j, in order.
    """
    if least_m <= _TOUCHING_M or len(outlines) < 2:
        return np.zeros((0, 2), np.int64)
    shapes = np.asarray(outlines, object)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=least_m - _TOUCHING_M)
    pairs = np.column_stack([one, other]).astype(np.int64)
    return _in_order(pairs[pairs[:, 0] < pairs[:, 1]])


def groups_of(pairs: ArrayLike, size: int) -> list[list[int]]:
    """Return groups that cover all pairs, each group's members all near each other (cliques of the graph of pairs).

    "At most one of a group" says the same as "not both of a pair" with fewer and tighter rows, which a solver of whole
    numbers needs. Groups grow greedily from the first pair not covered yet; the result depends on the pairs alone.

    Parameters
    ----------
    pairs : array_like of int, shape (m, 2)
        i < j.
    size : int
        Number of candidates.

    Returns
    -------
    list of list of int
        Each sorted, at least two members.
    """
    neighbours: list[set[int]] = [set() for _ in range(size)]
    rows = np.asarray(pairs, np.int64).reshape(-1, 2)
    for i, j in rows.tolist():
        neighbours[i].add(j)
        neighbours[j].add(i)
    covered: set[tuple[int, int]] = set()
    groups: list[list[int]] = []
    for i, j in rows.tolist():
        if (i, j) in covered:
            continue
        members = [i, j]
        common = neighbours[i] & neighbours[j]
        while common:
            # the member that keeps most of the others possible; ties: the first
            best = max(sorted(common), key=lambda c: len(neighbours[c] & common))
            members.append(best)
            common &= neighbours[best]
        members.sort()
        covered.update((a, b) for k, a in enumerate(members) for b in members[k + 1 :])
        groups.append(members)
    return groups


def _in_order(pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    sorted_pairs = np.sort(pairs, axis=1)
    return np.asarray(sorted_pairs[np.lexsort((sorted_pairs[:, 1], sorted_pairs[:, 0]))], np.int64)
