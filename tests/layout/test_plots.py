"""Plots: apart, on allowed bottom, robust, never fewer than picking by score."""

import itertools
import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import Polygon
from shapely.geometry import Point

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.circles import find_circles
from sitekit.layout.placing import Placer, apart
from sitekit.layout.plots import EFFORT, PlotSearch
from sitekit.layout.robustness import disc_half_widths, robust_share
from sitekit.layout.shelves import Bottom, rectangle_field, shelf_choice
from sitekit.layout.tape import direction

TRADE = {r["id"]: r for r in json.loads(shared_file("reference/trade_layout.json").read_text("utf-8"))}


def fragments(seed=3, side=120, share=0.5, rough=0.5):
    draw = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(draw.standard_normal((side, side)), 8)
    score = ndimage.gaussian_filter(draw.standard_normal((side, side)), 6)
    score = (score - score.min()) / (score.max() - score.min())
    score = 0.2 + 0.8 * ((1 - rough) * score + rough * draw.random((side, side)))
    return Bottom(field > np.quantile(field, 1 - share), score.astype(np.float32), 1000.0, 5000.0, 1.0)


def find_plots(bottom, *, wanted=None, effort=EFFORT, **shape):
    return PlotSearch(bottom, **shape).find(wanted, effort=effort)


def open_bottom(rows, columns, cell=1.0):
    return Bottom(np.ones((rows, columns), bool), np.full((rows, columns), 0.5, np.float32), 0.0, rows * cell, cell)


def outlines(plots):
    return [Polygon(np.column_stack(plots.outline(k))) for k in range(len(plots))]


def exact_share(bottom, outline):
    """Area of allowed cells under an outline, cell by cell, by polygon clipping."""
    west, south, east, north = outline.bounds
    row, column = np.mgrid[
        math.floor(bottom.north_m - north) : math.ceil(bottom.north_m - south),
        math.floor(west - bottom.west_m) : math.ceil(east - bottom.west_m),
    ]
    rows, columns = bottom.allowed.shape
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    inside &= bottom.allowed[row.clip(0, rows - 1), column.clip(0, columns - 1)]
    x, y = bottom.west_m + column[inside], bottom.north_m - row[inside]
    return shapely.area(shapely.intersection(outline, shapely.box(x, y - 1, x + 1, y))).sum() / outline.area


@pytest.fixture(scope="module")
def found():
    return find_plots(fragments(), length_m=12, width_m=4, gap_m=2, effort=40)


def test_every_two_plots_keep_their_gap(found):
    """Two teams would work in one another's plot."""
    shapes = outlines(found)
    assert len(shapes) > 30
    for k, one in enumerate(shapes):
        for other in shapes[k + 1 :]:
            assert one.distance(other) >= 2 - 1e-6


def test_every_plot_has_its_share_of_allowed_bottom(found):
    """A plot would lie on sand: the share is checked by clipping cells, which the search does not do."""
    shares = [exact_share(fragments(), shape) for shape in outlines(found)]
    assert min(shares) >= 0.9 - 0.01
    assert found.allowed_share == pytest.approx(shares, abs=0.02)


def test_the_tape_runs_down_the_middle(found):
    """Pins would stand at a corner."""
    for k, shape in enumerate(outlines(found)):
        line = found.line(k)
        assert line.length_m == 12
        middle = 0.5 * (line.pin_x_m + line.second_pin[0]), 0.5 * (line.pin_y_m + line.second_pin[1])
        assert shape.centroid.distance(Point(middle)) < 1e-6
        assert shape.boundary.distance(Point(line.pin_x_m, line.pin_y_m)) < 1e-6
        assert shape.is_valid
        assert shape.area == pytest.approx(48)


