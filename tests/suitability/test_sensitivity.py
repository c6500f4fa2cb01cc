import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.suitability.draws import draw_weights
from sitekit.suitability.sensitivity import (
    candidate_means,
    misread_means,
    rank_change,
    rank_ranges,
    ranks,
    weight_influence,
)

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/sensitivity.json").read_text("utf-8"))}
WIRT = next(
    r for r in json.loads(shared_file("reference/trade_suitability.json").read_text("utf-8")) if r["id"] == "TV-016"
)


def one_cell_each(scores):
    """Terms and labels of candidates of one cell each, shape (criteria, candidates)."""
    values = np.array(scores, np.float32).T
    return values, np.arange(values.shape[1])


def test_first_ranks_over_all_weights_equal_the_reference():
    """Normalised uniform numbers in place of weights that are even over the simplex."""
    row = ROWS["weight-sensitivity-simplex"]
    values, label = one_cell_each(row["inputs"]["scores"])
    drawn = draw_weights([1, 1, 1], 131072, concentration=3.0, seed=1)
    assert len(drawn) >= row["tolerance"]["n_samples_at_least"]
    means = candidate_means(values, drawn.astype(np.float32), label, 4, "mean")
    ranges = rank_ranges(means, means.mean(axis=0))
    np.testing.assert_allclose(ranges.first, row["expected"]["p_rank_1"], atol=row["tolerance"]["abs"])


def test_first_ranks_near_given_weights_equal_the_reference():
    """Ranks that count the wrong candidate first."""
    row = ROWS["weight-sensitivity-pm50"]
    values, label = one_cell_each(row["inputs"]["scores"])
    rng = np.random.default_rng(0)
    base = np.array(row["inputs"]["base_weights"])
    for spread, due, within in (
        (0.5, row["expected"]["p_rank_1"], row["tolerance"]["abs"]),
        (0.2, row["expected"]["at_pm20_percent"], 0.0),
    ):
        tried = base * rng.uniform(1 - spread, 1 + spread, (row["tolerance"]["n_samples_at_least"], 3))
        tried /= tried.sum(axis=1, keepdims=True)
        means = candidate_means(values, tried.astype(np.float32), label, 4, "mean")
        first = rank_ranges(means, means.mean(axis=0)).first
        np.testing.assert_allclose(first, due, atol=max(within, 1e-12))


@settings(max_examples=40)
@given(st.lists(st.lists(st.sampled_from([0.1, 0.2, 0.3, 0.5]), min_size=5, max_size=5), min_size=1, max_size=4))
def test_ranks_are_those_of_scipy_with_ties_sharing_the_better_one(rows):
    """A tie that goes to whoever stands first in the file."""
    due = rankdata(-np.array(rows), method="min", axis=1)
    np.testing.assert_array_equal(ranks(rows), due)


@settings(max_examples=20)
@given(st.permutations(range(6)), st.integers(0, 99))
def test_the_order_of_candidates_changes_nothing(order, seed):
    """A rank that hangs on a row number."""
    rng = np.random.default_rng(seed)
    drawn, chosen = rng.random((32, 6)), rng.random(6)
    one = rank_ranges(drawn, chosen)
    other = rank_ranges(drawn[:, order], chosen[list(order)])
    for name in ("rank", "low", "high", "first", "in_high", "fragile"):
        np.testing.assert_array_equal(getattr(other, name), getattr(one, name)[list(order)])


def test_a_high_rank_that_few_draws_keep_is_fragile():
    """A candidate called safe that leads under the chosen weights only."""
    chosen = np.array([0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2])
    drawn = np.tile(chosen, (10, 1))
    drawn[:4, 0] = 0.1  # the first one falls to the last rank in 4 of 10 draws
    out = rank_ranges(drawn, chosen, high_share=0.25, steady_share=0.8)
    assert out.high_ranks == 2
    assert out.fragile.tolist() == [True] + [False] * 7
    assert (out.low[0], out.high[0]) == (1, 8)
    assert out.first[:2].tolist() == [0.6, 0.4]
    assert out.in_high[0] == 0.6
    assert not rank_ranges(drawn, chosen, high_share=0.25, steady_share=0.6).fragile.any()


