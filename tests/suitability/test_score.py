import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.errors import InputFault
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import classes, rise, trapezoid
from sitekit.suitability.exclusions import FORBIDDEN, UNKNOWN
from sitekit.suitability.score import METHODS, NO_LIMIT, combine, score_cells

LINE = rise(0, 1)
SHARES = st.one_of(st.floats(0, 1, width=32), st.sampled_from([0.0, 1.0]))
STACKS = arrays(np.float32, (4, 3, 5), elements=SHARES)
WEIGHTS = st.lists(st.floats(0.05, 5), min_size=4, max_size=4)


def run(stack, weights, method="geometric mean", **more):
    stack = np.asarray(stack, np.float32)
    more.setdefault("exclusion", np.zeros(stack.shape[1:], np.uint8))
    return combine(stack, [LINE] * len(stack), weights, method=method, **more)


def cell(*values):
    """Criteria values of a single cell."""
    return np.array(values, np.float32).reshape(-1, 1, 1)


@settings(max_examples=60, deadline=None)
@given(STACKS, WEIGHTS)
def test_scores_equal_the_formulas_in_plain_numpy(stack, weights):
    """A fast logarithm that is not one."""
    w = np.array(weights)[:, None, None]
    r = stack.astype(np.float64)
    with np.errstate(divide="ignore"):
        geometric = np.exp((w * np.log(r)).sum(0) / w.sum())
    np.testing.assert_allclose(run(stack, weights).score, geometric, rtol=2e-7, atol=1e-30)
    np.testing.assert_allclose(run(stack, weights, "mean").score, (w * r).sum(0) / w.sum(), atol=1e-7)
    np.testing.assert_array_equal(run(stack, weights, "lowest").score, stack.min(0))


@settings(max_examples=60, deadline=None)
@given(STACKS, WEIGHTS, st.sampled_from(METHODS))
def test_limiting_criterion_is_the_one_whose_rise_helps_most(stack, weights, method):
    """The lowest response named although its weight is small."""
    out = run(stack, weights, method)
    gains = np.full(stack.shape, -1.0)
    for k in range(len(stack)):
        raised = stack.copy()
        raised[k] = 1.0
        gains[k] = run(raised, weights, method).score - out.score
    best = gains.max(0)
    named = np.take_along_axis(gains, np.minimum(out.limiting, 3)[None].astype(np.int64), 0)[0]
    helped = best > 0
    np.testing.assert_allclose(named[helped], best[helped], rtol=1e-4, atol=2e-7)
    assert (out.limiting[(stack == 1).all(0)] == NO_LIMIT).all()


@settings(max_examples=40, deadline=None)
@given(STACKS, WEIGHTS, st.sampled_from(METHODS), st.integers(0, 3), st.floats(0, 1, width=32))
def test_a_better_cell_never_scores_less(stack, weights, method, which, more):
    """A score that falls when one response rises."""
    better = stack.copy()
    better[which] = np.maximum(better[which], np.float32(more))
    assert (run(better, weights, method).score >= run(stack, weights, method).score - 1e-7).all()


def test_zero_is_never_bought_back():
    """A forbidden depth with a good score because all else is fine."""
    out = run(cell(0.0, 1.0, 1.0), [1e-6, 1.0, 1.0])
    assert out.score[0, 0] == 0.0
    assert out.limiting[0, 0] == 0


def test_zero_with_weight_zero_counts_for_nothing():
    """0 to the power 0 taken for 0 or NaN."""
    out = run(cell(0.0, 0.49), [0.0, 2.0])
    assert out.score[0, 0] == pytest.approx(0.49, abs=1e-7)
    assert run(cell(0.0, 0.49), [0.0, 2.0], "lowest").score[0, 0] == np.float32(0.49)


def test_of_two_zeros_the_heavier_is_named():
    """No limiting criterion where there are two."""
    assert run(cell(1.0, 0.0, 0.0), [1, 1, 3]).limiting[0, 0] == 2


def test_unknown_weight_is_renormalised_and_written():
    """An unknown criterion counted as 0 or as 1."""
    out = run(cell(0.25, 0.5, np.nan), [3, 3, 2])
    assert out.score[0, 0] == pytest.approx(np.sqrt(0.125), abs=1e-7)
    assert out.unknown_pct[0, 0] == 25
    assert out.reason[0, 0] == 0