@pytest.mark.parametrize("gap", [0.0, 2.0, 10.0])
def test_never_fewer_plots_than_picking_by_score(gap):
    """A greedy script would place more."""
    bottom = fragments(seed=9)
    settings_ = {"length_m": 12, "width_m": 4, "gap_m": gap, "pin_error_m": 0.0, "prefer_robust": False}
    fields = [
        rectangle_field(
            bottom, bearing_grid_deg=float(b), length_m=12, width_m=4, least_allowed_share=0.9, pin_error_m=0.0,
            prefer_robust=False, least_robust_share=0.0,
        )
        for b in range(0, 180, 15)
    ]  # fmt: skip
    placer = Placer(fields, length_m=12, width_m=4, gap_m=gap, bottom=bottom, least_allowed_share=0.9)
    ordered = placer.candidates()
    greedy = placer.pick(ordered, most=len(ordered))
    ours = find_plots(bottom, effort=20, **settings_)
    assert len(ours) > len(greedy)
    assert len(ours) <= ours.bound
    some = len(greedy) // 3
    best = find_plots(bottom, effort=20, wanted=some, **settings_)
    assert len(best) == some
    assert best.score.sum() >= placer.pick(ordered, most=some)[:, 3].sum() * 0.99


def test_open_bottom_is_filled_to_the_last_plot():
    """A 20 × 12 m rectangle holds exactly 15 plots of 4 × 4 m, or 6 with a gap of 2 m."""
    assert len(find_plots(open_bottom(12, 20), length_m=4, width_m=4, gap_m=0, bearings_deg=(0.0,))) == 15
    assert len(find_plots(open_bottom(12, 20), length_m=4, width_m=4, gap_m=2, bearings_deg=(90.0,))) == 6
    assert len(find_plots(open_bottom(3, 3), length_m=4, width_m=4, gap_m=0)) == 0


def test_the_default_plot_is_one_reading_of_the_published_array():
    """TV-068 and TV-069: 18 × 4 m, arrays 20 m apart."""
    assert "18 m x 4 m" in TRADE["TV-069"]["value"]
    assert "20 m (between arrays)" in TRADE["TV-068"]["unit"] + TRADE["TV-068"]["context"]
    plots = find_plots(open_bottom(60, 60), wanted=2)
    assert (plots.length_m, plots.width_m, len(plots)) == (18, 4, 2)
    one, two = outlines(plots)
    assert one.distance(two) >= 20 - 1e-6


def test_robust_plots_are_preferred():
    """A pin set 5 m off would put the plot on sand although a better place was there."""
    allowed = np.zeros((80, 120), bool)
    allowed[5:9, 5:60] = True  # a strip with the best score, 4 m wide
    allowed[30:70, 60:110] = True  # a wide reef
    score = np.full(allowed.shape, 0.6, np.float32)
    score[5:9] = 0.9
    bottom = Bottom(allowed, score, 0, 80, 1)
    plain = find_plots(bottom, length_m=12, width_m=4, gap_m=2, wanted=3, prefer_robust=False)
    ours = find_plots(bottom, length_m=12, width_m=4, gap_m=2, wanted=3)
    assert plain.robust_share.max() < 0.2
    assert ours.robust_share.min() == pytest.approx(1.0)
    least = find_plots(bottom, length_m=12, width_m=4, gap_m=2, prefer_robust=False, least_robust_share=0.8)
    assert len(least)
    assert least.robust_share.min() >= 0.8


def test_robust_share_of_a_half_plane_is_the_disc_segment():
    """The printed figure would not be the share of displaced copies."""
    good = np.zeros((101, 101), bool)
    good[:, :51] = True
    share = robust_share(good, disc_half_widths(5.0, step_along_m=0.25, step_across_m=0.25))
    for depth in (0.0, 1.0, 2.5, 4.0):
        column = 50 - round(depth / 0.25)
        # Share of a disc on the near side of a chord: 1 - (r² acos(h/r) - h √(r² - h²))/(π r²).
        due = 1 - (25 * math.acos(depth / 5) - depth * math.sqrt(25 - depth**2)) / (25 * math.pi)
        assert share[50, column] == pytest.approx(due, abs=0.03)
    assert share[50, 60] == 0


