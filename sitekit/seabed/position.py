"""Position index: how much a cell stands above the mean of a ring around it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.seabed.windows import disc_size, ring_sums

DEPTH_UNIT_M = 1e-4  # 0.1 mm: ten times finer than any survey, and 12,000 m still fits in 28 bits

Depths = NDArray[np.float32]


def position_index(
    depth: Depths,
    surface: tuple[int, bool, float, float],
    outer: NDArray[np.int64],
    inner: NDArray[np.int64],
    out: NDArray[np.float32],
) -> None:
    """Fill `out` with the mean depth of a ring minus the depth of its centre [m]: positive on crests.

    Parameters
    ----------
    depth : array of float32, shape (rows + 2 edge, columns + 2 edge)
        Depth [m], positive down; NaN = gap.
    surface : tuple of int, bool, float, float
        Edge, at least the outer disc; whether there are gaps; least and greatest depth [m].
    outer, inner : array of int64
        Discs from `windows.disc_half_widths`; the ring is the outer one without the inner one.
    out : array of float32, shape (rows, columns)
        Receives the index [m]; NaN where the ring touches a gap or the cell is one.

    Notes
    -----
    Weiss 2001 (poster); Lundblad et al. 2006, Marine Geodesy 29. Depths are whole numbers of 0.1 mm, counted from the
    block's least depth; the numerator Σ ring − N · centre is an exact integer that does not depend on that base.
    """
    edge, gaps, low, high = surface
    if not math.isfinite(low):
        out[...] = np.nan
        return
    rows, cols = out.shape
    reach = len(outer) - 1
    size = disc_size(outer) - disc_size(inner)
    base = round(low / DEPTH_UNIT_M)
    relief = round(high / DEPTH_UNIT_M) - base + 1
    kind: Any = np.int32 if relief * size < 2**31 else np.int64
    shape = (rows + 2 * reach, cols + 2 * reach + 1)
    prefix: NDArray[Any] = np.empty(shape, kind)
    unknown = np.empty(shape if gaps else (0, 0), np.int32)
    _depth_sums(depth, edge - reach, float(base), prefix, unknown)
    total: NDArray[Any] = np.empty(out.shape, kind)
    ring_sums(prefix, outer, inner, total)
    blind = np.zeros(out.shape if gaps else (0, 0), np.int32)
    if gaps:
        ring_sums(unknown, outer, inner, blind)
    _difference(depth, (edge, base, size), total, blind, out)


@compiled
def _depth_sums(depth: Depths, first: int, base: float, prefix: NDArray[np.int64], unknown: NDArray[np.int32]) -> None:
    """Running sums along rows of depth above the base, in depth units; unknown ones count as 0 and are counted."""
    rows, cols = prefix.shape[0], prefix.shape[1] - 1
    units = np.empty(cols, np.int32)
    for i in range(rows):
        row = depth[i + first, first : first + cols]
        for j in range(cols):
            z = np.float64(row[j])
            units[j] = np.int32(0 if np.isnan(z) else np.rint(z * 1e4) - base)
        total = 0
        prefix[i, 0] = 0
        for j in range(cols):
            total += units[j]
            prefix[i, j + 1] = total
        if unknown.size:
            count = 0
            unknown[i, 0] = 0
            for j in range(cols):
                count += np.isnan(row[j])
                unknown[i, j + 1] = count


@compiled
def _difference(
    depth: Depths,
    frame: tuple[int, int, int],
    total: NDArray[np.int64],
    blind: NDArray[np.int32],
    out: NDArray[np.float32],
) -> None:
    """Mean of the ring minus the cell [m]; the numerator is an exact integer, whatever the base of the block."""
    rows, cols = out.shape
    edge, base, size = frame
    metres = 1e-4 / size
    for i in range(rows):
        for j in range(cols):
            z = np.float64(depth[i + edge, j + edge])
            centre = np.rint(z * 1e4) - base
            out[i, j] = (np.float64(total[i, j]) - size * centre) * metres
        if blind.size:
            for j in range(cols):
                out[i, j] = np.nan if blind[i, j] > 0 else out[i, j]
