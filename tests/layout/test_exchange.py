"""Exchange of plots: jammed ones make room, the gap and the share hold, every start in the way is known."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import Polygon

from sitekit.layout.exchange import exchanged
from sitekit.layout.placing import Placer
from sitekit.layout.shelves import Bottom, rectangle_field
from sitekit.layout.tape import direction


def placer(allowed, bearings, length, width, gap, share):
    score = np.random.default_rng(5).random(allowed.shape).astype(np.float32)
    bottom = Bottom(allowed, score, 500.0, 900.0, 1.0)
    fields = [
        rectangle_field(
            bottom, bearing_grid_deg=b, length_m=length, width_m=width, least_allowed_share=share, pin_error_m=0.0,
            prefer_robust=False, least_robust_share=0.0,
        )
        for b in bearings
    ]  # fmt: skip
    return Placer(fields, length_m=length, width_m=width, gap_m=gap, bottom=bottom, least_allowed_share=share)


def outline(row, bearings, length, width):
    s, c = direction(bearings[int(row[2])])
    u, v = np.array([-1, -1, 1, 1]) * length / 2, np.array([-1, 1, 1, -1]) * width / 2
    return Polygon(np.column_stack([row[0] + u * s + v * c, row[1] + u * c - v * s]))


def moved(on, chosen, steps=2_000, shaken=2_000):
    return exchanged(on, chosen, steps=steps, shaken=shaken, draw=np.random.default_rng(1))


def test_two_jammed_plots_make_room_for_a_third():
    """On a strip of 30 m two plots of 10 m stand at 4 m and at 16 m: a third fits only after both were moved."""
    on = placer(np.ones((4, 30), bool), (90.0,), 10.0, 4.0, 0.0, 1.0)
    every = on.candidates()
    jammed = every[[int(np.argmin(np.hypot(every[:, 0] - x, every[:, 1] - 898.0))) for x in (509.0, 521.0)]]
    assert len(on.pick(every, most=99, kept=jammed)) == 2
    assert sorted(moved(on, jammed)[:, 0]) == pytest.approx([505.0, 515.0, 525.0])


@pytest.mark.parametrize("gap", [0.0, 2.5])
def test_jammed_squares_are_laid_side_by_side(gap):
    """A start that is wrongly held to be in the way would keep the closest arrangement from being found."""
    side = 3 * 4 + math.ceil(2 * gap)
    on = placer(np.ones((side, side), bool), (0.0, 30.0, 90.0), 4.0, 4.0, gap, 1.0)
    every = on.candidates()
    middle = every[[int(np.argmin(np.hypot(every[:, 0] - 500 - side / 2 - 1, every[:, 1] - 900 + side / 2)))]]
    start = on.pick(every, most=999, kept=middle)
    assert len(start) < 9
    assert len(moved(on, start, 20_000, 20_000)) == 9


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.integers(0, 179), min_size=1, max_size=4, unique=True),
    st.sampled_from([(9.0, 3.0), (5.0, 5.0), (3.0, 7.0)]),
    st.sampled_from([0.0, 0.7, 3.0, 11.0]),
    st.sampled_from([0.6, 0.9, 1.0]),
    st.integers(0, 5),
)
def test_gap_and_share_hold_and_none_is_lost(bearings, size, gap, share, seed):
    """Any bearings, sizes, gaps and shares: polygons tell the distance, cells by clipping the share."""
    bearings = [float(b) for b in bearings]
    field = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal((45, 45)), 5.0)
    on = placer(field > np.quantile(field, 0.4), bearings, *size, gap, share)
    start = on.pick(on.candidates(), most=999)
    got = moved(on, start, 600, 400)
    assert len(got) >= len(start)
    shapes = [outline(row, bearings, *size) for row in got]
    for one, other in itertools.combinations(shapes, 2):
        assert one.distance(other) >= gap - 1e-6
        assert one.intersection(other).area < 1e-6
    allowed = on.ground[0]
    row, column = np.nonzero(allowed)
    cells = shapely.union_all(shapely.box(500 + column, 899 - row, 501 + column, 900 - row))
    for shape in shapes:
        assert shape.intersection(cells).area / shape.area >= share - 0.03


def test_the_last_steps_raise_the_quality():
    """Plots would stay where chance left them."""
    on = placer(np.ones((40, 40), bool), (0.0, 45.0, 90.0, 135.0), 8.0, 4.0, 2.0, 1.0)
    start = on.pick(on.candidates()[::-1], most=999)
    by_count, by_quality = moved(on, start), moved(on, start, 4_000, 2_000)
    assert len(by_quality) >= len(by_count) > len(start)
    assert by_quality[:, 3].mean() > by_count[:, 3].mean()
