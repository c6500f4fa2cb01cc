import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.suitability.draws import draw_weights
from sitekit.suitability.stability import count_best, thresholds

DRAWS = 64


def scene(criteria, seed, holes=0.0, smooth=False, shape=(21, 30)):
    """Terms, weights and thresholds of a made-up place."""
    rng = np.random.default_rng(seed)
    values = rng.random((criteria, *shape))
    if smooth:
        values = np.add.accumulate(np.add.accumulate(values - 0.5, axis=1), axis=2) / 20.0
    values = values.astype(np.float32)
    values[rng.random(values.shape) < holes] = np.nan
    weights = draw_weights(rng.random(criteria) + 0.1, DRAWS, seed=seed).astype(np.float32)
    return values, weights, thresholds(values.reshape(criteria, -1), weights, 10.0)


def plain(values, weights, least):
    """Counts as a user would get them: one pass per draw in float64."""
    counts = np.zeros(values.shape[1:], int)
    margin = np.zeros(values.shape[1:], int)
    for w, t in zip(weights.astype(float), least.astype(float), strict=True):
        held = np.where(np.isnan(values), 0.0, w[:, None, None])
        total = held.sum(axis=0)
        with np.errstate(invalid="ignore"):
            score = np.nansum(held * np.nan_to_num(values.astype(float)), axis=0) / total
        counts += score >= t
        margin += np.abs(score - t) <= 1e-6
    return counts, margin


@pytest.mark.parametrize("criteria", [1, 3, 4, 6, 8])
@pytest.mark.parametrize("holes", [0.0, 0.05])
def test_both_ways_of_counting_equal_one_pass_per_draw(criteria, holes):
    """A bound that is not one: a draw counted for a tile where some cell falls short."""
    for smooth in (False, True):
        values, weights, least = scene(criteria, criteria, holes, smooth)
        due, margin = plain(values, weights, least)
        slow = count_best(values, weights, least, fast=False)
        quick = count_best(values, weights, least, fast=True)
        np.testing.assert_array_equal(quick, slow)
        assert (np.abs(slow - due) <= margin).all()


@settings(max_examples=20)
@given(st.integers(0, 1000), st.sampled_from([1.0, 10.0, 50.0]))
def test_as_many_cells_are_the_best_as_were_asked_for(seed, best_pct):
    """A threshold one cell off, or read at the wrong end."""
    values, weights, _ = scene(3, seed)
    least = thresholds(values.reshape(3, -1), weights, best_pct)
    counts = count_best(values, weights, least)
    due = round(counts.size * best_pct / 100.0)
    assert due * DRAWS <= counts.sum() <= due * DRAWS + DRAWS  # ties only


@settings(max_examples=15)
@given(st.integers(0, 1000), st.permutations(range(4)))
def test_the_order_of_criteria_and_draws_and_the_scale_of_weights_change_little(seed, order):
    """A criterion with the weight of another: only sums within rounding of the threshold may differ."""
    values, weights, least = scene(4, seed)
    counts = count_best(values, weights, least)
    turned = count_best(values[order], weights[::-1][:, order], least[::-1])
    _, margin = plain(values, weights, least)
    assert (np.abs(turned - counts) <= margin).all()
    scaled = count_best(values, weights * 4, least * 4)  # a power of two: no rounding
    np.testing.assert_array_equal(scaled, counts)


def test_a_response_of_zero_is_never_among_the_best():
    """A zero that other criteria buy back."""
    values = np.zeros((2, 1, 3), np.float32)
    values[1] = [[-1.0, -1.0e30, -0.5]]
    weights = np.array([[0.5, 0.5], [0.9, 0.1]], np.float32)
    counts = count_best(values, weights, np.array([-0.5, -0.5], np.float32))
    assert counts.tolist() == [[2, 0, 2]]


def test_cells_that_know_nothing_count_nothing():
    """An unknown cell called the best."""
    values = np.full((2, 2, 2), np.nan, np.float32)
    values[:, 0, 0] = 1.0
    counts = count_best(values, np.full((3, 2), 0.5, np.float32), np.full(3, 0.5, np.float32))
    assert counts.tolist() == [[3, 0], [0, 0]]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: thresholds(np.zeros((2, 0), np.float32), np.ones((1, 2), np.float32), 10.0), "no cell"),
        (lambda: thresholds(np.zeros((2, 4), np.float32), np.ones((1, 2), np.float32), 100.0), "best_pct: 100"),
        (
            lambda: count_best(np.zeros((2, 1, 1), np.float32), np.ones((1, 3), np.float32), np.ones(1, np.float32)),
            "one weight per term",
        ),
        (
            lambda: count_best(np.zeros((1, 1, 1), np.float32), -np.ones((1, 1), np.float32), np.ones(1, np.float32)),
            "a negative weight",
        ),
    ],
)
def test_counts_that_cannot_be_are_refused(make, said):
    """A share of nothing."""
    with pytest.raises(InputFault, match=said):
        make()
