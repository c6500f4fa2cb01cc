"""From visits to one row per unit: each rule by hand, and what must hold for any visits."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.survey.curves import survival_curve
from sitekit.survey.histories import STATES, Histories, unit_histories

DAY0 = datetime.date(2027, 5, 1)


def on(day: int) -> datetime.date:
    return DAY0 + datetime.timedelta(days=day)


def one(*notes: tuple[int, str], **how: Any) -> Histories:
    """The history of a single unit from (day, state)."""
    return unit_histories([("A", DAY0)], [("A", on(day), state) for day, state in notes], **how)


@pytest.mark.parametrize(
    ("notes", "days", "died", "known"),
    [
        ([(30, "alive"), (90, "dead")], 90, True, 30),
        ([(30, "dead")], 30, True, 0),
        ([(0, "dead")], 0, True, 0),
        ([(30, "alive"), (90, "dead"), (180, "dead"), (270, "missing")], 90, True, 30),
        ([(30, "alive"), (90, "missing"), (180, "dead")], 90, True, 30),
        ([(30, "alive"), (90, "alive")], 90, False, 90),
        ([(0, "alive")], 0, False, 0),
        ([], 0, False, 0),
        ([(30, "dead"), (90, "alive"), (180, "dead")], 180, True, 90),
        ([(30, "missing"), (90, "alive")], 90, False, 90),
    ],
)
def test_a_unit_ends_where_its_visits_say(notes: list[tuple[int, str]], days: int, died: bool, known: int) -> None:
    """A death would be put on the last visit, or a unit last seen alive be followed to today."""
    found = one(*notes)
    assert (found.days[0], bool(found.died[0]), found.known_alive_days[0]) == (days, died, known)


@pytest.mark.parametrize(
    ("notes", "days"),
    [
        ([(30, "alive"), (90, "dead")], 60.0),
        ([(31, "dead")], 15.5),
        ([(30, "alive"), (90, "missing"), (180, "dead")], 60.0),
        ([(30, "dead"), (90, "alive"), (180, "dead"), (270, "dead")], 135.0),
        ([(30, "alive"), (90, "alive")], 90.0),
    ],
)
def test_midpoint_is_the_middle_of_the_span_in_which_the_death_fell(notes: list[tuple[int, str]], days: float) -> None:
    """The middle would be taken from planting, or a unit alive be moved."""
    assert one(*notes, when="midpoint").days[0] == days


@pytest.mark.parametrize(
    ("notes", "days", "died", "never"),
    [
        ([(30, "alive"), (90, "missing")], 30, False, False),
        ([(30, "missing")], 0, False, True),
        ([(30, "alive"), (90, "missing"), (180, "dead")], 180, True, False),
        ([(30, "dead"), (90, "missing")], 30, True, False),
    ],
)
def test_a_missing_unit_is_passed_over_where_asked(
    notes: list[tuple[int, str]], days: int, died: bool, never: bool
) -> None:
    """A tag overgrown by algae would be counted as a death though the team said it is not known."""
    found = one(*notes, missing="unknown")
    assert (found.days[0], bool(found.died[0]), bool(found.never_seen[0])) == (days, died, never)


def test_missing_counts_as_dead_by_default_and_is_told_apart() -> None:
    """Units that fell off would vanish from the losses, or not be told from those found dead."""
    planted = [(unit, DAY0) for unit in "ABC"]
    visits = [("A", on(90), "missing"), ("B", on(90), "dead"), ("C", on(90), "missing"), ("C", on(180), "dead")]
    found = unit_histories(planted, visits)
    assert found.died.tolist() == [True, True, True]
    assert found.only_missing.tolist() == [True, False, False]


def test_counts_add_up_and_each_oddity_is_counted_once() -> None:
    """Contradictions, units found again and units nobody saw would be hidden in the share."""
    planted = [(unit, DAY0) for unit in "ABCDE"]
    visits = [
        ("A", on(30), "dead"), ("A", on(60), "dead"), ("A", on(90), "alive"),
        ("B", on(30), "missing"), ("B", on(90), "alive"),
        ("C", on(30), "alive"), ("C", on(90), "dead"),
        ("D", on(30), "dead"), ("D", on(60), "missing"), ("D", on(90), "alive"), ("D", on(180), "missing"),
    ]  # fmt: skip
    found = unit_histories(planted, visits)
    assert found.contradictory.tolist() == [True, False, False, True, False]
    assert found.found_again.tolist() == [False, True, False, True, False]
    assert found.never_seen.tolist() == [False, False, False, False, True]
    assert found.counts() == {
        "planted": 5, "died": 2, "last_seen_alive": 2, "never_seen": 1, "contradictory": 2, "found_again": 2,
        "only_missing": 1,
    }  # fmt: skip
    some = found.part(found.contradictory)
    assert some.units.tolist() == ["A", "D"]
    assert some.counts()["planted"] == 2


def test_each_unit_counts_from_its_own_planting() -> None:
    """Units planted later in the season would look as if they had lived longer."""
    found = unit_histories([("A", DAY0), ("B", on(20))], [("A", on(50), "alive"), ("B", on(50), "dead")])
    assert found.days.tolist() == [50, 30]


def test_rows_of_a_table_with_times_of_day_are_read_as_dates() -> None:
    """A visit in the morning would come before a planting in the afternoon of the same day."""
    stamps = pd.to_datetime(["2027-05-01 15:00", "2027-05-01 08:00", "2027-05-31 09:30"])
    table = pd.DataFrame({"tag": ["A", "A"], "date": stamps[1:], "state": ["alive", "dead"]})
    found = unit_histories([("A", stamps[0])], table.itertuples(index=False, name=None))
    assert (found.days[0], found.known_alive_days[0]) == (30, 0)


NOTES = st.dictionaries(st.integers(0, 400), st.sampled_from(STATES), max_size=8)


@given(st.lists(NOTES, min_size=1, max_size=8), st.randoms(use_true_random=False), st.sampled_from(["dead", "unknown"]))
def test_order_of_units_and_visits_says_nothing(notes: list[dict[int, str]], random: Any, missing: Any) -> None:
    """Rows typed in the evening in any order would give another history."""
    planted = [(f"U{k}", on(k)) for k in range(len(notes))]
    visits = [(f"U{k}", on(k + day), state) for k, unit in enumerate(notes) for day, state in unit.items()]
    first = unit_histories(planted, visits, missing=missing)
    random.shuffle(planted)
    random.shuffle(visits)
    second = unit_histories(planted, [*visits, *visits], missing=missing)
    back = np.argsort(second.units)
    for name in ("days", "died", "known_alive_days", "never_seen", "contradictory", "found_again", "only_missing"):
        assert np.array_equal(getattr(first, name), getattr(second, name)[back]), name


@given(NOTES, st.sampled_from(["dead", "unknown"]))
def test_history_holds_for_any_visits(notes: dict[int, str], missing: Any) -> None:
    """A unit seen alive on its last visit would be dead, or its death come before it was last seen alive."""
    seen, middle = one(*notes.items(), missing=missing), one(*notes.items(), missing=missing, when="midpoint")
    living = [day for day, state in notes.items() if state == "alive"]
    assert seen.known_alive_days[0] == max(living, default=0)
    assert bool(seen.died[0]) == any(
        day > max(living, default=-1) and (state == "dead" or (state == "missing" and missing == "dead"))
        for day, state in notes.items()
    )
    assert seen.known_alive_days[0] <= middle.days[0] <= seen.days[0]
    assert (seen.days[0] > middle.days[0]) == (bool(seen.died[0]) and seen.days[0] > seen.known_alive_days[0])
    counts = seen.counts()
    assert counts["planted"] == counts["died"] + counts["last_seen_alive"] + counts["never_seen"]


def test_when_visits_find_all_the_curve_at_a_visit_is_the_plain_share() -> None:
    """Histories and curve together would not come back to units alive by units planted."""
    rng = np.random.default_rng(1)
    death = rng.exponential(200, 80)
    visits = [(f"U{k}", on(d), "alive" if t > d else "dead") for k, t in enumerate(death) for d in (30, 90, 180, 270)]
    found = unit_histories([(f"U{k}", DAY0) for k in range(80)], visits)
    curve = survival_curve(found.days, found.died)
    assert curve.days.tolist() == [30, 90, 180, 270]
    assert curve.share == pytest.approx([(death > d).mean() for d in (30, 90, 180, 270)])


def test_visits_that_cannot_be_are_refused_all_at_once_by_name() -> None:
    """A visit before planting would be a negative time; a mistyped tag would be dropped."""
    planted: list[Any] = [("A", DAY0), ("B", DAY0), ("B", on(3)), ("C", None), ("D", pd.NaT)]
    visits: list[Any] = [
        ("A", on(-2), "alive"), ("Z9", on(30), "alive"), ("A", on(30), "bleached"), ("A", "2027-06-01", "dead"),
        ("A", on(60), "alive"), ("A", on(60), "dead"),
    ]  # fmt: skip
    with pytest.raises(InputFault) as error:
        unit_histories(planted, visits, missing="alive", when="never")  # type: ignore[arg-type]
    text = str(error.value)
    for part in (
        "missing: 'alive'; due: 'dead' or 'unknown'", "when: 'never'", "planted twice: B;", "C (None), D (NaT)",
        "before planting: A (visited 2027-04-29, planted 2027-05-01)", "not planted: Z9;", "A on 2027-05-31 ('bleached')",
        "A ('2027-06-01')", "A on 2027-06-30 (alive and dead)",
    ):  # fmt: skip
        assert part in text
    assert len(error.value.faults) == 9


def test_a_long_list_of_faults_is_cut_and_no_units_are_refused() -> None:
    """A thousand names would bury the message; a curve of nothing would be drawn."""
    planted = [(f"U{k}", DAY0) for k in range(15)]
    with pytest.raises(InputFault, match=r"U9 \(visited 2027-04-30, planted 2027-05-01\) and 5 more; due"):
        unit_histories(planted, [(unit, on(-1), "alive") for unit, _ in planted])
    with pytest.raises(InputFault, match="no units"):
        unit_histories([], [])
