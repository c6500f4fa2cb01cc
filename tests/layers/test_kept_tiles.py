"""Windows put together from kept tiles equal the raster, in any order of blocks, and each tile is read once."""

from collections import Counter

import numpy as np
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.layers.grid import Grid
from sitekit.layers.kept_tiles import KeptTiles, kept_bytes
from sitekit.layers.tiled import TILE, Block, Input, Output, Reader, open_output

SIDE = 8


def opened(rows, cols, halo):
    cells = np.arange(rows * cols, dtype=np.float32).reshape(rows, cols)
    reads = Counter()

    def read(r0, c0, r1, c1):
        reads[r0, c0, r1, c1] += 1
        return cells[r0:r1, c0:c1].copy()

    return cells, reads, KeptTiles(cells.shape, SIDE, halo, read)


def due(cells, row, col, halo):
    return cells[max(row - halo, 0) : row + SIDE + halo, max(col - halo, 0) : col + SIDE + halo]


def held_bytes(tiles):
    return sum(p[2].nbytes for d in (tiles.whole, tiles.last_rows, tiles.last_cols) for p in d.values())


@pytest.mark.parametrize("halo", [1, 3, 8])
@pytest.mark.parametrize(("rows", "cols"), [(8, 8), (37, 61), (5, 70), (64, 3), (40, 40)])
def test_in_row_order_each_tile_is_read_once(rows, cols, halo):
    cells, reads, tiles = opened(rows, cols, halo)
    most = 0
    for row in range(0, rows, SIDE):
        for col in range(0, cols, SIDE):
            assert np.array_equal(tiles.around(row, col), due(cells, row, col, halo))
            most = max(most, held_bytes(tiles))
    assert max(reads.values()) == 1
    assert len(reads) == -(-rows // SIDE) * -(-cols // SIDE)
    assert most <= kept_bytes(cols, SIDE, halo, 4)


@given(st.integers(1, 40), st.integers(1, 40), st.integers(1, SIDE), st.randoms(use_true_random=False))
def test_any_order_gives_the_same_cells(rows, cols, halo, chance):
    cells, _, tiles = opened(rows, cols, halo)
    blocks = [(r, c) for r in range(0, rows, SIDE) for c in range(0, cols, SIDE)]
    for first in range(0, len(blocks), 3):  # as threads may take them
        some = blocks[first : first + 3]
        chance.shuffle(some)
        for row, col in some:
            assert np.array_equal(tiles.around(row, col), due(cells, row, col, halo))


def test_a_reader_that_keeps_tiles_gives_the_same_windows(tmp_path):
    grid = Grid(CRS.from_epsg(32620), 400_000.0, 2_000_000.0, 1.0, (TILE + 90, 2 * TILE + 7))
    cells = np.random.default_rng(3).random(grid.shape).astype(np.float32)
    path = tmp_path / "depth.tif"
    with open_output(path, Output(path, "float32", (("depth", "m"),), float("nan")), grid) as file:
        file.write(cells, 1)
    with Reader("depth", Input(path), grid) as plain, Reader("depth", Input(path), grid) as keeping:
        assert keeping.keep(5, 1e9) == kept_bytes(grid.shape[1], TILE, 5, 4)
        for tile in grid.tiles(TILE):
            block = Block(*tile, 5)
            assert np.array_equal(keeping.read(block), plain.read(block), equal_nan=True)


def test_nothing_is_kept_without_halo_room_or_tiles(tmp_path):
    grid = Grid(CRS.from_epsg(32620), 400_000.0, 2_000_000.0, 1.0, (600, 600))
    path, strips = tmp_path / "tiles.tif", tmp_path / "strips.tif"
    cells = np.ones(grid.shape, np.float32)
    with open_output(path, Output(path, "float32", (("depth", "m"),)), grid) as file:
        file.write(cells, 1)
    shape = {"width": 600, "height": 600, "count": 1, "dtype": "float32"}
    with rasterio.open(strips, "w", driver="GTiff", transform=grid.transform, crs=grid.crs.to_wkt(), **shape) as file:
        file.write(cells, 1)
    with Reader("tiles", Input(path), grid) as tiles, Reader("strips", Input(strips), grid) as other:
        assert tiles.keep(0, 1e9) == tiles.keep(5, 1e5) == tiles.keep(TILE + 1, 1e9) == other.keep(5, 1e9) == 0
        assert tiles.tiles is None
