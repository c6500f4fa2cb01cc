"""Passing cells become candidates: contiguous patches with exact outlines, holes kept, and their statistics.

Cells are neighbours when they share a side. Passing cells are gathered as runs along rows, so a raster of any size can
be fed in strips; strips of any height give the same patches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import shapes

from sitekit.base.compiled import compiled
from sitekit.layers.grid import Grid

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Patch:
    """One contiguous patch of passing cells.

    Parameters
    ----------
    row, col : int
        First row and column of its bounding box in the grid.
    mask : ndarray of bool, shape (rows, columns of the box)
        Its cells.
    """

    row: int
    col: int
    mask: Flags

    @property
    def cells(self) -> int:
        """Number of cells."""
        return int(self.mask.sum())

    def outline(self, grid: Grid) -> shapely.Polygon | shapely.MultiPolygon:
        """Return the exact cell outline in the grid's system, holes kept.

        Where the outline touches itself at a corner it is split there, so that it is valid; its area stays the same.
        """
        box = grid.window(self.row, self.col, self.mask.shape)
        parts = [
            shapely.geometry.shape(geometry)
            for geometry, _ in shapes(
                self.mask.astype(np.uint8), mask=self.mask, transform=box.transform, connectivity=4
            )
        ]
        outline = shapely.make_valid(shapely.unary_union(parts))
        if isinstance(outline, (shapely.Polygon, shapely.MultiPolygon)):
            return outline
        return shapely.MultiPolygon([p for p in shapely.get_parts(outline) if isinstance(p, shapely.Polygon)])


@dataclass
class PatchFinder:
    """Gathers passing cells strip by strip, north to south, then joins them into patches."""

    rows: list[Ints] = field(default_factory=list)
    starts: list[Ints] = field(default_factory=list)
    stops: list[Ints] = field(default_factory=list)

    def add(self, passing: Flags, row: int) -> None:
        """Add a strip of whole rows.

        Parameters
        ----------
        passing : ndarray of bool, shape (rows, columns)
            Which cells pass.
        row : int
            Grid row of its first row; strips come north to south without gaps.
        """
        r, start, stop = _runs(passing)
        self.rows.append(r + row)
        self.starts.append(start)
        self.stops.append(stop)

    def patches(self, least_cells: float = 1.0) -> list[Patch]:
        """Return the patches of at least `least_cells` cells, by row and column of their first cell."""
        if not self.rows:
            return []
        rows, starts, stops = (np.concatenate(v) for v in (self.rows, self.starts, self.stops))
        if rows.size == 0:
            return []
        label = _joined(rows, starts, stops)
        order = np.argsort(label, kind="stable")
        edges = np.flatnonzero(np.r_[True, np.diff(label[order]) != 0, True])
        found = []
        for first, last in pairwise(edges):
            part = order[first:last]
            length = stops[part] - starts[part]
            # a tenth of a thousandth of a cell: areas given in decimal metres are not exact multiples of a cell
            if length.sum() + 1e-4 < least_cells:
                continue
            row, col = int(rows[part].min()), int(starts[part].min())
            mask = np.zeros((int(rows[part].max()) - row + 1, int(stops[part].max()) - col), bool)
            for r, a, b in zip(rows[part] - row, starts[part] - col, stops[part] - col, strict=True):
                mask[r, a:b] = True
            found.append(Patch(row, col, mask))
        return found


@compiled
def _runs(passing: Flags) -> tuple[Ints, Ints, Ints]:
    height, width = passing.shape
    count = 0
    for i in range(height):
        before = False
        for j in range(width):
            if passing[i, j] and not before:
                count += 1
            before = passing[i, j]
    rows, starts, stops = np.empty(count, np.int64), np.empty(count, np.int64), np.empty(count, np.int64)
    n = 0
    for i in range(height):
        j = 0
        while j < width:
            if passing[i, j]:
                rows[n], starts[n] = i, j
                while j < width and passing[i, j]:
                    j += 1
                stops[n] = j
                n += 1
            else:
                j += 1
    return rows, starts, stops


@compiled
def _root(parent: Ints, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@compiled
def _joined(rows: Ints, starts: Ints, stops: Ints) -> Ints:
    n = rows.size
    parent = np.arange(n)
    above = 0
    first_of_row = 0
    for i in range(n):
        if i == 0 or rows[i] != rows[i - 1]:
            above = first_of_row if i > 0 and rows[i] == rows[i - 1] + 1 else i
            first_of_row = i
        while above < first_of_row and stops[above] <= starts[i]:
            above += 1
        k = above
        while k < first_of_row and starts[k] < stops[i]:
            a, b = _root(parent, k), _root(parent, i)
            if a < b:
                parent[b] = a
            elif b < a:
                parent[a] = b
            k += 1
    for i in range(n):
        parent[i] = _root(parent, i)
    return parent


@dataclass(frozen=True)
class PatchStatistics:
    """What a patch offers.

    Parameters
    ----------
    depth_min_m, depth_mean_m, depth_max_m : float
        Positive down [m].
    score_mean, score_max : float
        Of the best species in each cell, 0 to 1.
    limiting : int
        Index of the criterion that is limiting in most cells of the best species, -1 for none.
    unknown_pct : float
        Mean share of weight on unknown values [%].
    species_cells : dict of str to int
        Cells where each species passes.
    species_score_mean : dict of str to float
        Mean score over those cells, 0 to 1.
    """

    depth_min_m: float
    depth_mean_m: float
    depth_max_m: float
    score_mean: float
    score_max: float
    limiting: int
    unknown_pct: float
    species_cells: dict[str, int]
    species_score_mean: dict[str, float]


def patch_statistics(
    patch: Patch,
    depth_m: NDArray[np.float32],
    scores: Mapping[str, NDArray[np.float32]],
    limiting: Mapping[str, NDArray[np.uint8]],
    unknown_pct: Mapping[str, NDArray[np.uint8]],
    *,
    passing_score: float,
) -> PatchStatistics:
    """Return the statistics of a patch from arrays of its bounding box.

    Parameters
    ----------
    patch : Patch
        The patch.
    depth_m : ndarray, shape of the box
        Positive down [m].
    scores, limiting, unknown_pct : mapping of species code to ndarray, shape of the box
        Score 0–1 (NaN where ruled out), index of the limiting criterion (255 none), unknown share [%].
    passing_score : float
        Scores from this value on pass, 0 to 1.
    """
    codes = list(scores)
    stack = np.stack([scores[c][patch.mask] for c in codes]).astype(np.float64)
    known = np.where(np.isfinite(stack), stack, -1.0)
    best = known.argmax(axis=0)
    cells = np.arange(best.size)
    best_score = known[best, cells]
    limit = np.stack([limiting[c][patch.mask] for c in codes])[best, cells]
    unknown = np.stack([unknown_pct[c][patch.mask] for c in codes])[best, cells].astype(np.float64)
    counts = np.bincount(limit[limit != 255], minlength=1)
    passes = {c: known[i] >= np.float32(passing_score) for i, c in enumerate(codes)}
    depth = depth_m[patch.mask].astype(np.float64)
    return PatchStatistics(
        float(np.nanmin(depth)),
        float(np.nanmean(depth)),
        float(np.nanmax(depth)),
        float(best_score.mean()),
        float(best_score.max()),
        int(counts.argmax()) if counts.sum() else -1,
        float(unknown.mean()),
        {c: int(p.sum()) for c, p in passes.items()},
        {c: float(known[i][passes[c]].mean()) if passes[c].any() else float("nan") for i, c in enumerate(codes)},
    )