@pytest.mark.parametrize("method", METHODS)
def test_too_much_unknown_weight_excludes_the_cell(method):
    """A guess from half the evidence."""
    out = run(cell(0.5, 0.5, np.nan), [3, 2, 2], method)
    assert np.isnan(out.score[0, 0])
    assert out.reason[0, 0] == UNKNOWN
    assert out.limiting[0, 0] == NO_LIMIT
    assert out.unknown_pct[0, 0] == 29


def test_share_at_the_limit_itself_is_still_known():
    """0.1 + 0.15 taken for more than 0.25."""
    assert run(cell(0.5, np.nan, np.nan), [0.75, 0.1, 0.15]).reason[0, 0] == 0


@pytest.mark.parametrize("method", METHODS)
def test_cell_with_nothing_known_has_no_score_whatever_the_limit(method):
    """A score out of nothing."""
    out = run(cell(np.nan, np.nan, np.nan), [0.1, 0.2, 0.3], method, max_unknown_weight=1.0)
    assert np.isnan(out.score[0, 0])
    assert out.reason[0, 0] == UNKNOWN


def test_excluded_cell_keeps_its_reason_and_has_no_score():
    """An exclusion outdone by a good score, or overwritten by 'unknown'."""
    out = run(cell(1.0, np.nan), [1, 1], exclusion=np.full((1, 1), FORBIDDEN, np.uint8))
    assert np.isnan(out.score[0, 0])
    assert out.reason[0, 0] == FORBIDDEN


@settings(max_examples=20, deadline=None)
@given(arrays(np.float32, (3, 9, 11), elements=st.one_of(SHARES, st.just(np.nan))), st.integers(1, 8))
def test_blocks_of_any_size_equal_the_whole_bit_for_bit(stack, side):
    """A score that depends on its neighbours in memory."""
    whole = run(stack, [1, 2, 3])
    for r in range(0, 9, side):
        for c in range(0, 11, side):
            part = run(stack[:, r : r + side, c : c + side], [1, 2, 3])
            for name in ("score", "limiting", "unknown_pct", "reason"):
                due = np.ascontiguousarray(getattr(whole, name)[r : r + side, c : c + side])
                assert getattr(part, name).tobytes() == due.tobytes(), name


def test_fields_are_read_by_name_and_classes_by_code():
    """Criteria that read each other's field."""
    bottom = classes({"pavement": 1.0, "rubble": 0.25}, {"pavement": 1, "rubble": 2, "sand": 3})
    rows = [
        Criterion("depth", "depth_m", trapezoid(1, 3, 8, 12), 1.0, "own"),
        Criterion("bottom", "substrate", bottom, 1.0, "own"),
    ]
    fields = {
        "depth_m": np.array([[5.0, 5.0, 10.0, 5.0]], np.float32),
        "substrate": np.array([[1, 2, 1, 0]], np.uint8),
    }
    out = score_cells(rows, fields, np.zeros((1, 4), np.uint8), max_unknown_weight=0.5)
    np.testing.assert_allclose(out.score, [[1.0, 0.5, np.sqrt(0.5), 1.0]], atol=1e-7)
    assert out.limiting.tolist() == [[NO_LIMIT, 1, 0, NO_LIMIT]]
    assert out.unknown_pct.tolist() == [[0, 0, 0, 50]]


def test_missing_and_misshapen_fields_are_all_named():
    """One fault at a time."""
    rows = [Criterion("a", "kd", LINE, 1.0, "own"), Criterion("b", "current", LINE, 1.0, "own")]
    with pytest.raises(InputFault, match=r"'kd'(.|\n)*'current'.*\(2, 2\)"):
        score_cells(rows, {"current": np.zeros((2, 2), np.float32)}, np.zeros((3, 3), np.uint8))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"weights": [1.0, -1.0]}, "≥ 0"),
        ({"weights": [0.0, 0.0]}, "one above 0"),
        ({"weights": [1.0]}, "one of each per criterion"),
        ({"method": "product"}, "geometric mean"),
        ({"max_unknown_weight": 1.5}, "0 to 1"),
        ({"exclusion": np.zeros((2, 2), np.uint8)}, "one grid"),
    ],
)
def test_combinations_that_cannot_be_are_refused(change, said):
    """A mistyped method that falls back to another one."""
    given_ = {"stack": cell(0.5, 0.5), "weights": [1.0, 1.0], **change}
    with pytest.raises(InputFault, match=said):
        run(**given_)
