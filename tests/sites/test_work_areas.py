"""Work areas: few corners, no unit cut off, cut back where no work is allowed, numbered as a boat goes round."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.sites.sections import section_line
from sitekit.sites.work_areas import around, clipped, corner_count, corner_order, fewer_corners, work_areas

SPOTS = st.lists(
    st.tuples(st.floats(0, 120), st.floats(0, 120), st.floats(0, math.pi)), min_size=1, max_size=8, unique=True
)


def plot(x: float, y: float, turn: float = 0.0, length: float = 18.0) -> shapely.Polygon:
    a = np.array([x, y])
    b = a + length * np.array([math.cos(turn), math.sin(turn)])
    return shapely.LineString([a, b]).buffer(2.0, cap_style="flat")


@given(SPOTS, st.floats(0.1, 8), st.floats(0, 30))
def test_every_plot_stands_in_one_work_area_wherever_its_pin_falls(
    spots: list[tuple[float, float, float]], reach: float, join: float
) -> None:
    """A unit outside the permitted outline is planted without a permit."""
    plots = [plot(*s) for s in spots]
    found = work_areas(plots, reach_m=reach, join_m=join)
    assert sorted(k for _, members in found for k in members) == list(range(len(plots)))
    for outline, members in found:
        for k in members:
            assert outline.buffer(1e-6).contains(
                plots[k].buffer(reach, join_style="mitre", mitre_limit=1.0).buffer(-1e-6)
            )


@given(SPOTS, st.floats(0, 30))
def test_work_areas_do_not_overlap(spots: list[tuple[float, float, float]], join: float) -> None:
    """Sea asked for twice is counted twice against the permitted area."""
    found = [outline for outline, _ in work_areas([plot(*s) for s in spots], reach_m=5.2, join_m=join)]
    assert shapely.union_all(found).area == pytest.approx(sum(o.area for o in found))


@given(SPOTS, st.integers(4, 8))
def test_work_areas_have_few_corners(spots: list[tuple[float, float, float]], most: int) -> None:
    """A list of fifty corners is neither read nor steered round."""
    for outline, _ in work_areas([plot(*s) for s in spots], reach_m=5.2, join_m=20, most_corners=most):
        assert 4 <= corner_count(outline) <= most
        assert outline.is_valid


def test_plots_far_apart_have_work_areas_of_their_own() -> None:
    """One outline over 300 m of untouched reef asks an office for too much."""
    found = work_areas([plot(0, 0), plot(25, 0), plot(300, 0)], reach_m=5, join_m=20)
    assert [members for _, members in found] == [[0, 1], [2]]


def test_one_plot_gives_a_rectangle_wider_by_the_reach() -> None:
    """18 × 4 m with 5 m round it is 28 × 14 m."""
    ((outline, _),) = work_areas([plot(0, 0)], reach_m=5, join_m=20)
    assert corner_count(outline) == 4
    assert outline.area == pytest.approx(28 * 14)


@given(st.integers(3, 16), st.integers(4, 12))
def test_fewer_corners_hold_what_they_replace(corners: int, most: int) -> None:
    """A corner taken off inwards cuts reef off a work area; the area added is that of the triangles, no more."""
    hull = shapely.Point(0, 0).buffer(50, quad_segs=corners)
    found = fewer_corners(hull, most)
    assert found.buffer(1e-6).contains(hull)
    assert corner_count(found) <= most
    assert (
        found.area <= 1.6 * hull.area
    )  # the square round a circle has 4 / π = 1.27 of its area; one by one costs more


def test_a_square_keeps_its_four_corners() -> None:
    """Fewer would double its area."""
    square = shapely.box(0, 0, 10, 10)
    assert fewer_corners(square, 8).equals(square)


@given(st.floats(-30, 130), st.floats(0.0, 0.5))
def test_clipping_stays_inside_what_is_allowed_and_keeps_the_plots_there(edge: float, margin: float) -> None:
    """An outline over a border asks for sea that nobody may give; a plot cut off is one nobody asked for."""
    plots = shapely.union_all([plot(20, 20), plot(60, 50, 1.0)])
    ((outline, _),) = work_areas(list(plots.geoms), reach_m=5, join_m=60)
    allowed = shapely.Polygon([(edge, -100), (edge + 40, 200), (-300, 200), (-300, -100)])
    found, whole = clipped(outline, plots, allowed, margin_m=margin)
    assert allowed.buffer(1e-6).contains(found) or found.is_empty
    assert whole == found.buffer(1e-6).contains(plots)
    inside = plots.intersection(allowed.buffer(-margin - 1e-6))
    assert inside.difference(found.buffer(1e-3)).is_empty


def test_fewer_corners_far_from_a_border_leave_the_room_round_plots() -> None:
    """A corner drawn in to save a line of the table took the error of pins away from plots 50 m from any border."""
    outline = shapely.Polygon([(0, 0), (100, 0), (100, 60), (50, 65), (0, 60)])
    own = plot(45, 57.0, 0.0, 10.0)
    allowed = shapely.box(-10, -10, 98, 100)
    room = own.buffer(5.0)
    assert outline.contains(room)
    found, whole = clipped(outline, own, allowed, margin_m=0.14, reach_m=5.0)
    assert whole
    assert room.difference(found).area < 1e-3
    assert not clipped(outline, own, allowed, margin_m=0.14)[0].contains(room)  # the corner would go


def test_nothing_to_clip_leaves_the_outline_as_it_is() -> None:
    """A border far away must not move a corner."""
    outline = shapely.box(0, 0, 30, 20)
    assert clipped(outline, outline, None, margin_m=1)[0] is outline
    assert clipped(outline, outline, outline.buffer(50), margin_m=1)[0] is outline


@given(st.integers(0, 9), st.integers(6, 16))
def test_areas_to_scout_hold_their_cells_in_few_corners(seed: int, most: int) -> None:
    """A stair of 50 m cells has hundreds of corners; an outline that loses a cell loses a place to look at."""
    rng = np.random.default_rng(seed)
    cells = [shapely.box(50 * x, 50 * y, 50 * x + 50, 50 * y + 50) for x, y in rng.integers(0, 12, (40, 2))]
    shape = max(shapely.get_parts(shapely.union_all(cells)), key=lambda p: p.area)
    found = around(shape, most, 40.0)
    assert found.buffer(1e-6).contains(shape)
    assert corner_count(found) <= max(most, corner_count(shape.convex_hull))


@given(st.integers(0, 20))
def test_corners_are_numbered_clockwise_from_the_most_northern(seed: int) -> None:
    """A boat that goes round a list of corners must not cross its own way."""
    points = np.random.default_rng(seed).uniform(0, 100, (9, 2))
    hull = shapely.MultiPoint(points).convex_hull
    (ring,) = corner_order(hull)
    assert ring[0][1] == max(y for _, y in ring)
    assert not shapely.LinearRing(ring).is_ccw
    assert shapely.Polygon(ring).equals(hull)


def test_empty_or_negative_input_is_refused() -> None:
    """A work area without plots would be asked for in vain."""
    with pytest.raises(InputFault, match=r"0 plots, reach 5 m.*at least one plot"):
        work_areas([], reach_m=5, join_m=1)
    with pytest.raises(InputFault, match="reach -1 m"):
        work_areas([plot(0, 0)], reach_m=-1, join_m=1)


def test_a_section_meets_most_plots_and_runs_beyond_the_outline() -> None:
    """A section that shows no plot explains nothing; the western end is A on every sheet."""
    plots = [plot(0, 0), plot(40, 0), plot(15, 40)]
    axes = [(np.array([15.0, 40.0]), np.array([33.0, 40.0]))]
    outline = work_areas(plots, reach_m=5, join_m=60)[0][0]
    line = section_line(outline, plots, axes)
    cut = shapely.LineString(line)
    assert sum(cut.intersection(p).length > 1 for p in plots) == 2
    assert line[0, 0] <= line[1, 0]
    assert not outline.covers(shapely.Point(*line[0]))
    assert not outline.covers(shapely.Point(*line[1]))


def test_a_section_without_plots_follows_the_longer_side() -> None:
    """Areas to scout have no tape lines."""
    line = section_line(shapely.box(0, 0, 100, 20))
    assert line[:, 1] == pytest.approx([10, 10])
    assert np.ptp(line[:, 0]) == pytest.approx(116)  # 8 % beyond on each side
