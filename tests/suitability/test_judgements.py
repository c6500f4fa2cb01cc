import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.base.sources import shared_file
from sitekit.errors import InputFault
from sitekit.suitability.judgements import weigh_numbers, weigh_pairs, weigh_ranks

AHP = {r["id"]: r for r in json.loads(shared_file("reference/ahp.json").read_text("utf-8"))}
RANKS = json.loads(shared_file("reference/rank_weights.json").read_text("utf-8"))
NAMES = ["depth", "bottom", "colonies", "slope"]


def pairs_of(upper, names):
    """The rows of an upper triangle as (criterion, over, times)."""
    return [(names[i], names[i + 1 + j], float(times)) for i, row in enumerate(upper) for j, times in enumerate(row)]


@pytest.mark.parametrize("row", ["ahp-saaty-drinks-7", "ahp-saaty-house-8", "ahp-3", "ahp-4"])
def test_judged_pairs_give_the_published_weights_and_ratio(row):
    """A pair read the wrong way round, or a ratio from another random index than the one it names."""
    upper = AHP[row]["inputs"]["upper_triangle_rows"]
    names = [f"c{k}" for k in range(len(upper) + 1)]
    out = weigh_pairs(names, pairs_of(upper, names))
    due = AHP[row]["expected"]
    np.testing.assert_allclose(list(out.weights.values()), due["weights"], atol=1e-9)
    assert out.as_dict()["consistency_ratio"] == pytest.approx(due["CR_RI_1980"], abs=1e-9)
    assert out.as_dict()["random_index"] == "saaty-1980"


@given(st.permutations(range(6)), st.lists(st.booleans(), min_size=6, max_size=6))
def test_the_order_of_judgements_and_their_direction_change_nothing(order, turned):
    """Weights that depend on who spoke first."""
    pairs = pairs_of(AHP["ahp-4"]["inputs"]["upper_triangle_rows"], NAMES)
    mixed = [(b, a, 1.0 / t) if turned[k] else (a, b, t) for k in order for a, b, t in [pairs[k]]]
    one, other = weigh_pairs(NAMES, pairs), weigh_pairs(NAMES, mixed)
    np.testing.assert_allclose(list(one.weights.values()), list(other.weights.values()), rtol=1e-12)
    assert list(other.weights) == NAMES


def test_inconsistent_judgements_are_kept_and_the_worst_is_named():
    """A planner who is told that something is wrong, not what."""
    out = weigh_pairs(NAMES, pairs_of([[2, 4, 8], [2, 4], [1 / 9]], NAMES))
    record = out.as_dict()
    assert not record["consistent"]
    assert (record["worst"]["criterion"], record["worst"]["over"]) == ("colonies", "slope")
    assert record["worst"]["times"] == pytest.approx(1 / 9)
    assert "'colonies' against 'slope'" in out.said
    assert "Saaty 1980" in out.said


@pytest.mark.parametrize("row", RANKS, ids=[r["id"] for r in RANKS])
def test_ranked_criteria_get_the_published_centroids(row):
    """A rank on the wrong criterion."""
    n = row["inputs"]["n"]
    names = [f"c{k}" for k in range(n)]
    ranks = {name: n - k for k, name in enumerate(names)}  # the last one weighs most
    out = weigh_ranks(names, ranks)
    np.testing.assert_allclose(list(out.weights.values())[::-1], row["expected"]["roc"], atol=1e-12)
    assert "centroid" in out.said


@given(st.lists(st.floats(0.01, 50), min_size=4, max_size=4), st.floats(0.1, 10))
def test_numbers_count_by_their_ratios_only(values, factor):
    """A unit in the weights."""
    given_ = dict(zip(NAMES, values, strict=True))
    one = weigh_numbers(NAMES, given_).weights
    other = weigh_numbers(NAMES[::-1], {n: v * factor for n, v in given_.items()}).weights
    assert sum(one.values()) == pytest.approx(1.0)
    for name in NAMES:
        assert other[name] == pytest.approx(one[name])


def test_all_faults_of_a_table_are_named_at_once():
    """A planner who corrects one line per run."""
    judged = [
        ("depth", "botom", 2.0),
        ("depth", "depth", 1.0),
        ("bottom", "colonies", 20.0),
        ("bottom", "slope", -1.0),
        ("depth", "colonies", 3.0),
        ("depth", "colonies", 3.0),
        ("colonies", "depth", 2.0),
    ]
    with pytest.raises(InputFault) as caught:
        weigh_pairs(NAMES, judged, where="weights.APAL")
    said = [str(f) for f in caught.value.faults]
    assert len(said) == 6
    assert "weights.APAL.judgements[1]: no criterion 'botom'" in said[0]
    assert "Did you mean 'bottom'?" in said[0]
    assert "against itself" in said[1]
    assert "20 times; due: 1/9 to 9" in said[2]
    assert "-1 times" in said[3]
    assert "a second time" in said[4]
    assert "not reciprocal: 'depth' over 'colonies' is 3, the other way 2; due: 0.333" in said[5]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: weigh_numbers(NAMES, dict.fromkeys(NAMES, 0.0)), "all weights are 0"),
        (lambda: weigh_numbers(NAMES, {**dict.fromkeys(NAMES, 1.0), "slope": -2.0}), "weights.slope: -2; due: a numb"),
        (lambda: weigh_numbers(NAMES, {"depth": 1.0}), "'bottom' is missing"),
        (lambda: weigh_ranks(NAMES, {"depth": 1, "bottom": 3, "colonies": 3, "slope": 4}), "ranks depth = 1, bottom"),
        (lambda: weigh_ranks(NAMES, {"dept": 1}), "Did you mean 'depth'?"),
        (lambda: weigh_pairs(NAMES, pairs_of([[1, 1, 1], [1, 1]], NAMES)), "no judgement of 'colonies' over 'slope'"),
        (lambda: weigh_pairs([f"c{k}" for k in range(11)], []), "11 criteria"),
    ],
)
def test_weights_that_cannot_be_are_refused(make, said):
    """A mistyped line that becomes a weight."""
    with pytest.raises(InputFault) as caught:
        make()
    assert said in str(caught.value)


def test_two_ways_round_are_taken_if_they_agree():
    """A third written as 0.33 refused."""
    out = weigh_pairs(["a", "b"], [("a", "b", 3.0), ("b", "a", 0.33)])
    assert out.weights["a"] == pytest.approx(0.75)
