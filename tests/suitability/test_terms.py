import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.errors import InputFault
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import classes, fall, response, rise
from sitekit.suitability.score import METHODS, combine
from sitekit.suitability.terms import responses, scores, term_weights, terms, weighted_sums

CRITERIA = [
    Criterion("depth", "depth_m", fall(2, 10), 0.5, "test"),
    Criterion("bottom", "substrate", classes({"rock": 1.0, "sand": 0.25}, {"rock": 3, "sand": 4}), 0.5, "test"),
]
SHARES = st.one_of(st.floats(0, 1, width=32), st.sampled_from([0.0, 1.0, np.nan]))


def test_responses_are_those_of_the_curves():
    """A criterion that reads its neighbour's field."""
    fields = {"depth_m": np.array([[1.0, 6.0, np.nan]]), "substrate": np.array([[3, 4, 0]], np.uint8)}
    out = responses(CRITERIA, fields)
    np.testing.assert_allclose(out[0], response(CRITERIA[0].curve, fields["depth_m"]))
    np.testing.assert_allclose(out[1], [[1.0, 0.25, np.nan]])


@given(arrays(np.float32, (3, 7), elements=SHARES), st.lists(st.floats(0.05, 5), min_size=3, max_size=3))
def test_scores_from_terms_are_those_of_the_score_stage(answered, weights):
    """A sensitivity of another score than the one that is mapped."""
    w = np.array([weights]) / np.sum(weights)
    for method in METHODS:
        due = combine(
            answered[:, None, :],
            [rise(0, 1)] * 3,
            weights,
            exclusion=np.zeros((1, 7), np.uint8),
            method=method,
            max_unknown_weight=1.0,
        ).score[0]
        out = scores(weighted_sums(terms(answered, method), term_weights(w, method)), method)[0]
        np.testing.assert_allclose(out, due, atol=2e-6)


def test_unknown_terms_are_left_out_and_the_rest_renormalised():
    """An unknown value that counts as 0."""
    out = weighted_sums(np.array([[0.5, np.nan], [0.9, 0.9]], np.float32), np.array([[0.25, 0.75]], np.float32))
    np.testing.assert_allclose(out, [[0.8, 0.9]], rtol=1e-6)


def test_a_missing_field_and_an_unknown_method_are_refused():
    """A criterion without a layer that counts for nothing."""
    with pytest.raises(InputFault, match="'bottom': field 'substrate'"):
        responses(CRITERIA, {"depth_m": np.zeros((1, 1))})
    with pytest.raises(InputFault, match=r"score\.combine: 'best'"):
        terms(np.zeros((1, 1), np.float32), "best")
