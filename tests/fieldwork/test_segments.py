"""Counts per stretch of tape, and the letters of genets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.segments import genet_letters, segments


def test_units_fall_into_their_stretch() -> None:
    """A reading on a mark belongs to the stretch that begins there; the end of the tape to the last."""
    found = segments([0.0, 2.9, 3.0, 18.0], ["A"] * 4, ["g", "g", "h", "g"], tape_m=18.0, step_m=3.0)
    assert [(s.from_m, s.to_m, s.genet, s.number) for s in found] == [(0, 3, "g", 2), (3, 6, "h", 1), (15, 18, "g", 1)]


@pytest.mark.parametrize(
    ("tape", "last"), [(18.02, (15.0, 18.02)), (19.5, (18.0, 19.5)), (19.4, (15.0, 19.4)), (2.0, (0.0, 2.0))]
)
def test_a_short_rest_is_no_stretch_of_its_own(tape: float, last: tuple[float, float]) -> None:
    """A tape of 18.02 m once ended in a stretch from 18 to 18.0 m."""
    found = segments([tape], ["A"], ["g"], tape_m=tape, step_m=3.0)
    assert [(s.from_m, s.to_m) for s in found] == [last]


@given(
    along=st.lists(st.floats(-1, 25), min_size=0, max_size=60), step=st.floats(0.5, 9), tape=st.floats(1, 20),
)  # fmt: skip
def test_counts_sum_to_the_units(along: list[float], step: float, tape: float) -> None:
    """A guided sheet that loses a unit loses a coral."""
    found = segments(along, ["A"] * len(along), ["g"] * len(along), tape_m=tape, step_m=step)
    assert sum(s.number for s in found) == len(along)
    assert all(0 <= s.from_m < s.to_m <= tape + 1e-9 for s in found)


def test_a_stretch_without_length_is_refused() -> None:
    """Division by zero otherwise."""
    with pytest.raises(InputFault, match="0 m on 18 m; due: lengths above 0"):
        segments([1.0], ["A"], ["g"], tape_m=18.0, step_m=0.0)


def test_letters_leave_out_those_that_read_as_digits() -> None:
    """I and O on wet paper are 1 and 0."""
    letters = genet_letters([("A", f"{k:03d}") for k in range(60)])
    assert len(set(letters.values())) == 60
    assert not set("".join(letters.values())) & {"I", "O"}
    assert [letters[("A", f"{k:03d}")] for k in (0, 23, 24, 48)] == ["A", "Z", "AA", "BA"]


@given(keys=st.lists(st.tuples(st.sampled_from("AB"), st.text(min_size=1, max_size=3)), max_size=30))
def test_letters_do_not_depend_on_the_order_of_rows(keys: list[tuple[str, str]]) -> None:
    """A letter that changes from sheet to sheet mixes genets."""
    assert genet_letters(keys) == genet_letters(list(reversed(keys)))
