"""Wave exposure of large grids: worked out on thinned cells at a few depths, read off between them for every cell.

What arrives changes slowly over the ground, what it does near the bed changes with the depth: so the sea is taken at
thinned cells, its fields at depths a quarter apart, and each fine cell interpolates between four cells and two depths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.seabed.arriving import Sea
from sitekit.seabed.at_bed import AT_BED, at_bed
from sitekit.seabed.fetch import LAND, UNKNOWN, WATER
from sitekit.seabed.waves import FIELDS

SHALLOWEST_M = 0.1  # first depth of the table; shallower water is read as this deep [m]
RATIO = 1.25  # from one depth of the table to the next; error measured in docs/methods-waves-light-heat.md
NODES = 40  # depths of the table: 0.1 to 602 m


def node_of(depth_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Place of a depth among the table's depths, with fraction; 0 to NODES - 1."""
    place = np.log(np.maximum(depth_m, SHALLOWEST_M) / SHALLOWEST_M) / np.log(RATIO)
    return np.asarray(np.clip(place, 0.0, NODES - 1.000001))


@dataclass
class Thinned:
    """A grid in thinned cells, gathered block by block.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the fine grid.
    factor : int
        Fine cells on a side of a thinned one, at least 1.
    tide_m : float
        Added to the charted depths [m].
    shore_depth_m : float
        Water of this charted depth or less counts as land [m].
    gaps : int
        What a missing depth stands for: 0 water, 1 land, 2 unknown.
    """

    shape: tuple[int, int]
    factor: int
    tide_m: float
    shore_depth_m: float
    gaps: int

    def __post_init__(self) -> None:
        size = (-(-self.shape[0] // self.factor), -(-self.shape[1] // self.factor))
        self.kinds = np.zeros((3, *size), np.int64)  # cells of water, land, unknown in each thinned cell
        self.known = np.zeros(size, np.int64)
        self.depth_mm = np.zeros(size, np.int64)  # whole numbers: the same sum whatever the blocks
        self.needed = np.zeros((*size, NODES), np.bool_)

    def add(self, charted_m: NDArray[np.float32], row: int, col: int) -> None:
        """Take in a block of charted depths that begins at `row`, `col`."""
        k = self.factor
        gap = np.isnan(charted_m)
        depth = charted_m.astype(np.float64) + self.tide_m
        land = (charted_m <= self.shore_depth_m) | (depth <= 0)
        code = np.where(gap, self.gaps, np.where(land, LAND, WATER))
        wet = (code == WATER) & ~gap
        at_row, at_col = (row + np.arange(code.shape[0])) // k, (col + np.arange(code.shape[1])) // k
        first, left = int(at_row[0]), int(at_col[0])
        rows, cols = np.searchsorted(at_row, np.unique(at_row)), np.searchsorted(at_col, np.unique(at_col))

        def total(values: NDArray[np.int64]) -> NDArray[np.int64]:
            return np.asarray(np.add.reduceat(np.add.reduceat(values, rows, axis=0), cols, axis=1))

        here = slice(first, first + rows.size), slice(left, left + cols.size)
        for kind in (WATER, LAND, UNKNOWN):
            self.kinds[kind][here] += total((code == kind).astype(np.int64))
        self.known[here] += total(wet.astype(np.int64))
        self.depth_mm[here] += total(np.where(wet, np.rint(np.where(wet, depth, 0.0) * 1000), 0).astype(np.int64))
        node = node_of(depth[wet]).astype(np.intp)
        r, c = np.broadcast_to(at_row[:, None], wet.shape)[wet], np.broadcast_to(at_col, wet.shape)[wet]
        self.needed[r, c, node] = True

    def surface(self) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
        """Codes and mean depths of water [m] of the thinned cells; the commonest code wins, water before land."""
        codes = np.argmax(self.kinds, axis=0).astype(np.uint8)
        mean = np.where(self.known > 0, self.depth_mm / np.maximum(self.known, 1) / 1000.0, np.nan)
        return codes, mean


class ExposureTable:
    """Wave fields at thinned cells and a few depths; call `at` for the cells of a block.

    Parameters
    ----------
    thinned : Thinned
        With every block taken in.
    sea : Sea
        What arrives at the cells of `use`.
    use : array of bool, shape of the thinned grid
        Thinned cells of water.
    max_unknown_share, breaker_index, mobile_ms, high_share
        As `wave_fields`.
    """

    def __init__(
        self,
        thinned: Thinned,
        sea: Sea,
        use: NDArray[np.bool_],
        *,
        max_unknown_share: float,
        breaker_index: float,
        mobile_ms: float,
        high_share: float,
    ) -> None:
        self.thinned, self.use = thinned, use
        cells = int(use.sum())
        self.number = np.full(use.shape, -1, np.intp)
        self.number[use] = np.arange(cells)
        known = sea.unknown_share <= max_unknown_share + 1e-9
        need = _spread(thinned.needed)[use] & known[:, None]
        cell, node = np.nonzero(need)
        found = at_bed(
            sea,
            cell,
            SHALLOWEST_M * RATIO ** node.astype(np.float64),
            breaker_index=breaker_index,
            mobile_ms=mobile_ms,
            high_share=high_share,
        )
        self.tables: dict[str, NDArray[np.float32]] = {}
        for name in AT_BED:
            self.tables[name] = np.full((cells, NODES), np.nan, np.float32)
            self.tables[name][cell, node] = found[name]
        self.fetch = np.where(known, sea.fetch_m, np.nan).astype(np.float32)
        self.unknown = sea.unknown_share.astype(np.float32)
        self.known = known

    def at(self, charted_m: NDArray[np.float32], row: int, col: int) -> dict[str, NDArray[np.float32]]:
        """Return the wave fields of a block of charted depths that begins at `row`, `col` of the fine grid.

        Cells off the water are NaN, and so are those whose thinned cell is unknown.
        """
        shape = charted_m.shape
        out = {name: np.full(shape, np.nan, np.float32) for name in FIELDS}
        depth = charted_m.astype(np.float64) + self.thinned.tide_m
        with np.errstate(invalid="ignore"):
            wet = (charted_m > self.thinned.shore_depth_m) & (depth > 0)
        if not wet.any():
            return out
        r, c = np.nonzero(wet)
        place = node_of(depth[wet])
        node = place.astype(np.intp)
        share = (place - node).astype(np.float32)
        y, x = (row + r + 0.5) / self.thinned.factor - 0.5, (col + c + 0.5) / self.thinned.factor - 0.5
        top, left = np.floor(y).astype(np.intp), np.floor(x).astype(np.intp)
        down, along = (y - top).astype(np.float32), (x - left).astype(np.float32)
        sums = {name: np.zeros(r.size, np.float32) for name in FIELDS}
        weight, weight_any = np.zeros(r.size, np.float32), np.zeros(r.size, np.float32)
        high, wide = self.use.shape
        for dr in (0, 1):
            for dc in (0, 1):
                number = self.number[np.clip(top + dr, 0, high - 1), np.clip(left + dc, 0, wide - 1)]
                part = (down if dr else 1 - down) * (along if dc else 1 - along)
                there = number >= 0
                number = np.maximum(number, 0)
                part = np.where(there, part, np.float32(0.0))
                weight_any += part
                sums["unknown_wave_share"] += part * self.unknown[number]
                part = np.where(self.known[number], part, np.float32(0.0))
                weight += part
                some = part > 0
                sums["fetch_m"] += np.where(some, part * self.fetch[number], np.float32(0.0))
                for name in AT_BED:
                    table = self.tables[name]
                    low, up = table[number, node], table[number, node + 1]
                    sums[name] += np.where(some, part * (low + share * (up - low)), np.float32(0.0))
        own = self.number[(row + r) // self.thinned.factor, (col + c) // self.thinned.factor]
        blind = (own >= 0) & ~self.known[np.maximum(own, 0)]
        good = (weight > 0) & ~blind
        for name in FIELDS:
            if name == "unknown_wave_share":
                out[name][wet] = np.where(weight_any > 0, sums[name] / np.where(weight_any > 0, weight_any, 1), np.nan)
            else:
                out[name][wet] = np.where(good, sums[name] / np.where(good, weight, 1), np.nan)
        return out


def _spread(needed: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Depths needed by a thinned cell, its eight neighbours, and the next depth of each."""
    out = needed.copy()
    out[:, :, 1:] |= needed[:, :, :-1]
    for axis in (0, 1):
        before = out.copy()
        first = [slice(None)] * 3
        last = [slice(None)] * 3
        first[axis], last[axis] = slice(1, None), slice(None, -1)
        out[tuple(first)] |= before[tuple(last)]
        out[tuple(last)] |= before[tuple(first)]
    return out
