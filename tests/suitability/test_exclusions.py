import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.suitability.exclusions import (
    FORBIDDEN,
    LABELS,
    NO_DEPTH,
    NO_SUBSTRATE,
    OUTSIDE,
    SUBSTRATE,
    TOO_DEEP,
    TOO_SHALLOW,
    TOO_STEEP,
    Limits,
    exclude,
)

DEPTH = np.array([[1.0, 2.0, 5.0, 9.0, 12.0, np.nan]], np.float32)


def test_depth_limits_are_allowed_at_the_limit_itself():
    """A cell at exactly the least depth refused, or a gap let through."""
    out = exclude({"depth_m": DEPTH}, Limits(least_depth_m=2.0, greatest_depth_m=9.0))
    assert out.tolist() == [[TOO_SHALLOW, 0, 0, 0, TOO_DEEP, NO_DEPTH]]


def test_substrate_and_slope_exclude_by_class_and_angle():
    """Unknown slope taken for steep, unknown bottom taken for good."""
    fields = {
        "depth_m": np.full((1, 5), 5.0, np.float32),
        "substrate": np.array([[0, 1, 2, 1, 1]], np.uint8),
        "slope_deg": np.array([[5, 5, 5, 50, np.nan]], np.float32),
    }
    out = exclude(fields, Limits(greatest_slope_deg=45.0, substrate=frozenset({2}), unknown_substrate=True))
    assert out.tolist() == [[NO_SUBSTRATE, 0, SUBSTRATE, TOO_STEEP, 0]]


@settings(max_examples=40)
@given(st.sets(st.sampled_from([k for k in LABELS if k]), min_size=1))
def test_of_several_reasons_the_strictest_is_written(codes):
    """A forbidden area reported as merely too deep."""
    here = np.array([[True, False]])
    out = exclude({"depth_m": np.full((1, 2), 5.0, np.float32)}, Limits(), dict.fromkeys(codes, here))
    assert out.tolist() == [[min(codes), 0]]


def test_a_mask_joins_the_test_of_the_same_code():
    """A mask that replaces the plan's own limit."""
    mask = np.array([[False, False, True, False, False, False]])
    out = exclude({"depth_m": DEPTH}, Limits(greatest_depth_m=9.0), {TOO_DEEP: mask, OUTSIDE: DEPTH == 2.0})
    assert out.tolist() == [[0, OUTSIDE, TOO_DEEP, 0, TOO_DEEP, NO_DEPTH]]


def test_each_code_has_a_label_and_law_stands_before_preference():
    """A reason nobody can read."""
    assert sorted(LABELS) == list(range(len(LABELS)))
    assert len(set(LABELS.values())) == len(LABELS)
    assert FORBIDDEN < TOO_SHALLOW


def test_swapped_depths_missing_fields_and_wrong_codes_are_refused():
    """Limits that exclude every cell without a word."""
    with pytest.raises(InputFault, match="least_depth_m 9 is deeper than greatest_depth_m 2"):
        Limits(least_depth_m=9.0, greatest_depth_m=2.0)
    with pytest.raises(InputFault, match=r"'slope_deg'(.|\n)*'substrate'(.|\n)*code 99"):
        exclude({"depth_m": DEPTH}, Limits(greatest_slope_deg=3.0, unknown_substrate=True), {99: DEPTH > 0})
