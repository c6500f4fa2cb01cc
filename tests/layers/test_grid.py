"""The grid of a plan: its lines, its cells, and what is no grid."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.errors import InputFault
from sitekit.layers.grid import MAX_CELLS, Grid, grid_for

UTM = CRS.from_epsg(32620)
EAST, NORTH = st.floats(200_000, 800_000), st.floats(0, 9_000_000)
SIDE = st.sampled_from([0.1, 0.25, 1.0, 3.0, 10.0])


def test_row_0_lies_in_the_north_and_centres_half_a_cell_in():
    """A raster upside down, or half a cell off."""
    grid = Grid(UTM, 100.0, 200.0, 10.0, (2, 3))
    east, north = grid.centres()
    assert east.tolist() == [105.0, 115.0, 125.0]
    assert north.tolist() == [195.0, 185.0]
    assert grid.bounds == (100.0, 180.0, 130.0, 200.0)
    assert tuple(grid.transform)[:6] == (10.0, 0.0, 100.0, 0.0, -10.0, 200.0)


@given(EAST, NORTH, st.floats(5, 900), st.floats(5, 900), SIDE)
def test_grid_covers_its_box_by_less_than_a_cell(west, south, wide, high, cell):
    """A rim of the area cut off, or rows of nothing around it."""
    box = (west, south, west + wide, south + high)
    got = grid_for(box, UTM, cell).bounds
    slack = 1e-5 * cell
    assert got[0] <= box[0] + slack
    assert got[1] <= box[1] + slack
    assert got[2] >= box[2] - slack
    assert got[3] >= box[3] - slack
    assert all(abs(a - b) < cell * (1 + 1e-5) for a, b in zip(got, box, strict=True))


@given(EAST, NORTH, st.floats(0, 50), SIDE)
def test_grids_of_two_areas_share_their_lines(west, south, shift, cell):
    """Cells of last year's plan that lie between those of this year's."""
    one = grid_for((west, south, west + 50, south + 50), UTM, cell)
    two = grid_for((west + shift, south + shift, west + 90, south + 90), UTM, cell)
    cells = (two.west - one.west) / cell
    assert cells == pytest.approx(round(cells), abs=1e-4)


def test_box_on_the_lines_stays_as_it_is():
    """A row more through rounding: 0.3 / 0.1 is 2.9999999999999996."""
    assert grid_for((0.3, 0.6, 0.9, 1.2), UTM, 0.1).shape == (6, 6)


@given(st.integers(0, 6), st.integers(0, 8))
def test_the_centre_of_a_cell_lies_in_that_cell(row, col):
    """Rows and columns swapped, or counted from the south."""
    grid = Grid(UTM, 500_000.0, 2_000_000.0, 2.5, (7, 9))
    east, north = grid.centres()
    got = grid.cell_of(east[col : col + 1], north[row : row + 1])
    assert (int(got[0][0]), int(got[1][0])) == (row, col)
    assert grid.holds(*got).all()


def test_places_outside_are_not_held():
    """A negative index read from the other side."""
    grid = Grid(UTM, 0.0, 10.0, 1.0, (10, 10))
    row, col = grid.cell_of(np.array([-0.5, 10.5, 5.0, 5.0]), np.array([5.0, 5.0, 10.5, -0.5]))
    assert not grid.holds(row, col).any()


def test_tiles_cover_each_cell_once():
    """A seam without an owner."""
    grid = Grid(UTM, 0.0, 0.0, 1.0, (13, 11))
    count = np.zeros(grid.shape, int)
    for row, col, rows, cols in grid.tiles(4):
        count[row : row + rows, col : col + cols] += 1
        assert grid.window(row, col, (rows, cols)).bounds == (col, -row - rows, col + cols, -row)
    assert (count == 1).all()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"crs": CRS.from_epsg(4326)}, r"grid\.crs: WGS 84; due: a projected system in metres. Set plan\.crs"),
        ({"crs": CRS.from_epsg(2263)}, r"ftUS.*due: a projected system in metres"),
        ({"cell": 0.0}, r"grid\.cell: 0\.0 m; due: a number above 0"),
        ({"shape": (0, 5)}, r"0 × 5 cells; due: at least one cell"),
        ({"shape": (100_000, 100_000)}, rf"due: at most {MAX_CELLS} cells. Use a larger plan\.cell_m"),
    ],
)
def test_what_is_no_grid_is_refused(more, said):
    """Degrees or feet taken for metres, or memory asked for without end."""
    given_ = {"crs": UTM, "west": 0.0, "north": 0.0, "cell": 1.0, "shape": (5, 5), **more}
    with pytest.raises(InputFault, match=said):
        Grid(**given_)


@pytest.mark.parametrize("box", [(5, 0, 5, 9), (5, 0, 1, 9), (0, 0, float("inf"), 9)])
def test_an_empty_box_is_refused(box):
    """A grid of one cell made up from nothing."""
    with pytest.raises(InputFault, match="due: west < east and south < north"):
        grid_for(box, UTM, 1.0)
    with pytest.raises(InputFault, match="due: a number above 0"):
        grid_for((0, 0, 1, 1), UTM, -1.0)
