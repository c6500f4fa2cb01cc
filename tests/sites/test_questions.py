"""No excludes, unknown makes a pilot, yes to all is a go; nothing is guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.sites.questions import PILOT_LEAST_YEARS, Answered, verdicts

ASKED = {"a": "Is it so?", "b": "Is it thus?"}


@given(st.lists(st.sampled_from(["yes", "no", "unknown", ""]), min_size=2, max_size=2))
def test_the_worst_answer_decides(answers: list[str]) -> None:
    """One no outweighs any yes; an open question never becomes a yes by itself."""
    given_ones = [Answered("S", key, a, who="me") for key, a in zip(ASKED, answers, strict=True) if a]  # type: ignore[arg-type]
    found = verdicts(["S"], ASKED, given_ones)["S"]
    due = "no" if "no" in answers else "pilot" if {"unknown", ""} & set(answers) else "go"
    assert found.verdict == due
    assert [a.about for a in found.answers] == list(ASKED)
    assert set(found.unanswered) == {k for k, a in zip(ASKED, answers, strict=True) if not a}


def test_an_unanswered_question_is_said_to_be_so() -> None:
    """Silence is unknown, and the reader must see that it was silence; a pilot is a year at least."""
    found = verdicts(["S"], ASKED, [Answered("S", "a", "yes", who="me")])["S"]
    assert PILOT_LEAST_YEARS == 1
    assert found.reason == "pilot of at least 1 year: 1 of 2 questions unknown, 1 of them not answered"


def test_a_no_gives_its_note() -> None:
    """Who reads the record next year wants to know why."""
    found = verdicts(["S"], ASKED, [Answered("S", "a", "no", "anchors", "me", "2026-01-01")])["S"]
    assert found.reason == "answered no: Is it so (anchors)"


def test_answers_to_nobody_are_refused() -> None:
    """A typing error in a code must not let a site pass."""
    wrong = [Answered("X", "a", "no"), Answered("S", "c", "no"), Answered("S", "a", "yes"), Answered("S", "a", "no")]
    with pytest.raises(InputFault) as caught:
        verdicts(["S"], ASKED, wrong)
    assert [f.came for f in caught.value.faults] == ["site 'X'", "question 'c'", "answered twice"]
