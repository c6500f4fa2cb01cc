"""Numbers: short ways, swim order, exact tags, nothing ever given twice."""

import itertools
import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.layout.numbering import Used, give_tags, number_site, plot_name, used_tags_fault
from sitekit.layout.routes import ring_order, swim_order, visiting_order, way_length

ROUTE = json.loads(shared_file("reference/visiting_order.json").read_text("utf-8"))[0]
# The seven points of the row are the first seven of opt-spacing-12, printed in its own inputs.
POINTS = np.array(ROUTE["inputs"]["points"])


def test_the_round_trip_has_the_length_found_by_enumeration():
    """opt-route-7: the way found would be longer than the shortest."""
    x, y = POINTS.T
    order = visiting_order(x[1:], y[1:], start=(x[0], y[0]), closed=True) + 1
    whole = np.r_[0, order]
    assert way_length(x, y, whole, closed=True) == pytest.approx(ROUTE["expected"]["length"], abs=1e-9)
    due = ROUTE["expected"]["order"]
    assert [*whole.tolist(), 0] in (due, due[::-1])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 7))
def test_open_ways_are_close_to_the_shortest(seed, n):
    """Boats would criss-cross the reef."""
    draw = np.random.default_rng(seed)
    x, y = draw.random(n), draw.random(n)
    order = visiting_order(x, y, start=(0.0, 0.0))
    assert sorted(order.tolist()) == list(range(n))
    px, py = np.r_[0, x], np.r_[0, y]
    least = min(way_length(px, py, [0, *(k + 1 for k in p)]) for p in itertools.permutations(range(n)))
    assert way_length(px, py, np.r_[0, order + 1]) <= 1.15 * least + 1e-12


def test_the_way_begins_in_the_north_west_without_a_start():
    """Numbers would begin at an accidental plot."""
    assert visiting_order([5, 0, 9], [0, 9, 1])[0] == 1
    assert visiting_order([], []).size == 0
    assert visiting_order([3], [3]).tolist() == [0]


def test_the_published_array_is_swum_column_by_column():
    """TV-069: 58 m across the tape instead of 94 m along it."""
    along, offset = (v.ravel() for v in np.meshgrid(np.arange(10) * 2.0, np.arange(-2, 3) * 1.0))
    order = swim_order(along, offset, spacing_m=1.0)
    assert way_length(along, offset, order) == pytest.approx(10 * 4 + 9 * 2)
    assert along[order][:5].tolist() == [0.0] * 5
    assert offset[order][:10].tolist() == [-2, -1, 0, 1, 2, 2, 1, 0, -1, -2]


def test_rings_are_swum_outward_turning_back():
    """A diver would unwind the radius line between rings."""
    order = ring_order([1, 2, 1, 2, 1, 2], [0, 0, 120, 120, 240, 240])
    assert order.tolist() == [0, 2, 4, 5, 3, 1]


def site(plots=3, seed=1, **more):
    draw = np.random.default_rng(seed)
    x, y = draw.random(plots) * 100, draw.random(plots) * 100
    along, offset = (v.ravel() for v in np.meshgrid(np.arange(4) * 2.0, np.arange(-1, 2) * 1.0))
    plot_of = np.repeat(np.arange(plots), along.size)
    return number_site(
        "WS",
        x,
        y,
        plot_of=plot_of,
        along_m=np.tile(along, plots),
        offset_m=np.tile(offset, plots),
        spacing_m=1.0,
        **more,
    )


def test_numbers_run_through_the_site_without_gaps():
    """Sheet and tag list would disagree."""
    got = site()
    assert sorted(got.sequence.tolist()) == list(range(1, 37))
    assert [got.plot_names[k] for k in got.plot_order] == ["WS-01", "WS-02", "WS-03"]
    assert (got.sequence[got.unit_order] == np.arange(1, 37)).all()
    first = got.plot_order[0]
    assert sorted(got.sequence[first * 12 : first * 12 + 12].tolist()) == list(range(1, 13))


