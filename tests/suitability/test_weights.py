import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.suitability.weights import RANDOM_INDEX_SAATY_1980, direct, pairwise, ranked

AHP = {r["id"]: r for r in json.loads(shared_file("reference/ahp.json").read_text("utf-8"))}
RANKS = json.loads(shared_file("reference/rank_weights.json").read_text("utf-8"))
MATRICES = ["ahp-saaty-drinks-7", "ahp-saaty-house-8", "ahp-3", "ahp-4"]


@pytest.mark.parametrize("row", MATRICES)
def test_pairwise_weights_and_ratio_equal_the_published_ones(row):
    """Another eigenvector, or a ratio from another random index than the one it names."""
    due = AHP[row]["expected"]
    out = pairwise(AHP[row]["inputs"]["upper_triangle_rows"])
    np.testing.assert_allclose(out.weights, due["weights"], atol=1e-9)
    assert out.lambda_max == pytest.approx(due["lambda_max"], abs=1e-9)
    assert out.consistency_index == pytest.approx(due["CI"], abs=1e-9)
    assert out.consistency_ratio == pytest.approx(due["CR_RI_1980"], abs=1e-9)
    if "printed_weights" in due:
        np.testing.assert_allclose(out.weights, due["printed_weights"], atol=AHP[row]["tolerance"]["printed"])


def test_random_index_is_the_row_of_1980():
    """A later table under the name of the first."""
    assert list(RANDOM_INDEX_SAATY_1980) == AHP["ahp-ri-table"]["expected"]["saaty_1980"]


def test_consistent_judgements_give_their_weights_back():
    """A ratio below 0 or a bias in the weights."""
    w = AHP["ahp-consistent"]["inputs"]["weights_used_to_build_matrix"]
    out = pairwise([[w[i] / w[j] for j in range(i + 1, 4)] for i in range(3)])
    np.testing.assert_allclose(out.weights, w, atol=1e-9)
    assert 0 <= out.consistency_ratio < 1e-9


@pytest.mark.parametrize("judged", [1.0, 9.0])
def test_two_criteria_are_always_consistent(judged):
    """A division by the random index 0."""
    out = pairwise([[judged]])
    assert out.consistency_ratio == 0.0
    assert out.worst is None
    np.testing.assert_allclose(out.weights, [judged / (judged + 1), 1 / (judged + 1)])


def test_inconsistent_judgements_are_flagged_and_the_worst_is_named():
    """A planner who is told that something is wrong, not what."""
    rows = [[2.0, 4.0, 8.0], [2.0, 4.0], [1.0 / 9.0]]  # the last one should be 2
    out = pairwise(rows)
    assert not out.consistent
    said = out.said(["depth", "bottom", "colonies", "slope"])
    assert "above 0.10" in said
    assert "Saaty 1980" in said
    assert "'colonies' against 'slope'" in said


@pytest.mark.parametrize("row", RANKS, ids=[r["id"] for r in RANKS])
def test_ranked_weights_equal_the_published_centroids(row):
    """Another rank formula (rank sum, rank reciprocal) in its place."""
    n = row["inputs"]["n"]
    np.testing.assert_allclose(ranked(range(1, n + 1)), row["expected"]["roc"], atol=row["tolerance"]["abs"])


def test_ties_share_their_places():
    """Equal ranks with unequal weights."""
    np.testing.assert_allclose(ranked([1, 2, 2]), [11 / 18, 7 / 36, 7 / 36])


@given(st.permutations(range(1, 7)))
def test_ranked_weights_follow_the_ranks(ranks):
    """Weights handed to the wrong criteria."""
    w = ranked(ranks)
    assert w.sum() == pytest.approx(1.0)
    assert list(np.argsort(-w)) == list(np.argsort(ranks))


@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=8), st.floats(0.1, 10))
def test_only_ratios_of_weights_count(values, factor):
    """A sum other than 1, or a unit in the weights."""
    w = direct(values)
    assert w.sum() == pytest.approx(1.0)
    np.testing.assert_allclose(direct(np.array(values) * factor), w)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: direct([1.0, -0.1]), "≥ 0"),
        (lambda: direct([0.0, 0.0]), "one above 0"),
        (lambda: ranked([1, 3]), r"\[1, 2\]"),
        (lambda: pairwise([[3, 5], [3, 3]]), "row 2: 2 judgements; due: 1"),
        (lambda: pairwise([[0, 5], [3]]), "above 0"),
        (lambda: pairwise([[1] * (10 - k) for k in range(10)]), "at most 10"),
    ],
)
def test_weights_that_cannot_be_are_refused(make, said):
    """A mistyped judgement that becomes a weight."""
    with pytest.raises(InputFault, match=said):
        make()