def test_ranges_of_equal_draws_are_the_rank_itself():
    """A range that is wider than what was drawn."""
    chosen = np.array([0.3, 0.9, 0.6])
    out = rank_ranges(np.tile(chosen, (16, 1)), chosen)
    np.testing.assert_array_equal(out.low, out.rank)
    np.testing.assert_array_equal(out.high, out.rank)
    assert out.rank.tolist() == [3, 1, 2]


@pytest.mark.parametrize("method", ["geometric mean", "mean", "lowest"])
def test_means_of_candidates_are_means_of_their_cells(method):
    """A cell that counts for its neighbour's candidate."""
    rng = np.random.default_rng(3)
    values = rng.random((1 if method == "lowest" else 2, 50)).astype(np.float32)
    label = rng.integers(0, 4, 50)
    weights = np.ones((1, 1), np.float32) if method == "lowest" else np.array([[0.3, 0.7]], np.float32)
    out = candidate_means(values, weights, label, 4, method)
    sums = weights @ values
    cell = np.exp2(sums[0]) if method == "geometric mean" else np.clip(sums[0], 0, 1)
    np.testing.assert_allclose(out[0], [cell[label == i].mean() for i in range(4)], rtol=1e-5)


def test_the_criterion_that_decides_has_the_most_influence():
    """A criterion that says the same everywhere called influential."""
    decides = np.linspace(0.1, 1.0, 8)
    values = np.array([decides, np.full(8, 0.5), decides[::-1] * 0.9], np.float32)
    sample = np.repeat(values, 25, axis=1)
    found = weight_influence(values, np.arange(8), 8, [0.5, 0.3, 0.2], method="mean", sample=sample, best_pct=12.5)
    assert found[1].effect == 0.0
    assert found[1].candidate == -1
    assert found[1].best_changed == 0.0
    assert found[0].effect > 0.0
    assert found[0].most == 7  # left out, the third one turns the ranking round
    assert found[0].best_changed == 1.0


def test_lowest_does_not_depend_on_weights():
    """An influence of weights on a score that has none."""
    values = np.random.default_rng(0).random((1, 9)).astype(np.float32)
    found = weight_influence(values, np.arange(9), 9, [1, 2], method="lowest", sample=values, best_pct=10)
    assert [f.effect for f in found] == [0.0, 0.0]


def test_misread_shares_have_the_share_of_the_source_as_their_mean():
    """Another error of bottom maps than the one that is cited."""
    share = 1.0 - float(WIRT["value"]) / 100.0  # 84 % of staghorn records lie on mapped hard bottom
    means = misread_means(np.full(3, 0.8), share, 20000, 1)
    np.testing.assert_allclose(1.0 - means.mean(axis=0) / 0.8, share, atol=0.005)
    assert (means <= 0.8).all()
    assert (misread_means([0.5, 0.4], 0.0, 4, 1) == [0.5, 0.4]).all()


def test_changes_of_rank_are_counted_in_ranks():
    """A change that is a mean of signs."""
    out = rank_change([1, 2, 3, 4], [3, 2, 1, 4])
    assert (out.effect, out.most, out.candidate) == (1.0, 2.0, 0)
    assert rank_change([], []).effect == 0.0
    assert rank_change([1, 2], [[1, 2], [2, 1]]).effect == 0.5


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (
            lambda: candidate_means(
                np.ones((1, 2), np.float32), np.ones((1, 1), np.float32), np.array([0, 0]), 2, "mean"
            ),
            "candidate 2: no cell",
        ),
        (lambda: rank_ranges(np.zeros((4, 3)), np.zeros(2)), r"\(4, 3\) and \(2,\)"),
        (lambda: misread_means([0.5], 1.0, 4, 1), "misread_share: 1.0"),
    ],
)
def test_rankings_that_cannot_be_are_refused(make, said):
    """A rank of nothing."""
    with pytest.raises(InputFault, match=said):
        make()