def test_numbers_found_in_records_are_never_given_again():
    """Two colonies on the bottom would carry one number."""
    used = Used(plots=frozenset({"WS-02", "WS-07", "other"}), sequences=frozenset({5, 40}))
    got = site(used=used)
    assert min(got.sequence) == 41
    assert [got.plot_names[k] for k in got.plot_order] == ["WS-08", "WS-09", "WS-10"]
    kept = site(kept_names={1: "WS-04"})
    assert kept.plot_names[1] == "WS-04"
    assert sorted(kept.plot_names) == ["WS-04", "WS-05", "WS-06"]


def test_the_same_plan_gives_the_same_numbers_whatever_the_row_order():
    """A re-run, or a sorted table, would renumber the reef."""
    one, two = site(), site()
    assert one.plot_names == two.plot_names
    assert (one.sequence == two.sequence).all()
    draw = np.random.default_rng(3)
    x, y = draw.random(6) * 50, draw.random(6) * 50
    turn = draw.permutation(6)
    none = {"plot_of": [], "along_m": [], "offset_m": [], "spacing_m": 1.0}
    straight = number_site("A", x, y, **none).plot_names
    shuffled = number_site("A", x[turn], y[turn], **none).plot_names
    assert tuple(straight[k] for k in turn) == shuffled


def test_circles_are_numbered_ring_by_ring():
    """Units of a circular plot would be numbered by readings that are all on the line."""
    readings = {"along_m": [2, 1, 1, 2], "offset_m": [0, 0, 0, 0], "angle_deg": [0, 0, 180, 90]}
    got = number_site("C", [0], [0], plot_of=[0, 0, 0, 0], spacing_m=1, **readings)
    assert got.sequence.tolist() == [4, 1, 2, 3]


@given(st.integers(0, 60), st.lists(st.integers(0, 99), unique=True, max_size=80), st.sets(st.integers(0, 99)))
def test_tags_follow_the_list_and_none_is_given_twice(units, hand, gone):
    """A tag would be on two colonies, or one from the records be used again."""
    tags = [f"{t:03d}" for t in hand]
    used = {f"{t:03d}" for t in gone}
    got = give_tags(["P"] * units, tags, used=used)
    given_ = [t for t in got.units if t]
    assert len(set(given_)) == len(given_)
    assert not used & set(given_)
    assert given_ == [t for t in tags if t not in used][: len(given_)]
    assert got.short == units - len(given_)


@given(st.lists(st.integers(1, 60), min_size=1, max_size=5), st.floats(0.01, 1))
def test_a_share_is_tagged_evenly_in_every_plot(sizes, share):
    """A plot would have no tagged colony to come back to (TV-109: 5 to 20 %)."""
    plots = [f"P{k}" for k, n in enumerate(sizes) for _ in range(n)]
    got = give_tags(plots, [str(k) for k in range(len(plots))], tagging="share", share=share)
    for k, n in enumerate(sizes):
        marks = [i for i, (p, t) in enumerate(zip(plots, got.units, strict=True)) if p == f"P{k}" and t]
        assert len(marks) == max(1, int(np.ceil(share * n - 1e-9)))
        if len(marks) > 1:
            assert np.ptp(np.diff(marks)) <= 1


def test_plot_tagging_tags_plots_only():
    """Each plot needs one tag, colonies none."""
    got = give_tags(["A", "A", "B", "C"], ["7", "8"], tagging="plot")
    assert got.units == ("", "", "", "")
    assert dict(got.plots) == {"A": "7", "B": "8"}
    assert got.short == 1
    assert plot_name("WS", 3) == "WS-03"


def test_tag_lists_with_faults_are_refused_with_every_fault():
    """Duplicate tags would be found on the boat."""
    with pytest.raises(InputFault, match="'2' stands in entry 1 too") as caught:
        give_tags(["A"], ["2", "", "2"], tagging="some", share=20)
    assert len(caught.value.faults) == 4
    with pytest.raises(InputFault, match="7 in the plan and in the records"):
        used_tags_fault(["7", "8", ""], ["7", ""])
    used_tags_fault(["8"], ["7"])
    with pytest.raises(InputFault, match="each name once"):
        site(kept_names={0: "WS-01", 1: "WS-01"})
    with pytest.raises(InputFault, match="plots 0 to 0"):
        number_site("A", [0], [0], plot_of=[1], along_m=[0], offset_m=[0], spacing_m=1)
