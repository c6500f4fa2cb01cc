"""Tiles that coming blocks see again in their halo, kept so that each is unpacked once.

Blocks come in row order. Of a tile whose own block was read only the last rows and columns are seen again (by the row
below and by the block to its right); the row below is read ahead, because the halo reaches into it. So about one row of
tiles is held. What is not held is read again: another order of blocks costs time, never a wrong cell.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Read = Callable[[int, int, int, int], NDArray[Any]]
_Key = tuple[int, int]  # row and column of a tile among the tiles
_Piece = tuple[int, int, NDArray[Any]]  # first row, first column, cells


def kept_bytes(width: int, tile: int, halo: int, cell_bytes: int) -> int:
    """Bytes that `KeptTiles` holds at most: a row of tiles and two more, and the edges of as many."""
    across = -(-width // tile) + 2
    return across * tile * (tile + 2 * halo) * cell_bytes


class KeptTiles:
    """Windows of one raster, put together from its tiles.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns of the raster.
    tile : int
        Cells on a side of a tile.
    halo : int
        Cells that a block sees beyond its tile on each side, 1 to `tile`.
    read : callable (first row, first column, end row, end column) -> array
        Reads a window of the raster.
    """

    def __init__(self, shape: tuple[int, int], tile: int, halo: int, read: Read) -> None:
        self.shape, self.tile, self.halo, self.read = shape, tile, halo, read
        self.whole: dict[_Key, _Piece] = {}  # tiles whose own block comes yet
        self.last_rows: dict[_Key, _Piece] = {}  # of tiles whose block was read
        self.last_cols: dict[_Key, _Piece] = {}

    def around(self, row: int, col: int) -> NDArray[Any]:
        """Return the tile that begins at a cell together with its halo, as far as the raster reaches."""
        here = row // self.tile, col // self.tile
        self._forget_before(here)
        r0, c0 = max(row - self.halo, 0), max(col - self.halo, 0)
        r1 = min(row + self.tile + self.halo, self.shape[0])
        c1 = min(col + self.tile + self.halo, self.shape[1])
        out = np.empty((r1 - r0, c1 - c0), self._whole(here).dtype)
        for i in range(r0 // self.tile, (r1 - 1) // self.tile + 1):
            for j in range(c0 // self.tile, (c1 - 1) // self.tile + 1):
                if (i, j) > here and (i, j) not in self.last_rows:
                    self._whole((i, j))  # its own block comes yet
                top, left = max(r0, i * self.tile), max(c0, j * self.tile)
                end, right = min(r1, (i + 1) * self.tile), min(c1, (j + 1) * self.tile)
                out[top - r0 : end - r0, left - c0 : right - c0] = self._piece((i, j), top, left, end, right)
        self._keep_edges(here)
        return out

    def _whole(self, key: _Key) -> NDArray[Any]:
        if key not in self.whole:
            row, col = key[0] * self.tile, key[1] * self.tile
            end, right = min(row + self.tile, self.shape[0]), min(col + self.tile, self.shape[1])
            self.whole[key] = row, col, self.read(row, col, end, right)
        return self.whole[key][2]

    def _piece(self, key: _Key, top: int, left: int, end: int, right: int) -> NDArray[Any]:
        for held in (self.whole, self.last_rows, self.last_cols):
            if key in held:
                row, col, cells = held[key]
                inside = top >= row and left >= col and end <= row + cells.shape[0] and right <= col + cells.shape[1]
                if inside:
                    return cells[top - row : end - row, left - col : right - col]
        return self.read(top, left, end, right)

    def _keep_edges(self, key: _Key) -> None:
        row, col, cells = self.whole.pop(key)
        rows, cols = max(cells.shape[0] - self.halo, 0), max(cells.shape[1] - self.halo, 0)
        self.last_rows[key] = row + rows, col, cells[rows:].copy()
        self.last_cols[key] = row, col + cols, cells[:, cols:].copy()

    def _forget_before(self, here: _Key) -> None:
        """Drop what neither this block nor a later one sees."""
        i, j = here
        for held in (self.whole, self.last_rows, self.last_cols):
            for old in [key for key in held if key[0] < i - 1]:
                del held[old]
        self.last_cols.pop((i, j - 2), None)
        self.last_rows.pop((i - 1, j - 2), None)
