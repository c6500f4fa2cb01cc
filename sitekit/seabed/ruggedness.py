"""Ruggedness: how much the unit normals of the cells around a cell disagree."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.seabed.gradient import gradient
from sitekit.seabed.windows import disc_size, ring_sums

Depths = NDArray[np.float32]


def vector_ruggedness(
    depth: Depths, surface: tuple[float, int, bool], half_widths: NDArray[np.int64], out: NDArray[np.float32]
) -> None:
    """Fill `out` with 1 − |Σ n| / N over unit normals n of a disc of N cells (Sappington et al. 2007).

    Parameters
    ----------
    depth : array of float32, shape (rows + 2 edge, columns + 2 edge)
        Depth [m]; NaN = gap.
    surface : tuple of float, int, bool
        Side of a cell [m]; edge, at least the disc plus one; whether there are gaps.
    half_widths : array of int64
        The disc, from `windows.disc_half_widths`.
    out : array of float32, shape (rows, columns)
        Receives 0–1; NaN where a normal in the disc is unknown.

    Notes
    -----
    Normals are held as integers in units of 2⁻ᵏ, k ≤ 24 as large as sums over the disc in 32 bits allow; a disc of 50
    cells has k = 18, so that each component is right to 2e-6 and their mean far better. The result depends on the
    disc alone, never on the block.
    """
    cell, edge, gaps = surface
    widths = half_widths
    size = disc_size(widths)
    scale = float(1 << min(24, ((2**31 - 1) // size).bit_length() - 1))  # a sum over the window fits in 32 bits
    rows, cols = out.shape
    reach = len(widths) - 1
    shape = (rows + 2 * reach, cols + 2 * reach + 1)
    x, y, z = (np.empty(shape, np.int32) for _ in range(3))
    unknown = np.empty(shape if gaps else (0, 0), np.int32)
    _normals(depth, (cell, scale), edge - reach, (x, y, z, unknown))
    none = np.empty(0, np.int64)
    sums = [np.empty(out.shape, np.int32) for _ in range(3)]
    for prefix, total in zip((x, y, z), sums, strict=True):
        ring_sums(prefix, widths, none, total)
    blind = np.zeros(out.shape if gaps else (0, 0), np.int32)
    if gaps:
        ring_sums(unknown, widths, none, blind)
    _resultant((sums[0], sums[1], sums[2]), blind, size * scale, out)


@compiled
def _normals(
    depth: Depths,
    size: tuple[float, float],
    first: int,
    prefixes: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
) -> None:
    """Running sums along rows of the unit normals as integers; unknown ones count as 0 and are counted."""
    px, py, pz, unknown = prefixes
    cell, scale = size
    rows, cols = px.shape[0], px.shape[1] - 1
    per_cell = 1.0 / (8.0 * cell)
    east = np.empty(cols)
    south = np.empty(cols)
    nx = np.empty(cols, np.int32)
    ny = np.empty(cols, np.int32)
    nz = np.empty(cols, np.int32)
    for i in range(rows):
        gradient(depth, i + first, first, east, south)
        for j in range(cols):
            e, s = east[j] * per_cell, south[j] * per_cell
            hidden = np.isnan(e + s)
            up = scale / np.sqrt(1.0 + (e * e + s * s))
            nx[j] = np.int32(0 if hidden else np.rint(e * up))
            ny[j] = np.int32(0 if hidden else np.rint(s * up))
            nz[j] = np.int32(0 if hidden else np.rint(up))
        a, b, c = np.int32(0), np.int32(0), np.int32(0)
        px[i, 0], py[i, 0], pz[i, 0] = a, b, c
        for j in range(cols):
            a, b, c = np.int32(a + nx[j]), np.int32(b + ny[j]), np.int32(c + nz[j])
            px[i, j + 1], py[i, j + 1], pz[i, j + 1] = a, b, c
        if unknown.size:
            count = np.int32(0)
            unknown[i, 0] = count
            for j in range(cols):
                count = np.int32(count + np.isnan(east[j] + south[j]))
                unknown[i, j + 1] = count


@compiled
def _resultant(
    sums: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
    blind: NDArray[np.int32],
    length: float,
    out: NDArray[np.float32],
) -> None:
    x, y, z = sums
    rows, cols = out.shape
    for i in range(rows):
        for j in range(cols):
            a, b, c = np.float64(x[i, j]), np.float64(y[i, j]), np.float64(z[i, j])
            rough = 1.0 - np.sqrt((a * a + b * b) + c * c) / length
            out[i, j] = max(rough, 0.0)
        if blind.size:
            for j in range(cols):
                out[i, j] = np.nan if blind[i, j] > 0 else out[i, j]
