"""Genets: exact counts, unlike neighbours, and honest figures of what cannot be avoided."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.layout.genets import assign_genets
from sitekit.layout.neighbours import like_pairs, mixture, nearest_distances, unavoidable_like_pairs


def hexagonal(columns, rows, d=1.0):
    i, j = np.meshgrid(np.arange(columns), np.arange(rows))
    return ((i + 0.5 * (j % 2)) * d).ravel(), (j * d * np.sqrt(0.75)).ravel()


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=1, max_size=12).filter(any), st.integers(0, 10**6), st.integers(1, 4))
def test_counts_are_exact_in_all_and_balanced_per_plot(counts, seed, plots):
    """More of a genet would be planned than the nursery holds."""
    n = sum(counts)
    rng = np.random.default_rng(seed)
    x, y = rng.random(n) * 12, rng.random(n) * 12
    group = np.sort(rng.integers(0, plots, n))
    got = assign_genets(x, y, counts, separation_m=1.0, group=group)
    assert np.bincount(got.kind, minlength=len(counts)).tolist() == counts
    for g in range(int(group.max()) + 1):
        assert np.bincount(got.kind[group == g], minlength=len(counts)).tolist() == got.counts[g].tolist()


def test_ten_equal_genets_on_a_lattice_have_no_like_neighbours():
    """Gametes of like genets would meet where unlike ones could."""
    x, y = hexagonal(50, 40, 1.2)
    got = assign_genets(x, y, [200] * 10, separation_m=1.2)
    assert got.like_neighbours == 0
    assert got.neighbours > 5000


def test_the_published_array_holds_each_genet_five_times_with_no_like_neighbours():
    """TV-068: 10 genets of 5 ramets in 5 rows of 10."""
    x, y = (v.ravel() for v in np.meshgrid(np.arange(10) * 2.0, np.arange(5) * 1.0))
    got = assign_genets(x, y, [5] * 10, separation_m=1.0)
    assert got.counts.tolist() == [[5] * 10]
    assert got.like_neighbours == 0


def test_the_same_input_gives_the_same_plan():
    """A re-run would move every genet."""
    x, y = hexagonal(20, 20)
    one, two = (assign_genets(x, y, [160, 120, 120], separation_m=1.0).kind for _ in range(2))
    assert (one == two).all()


def test_nearest_distances_are_those_of_all_pairs():
    """The report would overstate how far like genets stand apart."""
    rng = np.random.default_rng(5)
    x, y, kind = rng.random(60), rng.random(60), np.r_[np.zeros(50, int), rng.integers(1, 4, 9), 9]
    r = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(r, np.inf)
    same = kind[:, None] == kind
    like, unlike = nearest_distances(x, y, kind)
    assert like == pytest.approx(np.where(same, r, np.inf).min(axis=1))
    assert unlike == pytest.approx(np.where(~same, r, np.inf).min(axis=1))
    assert like[-1] == np.inf


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 7))
def test_no_assignment_at_all_beats_the_unavoidable_number(seed, n):
    """A plan would be called worse than possible when nothing could be better."""
    rng = np.random.default_rng(seed)
    x, y = rng.random(n) * 2, rng.random(n) * 2
    first = int(rng.integers(1, n + 1))
    second = int(rng.integers(0, n - first + 1))
    counts = [c for c in (first, second, n - first - second) if c]
    kinds = np.repeat(np.arange(len(counts)), counts)
    least = min(like_pairs(x, y, np.array(p), within_m=0.9)[0] for p in set(itertools.permutations(kinds.tolist())))
    assert unavoidable_like_pairs(x, y, counts, within_m=0.9) <= least


def test_a_genet_of_half_the_units_has_unavoidable_like_neighbours():
    """On triangles only a third can stand apart: the user must be told."""
    x, y = hexagonal(30, 30)
    got = assign_genets(x, y, [450, 225, 225], separation_m=1.0)
    assert 0 < got.unavoidable <= got.like_neighbours
    all_one = assign_genets(x, y, [900], separation_m=1.0)
    assert all_one.like_neighbours == all_one.neighbours
    assert unavoidable_like_pairs([0, 1, 0.5], [0, 0, 0.8], [3], within_m=1.3) == 3


def test_the_report_warns_of_density_and_of_lonely_genets():
    """A crowded or single-genet plot would pass without a word."""
    x, y = hexagonal(10, 10, 0.5)
    crowded = mixture(x, y, np.arange(100) % 10, separation_m=0.5, area_m2=20.0)
    assert crowded.density_per_m2 == 5.0
    assert any("Ladd 2016" in c for c in crowded.cautions)
    assert crowded.allele_share_at_least_pct == 50.0
    alone = mixture(x, y, np.zeros(100), separation_m=0.5)
    assert any("no other genet" in c for c in alone.cautions)
    even = mixture(*hexagonal(10, 10), np.arange(100) % 10, separation_m=1.0, area_m2=100.0)
    assert even.cautions == ()
    assert even.nearest_unlike_m == pytest.approx(1.0)


def test_counts_that_do_not_add_up_are_refused():
    """A position would stay empty without anyone noticing."""
    with pytest.raises(InputFault, match="3 units of 2 genets for 2 positions"):
        assign_genets([0, 1], [0, 0], [1, 2], separation_m=1)
    with pytest.raises(InputFault, match="above 0 m"):
        assign_genets([0], [0], [1], separation_m=0)
    with pytest.raises(InputFault, match="2 as positions"):
        unavoidable_like_pairs([0, 1], [0, 0], [3], within_m=1)


def test_no_positions_give_an_empty_plan():
    """A site without room would stop the run."""
    assert assign_genets([], [], [0, 0], separation_m=1).kind.size == 0