def test_shelves_are_exact_on_small_fields():
    """The dynamic programme would miss a better choice."""
    draw = np.random.default_rng(1)
    for _ in range(20):
        value = draw.random((1, 12)).astype(np.float32)
        value[draw.random(value.shape) < 0.3] = -1
        total, rows, columns = shelf_choice(value, along=2, across=1, gap_along=1, gap_across=0, base=0.1, weight=1.0)
        best = 0.0
        for mask in range(2**12):
            at = [k for k in range(12) if mask >> k & 1]
            if all(b - a >= 3 for a, b in itertools.pairwise(at)) and all(value[0, k] >= 0 for k in at):
                best = max(best, sum(0.1 + float(value[0, k]) for k in at))
        assert total == pytest.approx(best, abs=1e-6)
        assert sum(0.1 + float(value[r, c]) for r, c in zip(rows, columns, strict=True)) == pytest.approx(
            best, abs=1e-6
        )


@settings(max_examples=60, deadline=None)
@given(st.floats(-8, 8), st.floats(-8, 8), st.floats(0, 180), st.floats(0, 180), st.floats(0, 4))
def test_the_gap_test_agrees_with_polygons(dx, dy, first, second, gap):
    """Crossing or nearly touching plots would pass."""

    def shape(x, y, bearing):
        s, c = direction(bearing)
        corners = [(x + u * s + v * c, y + u * c - v * s) for u, v in ((3, 1), (3, -1), (-3, -1), (-3, 1))]
        return Polygon(corners)

    distance = shape(0, 0, first).distance(shape(dx, dy, second))
    got = apart(0.0, 0.0, np.array(direction(first)), dx, dy, np.array(direction(second)), np.array([3.0, 1.0, gap]))
    if abs(distance - gap) > 1e-6:
        assert got == (distance > gap)


def test_circles_keep_their_gap_and_their_share():
    """Circular plots would overlap or lie on sand."""
    bottom = fragments(seed=4)
    plots = find_circles(bottom, radius_m=3, gap_m=1)
    points = np.column_stack([plots.centre_x_m, plots.centre_y_m])
    r = np.hypot(*(points[:, None] - points).transpose(2, 0, 1))
    np.fill_diagonal(r, np.inf)
    assert len(plots) > 30
    assert r.min() >= 7 - 1e-9
    assert [exact_share(bottom, shape) for shape in outlines(plots)] == pytest.approx(plots.allowed_share, abs=0.06)
    assert len(plots) <= plots.bound
    assert plots.line(0).length_m == 3
    few = find_circles(bottom, radius_m=3, gap_m=1, wanted=4)
    assert len(few) == 4
    assert few.robust_share.mean() > plots.robust_share.mean()


def test_more_room_never_costs_plots_and_the_same_input_gives_the_same_plots():
    """A re-run would move the plots, or a larger reef hold fewer."""
    bottom = fragments(seed=6, side=90)
    more = Bottom(bottom.allowed | fragments(seed=7, side=90).allowed, bottom.score, 1000.0, 5000.0, 1.0)
    one, two, wide = (find_plots(b, length_m=9, width_m=4, gap_m=1, effort=10) for b in (bottom, bottom, more))
    assert (one.centre_x_m == two.centre_x_m).all()
    assert len(wide) > len(one)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"length_m": 0.0}, "plots.length_m"),
        ({"gap_m": -1.0}, "plots.gap_m"),
        ({"least_allowed_share": 90.0}, "Give a share"),
        ({"bearings_deg": (180.0,)}, "below 180"),
        ({"pin_error_m": math.nan}, "plots.pin_error_m"),
    ],
)
def test_settings_out_of_range_are_refused(wrong, words):
    """A percent taken for a share would accept nothing, silently."""
    with pytest.raises(InputFault, match=words):
        find_plots(open_bottom(10, 10), **wrong)


def test_other_refusals_name_what_was_due():
    """Rasters of two shapes, a huge raster or a circle without radius would fail far from the cause."""
    with pytest.raises(InputFault, match="two rasters of one shape"):
        Bottom(np.ones((2, 2), bool), np.ones((2, 3), np.float32), 0, 0, 1)
    big = np.broadcast_to(np.True_, (10_000, 10_000))
    huge = Bottom(big, np.broadcast_to(np.float32(1), big.shape), 0, 0, 1)
    with pytest.raises(InputFault, match="one candidate at a time"):
        find_plots(huge)
    with pytest.raises(InputFault, match=r"plots\.radius_m"):
        find_circles(open_bottom(10, 10), radius_m=0)
