"""How far by sea: the shortest route around land on a coarse grid, its corners cut where the line of sight is water.

For choosing between sites, not for navigation: it knows land and least depth, no rocks, currents or rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from sitekit.errors import Fault, InputFault

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]

# Steps to the 16 neighbours of a chess queen's and a knight's move, half of them (the graph is undirected).
_STEPS = ((0, 1), (1, 0), (1, 1), (1, -1), (1, 2), (2, 1), (1, -2), (2, -1))


@dataclass(frozen=True)
class Routes:
    """Routes from one start.

    Parameters
    ----------
    length_m : ndarray, shape (n,)
        Length by sea [m]; infinite where no water leads there.
    moved_m : ndarray, shape (n,)
        How far the end was moved to reach water [m].
    start_moved_m : float
        How far the start was moved [m].
    lines : list of ndarray, shape (k, 2)
        Corners of each route as (row, column) of cell centres, from the end to the start; empty where there is none.
    """

    length_m: Floats
    moved_m: Floats
    start_moved_m: float
    lines: list[Floats]


def sea_routes(water: ArrayLike, cell_m: float, start: tuple[float, float], ends: ArrayLike) -> Routes:
    """Return the shortest routes by sea from a start to many ends.

    Parameters
    ----------
    water : array_like of bool, shape (rows, columns)
        Cells a boat may cross.
    cell_m : float
        Side of a cell [m].
    start : tuple of float
        Row and column of the start, in cells; cell centres lie at whole numbers.
    ends : array_like, shape (n, 2)
        Row and column of the ends.

    Returns
    -------
    Routes
        Places on land are moved to the nearest water first; that distance is told apart and not part of the length.

    Raises
    ------
    InputFault
        If there is no water, or a place lies outside the cells.

    Notes
    -----
    Dijkstra over steps to 16 neighbours, each clear of land; corners are then cut wherever the straight line is water.
    Without land the length is exact; around land it is the length of a real route, so never too short. It may be too long:
    16 directions exceed a straight line by at most 2.7 % before corners are cut, more between single rocks.

    References
    ----------
    Dijkstra 1959 (recalled).
    """
    free = np.asarray(water, bool)
    goals = np.asarray(ends, np.float64).reshape(-1, 2)
    if not free.any():
        raise InputFault(Fault("sea route", "no cell of water", "water between harbour and sites", "Check the depths."))
    rows, cols = free.shape
    places = np.vstack([np.asarray(start, np.float64)[None, :], goals])
    outside = (places < -0.5) | (places >= np.array([rows, cols]) - 0.5)
    if outside.any() or not np.isfinite(places).all():
        raise InputFault(Fault("sea route", "a place outside the cells", "places on the grid", "Widen the grid."))
    snapped, moved = _to_water(free, places)
    index = snapped[:, 0] * cols + snapped[:, 1]
    length, before = dijkstra(_graph(free), directed=False, indices=int(index[0]), return_predecessors=True)
    lines: list[Floats] = []
    out = np.full(len(goals), np.inf)
    for k, end in enumerate(index[1:].tolist()):
        if not np.isfinite(length[end]):
            lines.append(np.zeros((0, 2)))
            continue
        path = [end]
        while path[-1] != index[0]:
            path.append(int(before[path[-1]]))
        corners = np.column_stack(np.divmod(np.array(path), cols)).astype(np.float64)
        # a place that lies in water keeps its own spot; one that was moved starts at the water's edge
        corners[0] = goals[k] if moved[k + 1] == 0 else corners[0]
        corners[-1] = places[0] if moved[0] == 0 else corners[-1]
        corners = _pulled(free, corners)
        out[k] = float(np.hypot(*np.diff(corners, axis=0).T).sum()) * cell_m
        lines.append(corners)
    return Routes(out, moved[1:] * cell_m, float(moved[0]) * cell_m, lines)


def _to_water(free: Flags, places: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Return the nearest cell of water of each place, and how far it is in cells (0 in water)."""
    cells = np.round(places).astype(np.int64)
    moved = np.zeros(len(places))
    wet = np.argwhere(free)
    for k, (row, col) in enumerate(cells):
        if not free[row, col]:
            apart = np.hypot(*(wet - places[k]).T)
            best = int(np.argmin(apart))
            cells[k], moved[k] = wet[best], apart[best]
    return cells, moved


def _graph(free: Flags) -> coo_array:
    rows, cols = free.shape
    number = np.arange(rows * cols).reshape(rows, cols)
    one, other, weight = [], [], []
    for dr, dc in _STEPS:
        a = (slice(0, rows - dr), slice(max(0, -dc), cols - max(0, dc)))
        if rows <= dr or cols <= abs(dc):
            continue
        clear = np.ones(free[a].shape, bool)
        for r, c in _touched(dr, dc):
            clear &= _shifted(free, r, c, a)
        one.append(number[a][clear])
        other.append((number[a] + dr * cols + dc)[clear])
        weight.append(np.full(int(clear.sum()), float(np.hypot(dr, dc))))
    graph = coo_array(
        (np.concatenate(weight), (np.concatenate(one), np.concatenate(other))), shape=(rows * cols, rows * cols)
    )
    return graph.tocsr()


def _touched(dr: int, dc: int) -> list[tuple[int, int]]:
    """Return the cells that the step from (0, 0) passes through or touches at a corner."""
    side = 1 if dc >= 0 else -1
    if abs(dc) == 2 or dr == 2:
        return [(0, 0), (1, 0) if dr == 2 else (0, side), (1, side), (dr, dc)]
    return [(0, 0), (dr, dc)] if 0 in (dr, dc) else [(0, 0), (0, side), (1, 0), (dr, dc)]


def _shifted(free: Flags, dr: int, dc: int, part: tuple[slice, slice]) -> Flags:
    r, c = part
    return free[r.start + dr : r.stop + dr, c.start + dc : c.stop + dc]


def _pulled(free: Flags, corners: Floats) -> Floats:
    """Return the route with every corner left out that the line of sight does not need, until nothing changes."""
    kept = corners
    while True:
        out = [kept[0]]
        i = 0
        while i < len(kept) - 1:
            j = len(kept) - 1
            while j > i + 1 and not _sees(free, kept[i], kept[j]):
                j -= 1
            out.append(kept[j])
            i = j
        new = np.array(out)
        if len(new) == len(kept):
            return new
        kept = new


def _sees(free: Flags, one: Floats, other: Floats) -> bool:
    """Return whether the straight line between two places touches cells of water only, corners included.

    Between its crossings with cell borders a line is inside one cell, so the cells beside all crossings are all it touches.
    """
    step = other - one
    at = [0.0, 1.0]
    for axis in (0, 1):
        if step[axis] != 0:
            low, high = sorted((one[axis], other[axis]))
            borders = np.arange(np.ceil(low - 0.5), np.floor(high - 0.5) + 1) + 0.5
            at.extend(((borders - one[axis]) / step[axis]).tolist())
    line = one + step * np.array(at)[:, None]
    top = np.array(free.shape) - 1
    near = [np.clip(np.round(line + shift).astype(np.int64), 0, top) for shift in (-1e-6, 1e-6)]
    return all(bool(free[r[:, 0], c[:, 1]].all()) for r in near for c in near)
