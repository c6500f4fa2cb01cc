"""The queue: every unit once, within the clock, the boat's hours and the crew; why a day cannot be."""

from __future__ import annotations

import datetime
import itertools
import math
import time
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.bottom_time import BottomTime
from sitekit.fieldwork.days import HARVEST, PLANT, Crew, Nursery, Queue, plan_days, queue_order
from sitekit.fieldwork.work import DiveTimes, PlotWork, units_per_dive, work_minutes

DATES = [datetime.date(2026, 5, 1) + datetime.timedelta(days=k) for k in range(40)]
TIMES = DiveTimes(5.0, 5.0)
CREW = Crew(pairs=3, dives_per_day=2, surface_min=60.0, boat_min=480.0, transport_min=240.0)
NURSERY = Nursery(6.0, 0.3)


def forty(depth_m: float, first: bool) -> BottomTime:
    return BottomTime(40.0, "gas", 40.0, 100.0 if first else None, 45.0, 40.0 if first else None)


def ten_minutes(start: str, end: str) -> float:
    return 0.0 if start == end else 10.0


def works(*sizes: int, site: str = "A", **more: object) -> list[PlotWork]:
    first, out = 1, []
    for k, n in enumerate(sizes):
        out.append(PlotWork(f"{site}-{k + 1}", site, 9.0, tuple(range(first, first + n)), 1, 2.5, **more))  # type: ignore[arg-type]
        first += n
    return out


def plan(work: list[PlotWork], crew: Crew = CREW, nursery: Nursery = NURSERY, dates: int = 40) -> Queue:
    return plan_days(work, DATES[:dates], crew=crew, nursery=nursery, times=TIMES, allowed=forty, trip=ten_minutes)


@settings(max_examples=25)
@given(
    sizes=st.lists(st.integers(0, 30), min_size=1, max_size=6), pairs=st.integers(2, 5), dives=st.integers(1, 3),
    dates=st.integers(0, 12),
)  # fmt: skip
def test_every_unit_is_planted_once_or_left_over(sizes: list[int], pairs: int, dives: int, dates: int) -> None:
    """A unit planned twice or lost shows here; so do limits that are broken."""
    work = works(*sizes)
    crew = replace(CREW, pairs=pairs, dives_per_day=dives, transport_min=400.0)
    queue = plan(work, crew, dates=dates)
    done = [(d.plot, n) for day in queue.days for d in day.dives if d.kind == PLANT for n in d.numbers]
    left = [(p, n) for p, numbers in queue.rest.items() for n in numbers]
    assert sorted(done + left) == sorted((w.plot, n) for w in work for n in w.numbers)  # type: ignore[type-var]
    assert len(queue.days) <= dates
    for day in queue.days:
        assert max(Counter(d.pair for d in day.dives).values()) <= dives
        assert day.back_min <= crew.boat_min
        assert day.clock_min is not None
        assert day.clock_min < crew.transport_min
        assert all(d.bottom_min <= d.allowed.minutes + 1e-9 for d in day.dives)
        pulled = sum(d.fragments for d in day.dives if d.kind == HARVEST)
        assert pulled == sum(d.fragments for d in day.dives if d.kind == PLANT)
        for pair in {d.pair for d in day.dives}:
            own = sorted((d for d in day.dives if d.pair == pair), key=lambda d: d.start_min)
            assert [d.first_of_day for d in own] == [True] + [False] * (len(own) - 1)
            for a, b in itertools.pairwise(own):
                assert b.start_min - a.end_min >= crew.surface_min - 1e-6


def test_the_nursery_dive_counts_as_the_first_dive() -> None:
    """A table read for a planting dive after a harvest would allow too much."""
    day = plan(works(10)).days[0]
    harvest = next(d for d in day.dives if d.kind == HARVEST)
    again = [d for d in day.dives if d.kind == PLANT and d.pair == harvest.pair]
    assert harvest.first_of_day
    assert again
    assert not any(d.first_of_day for d in again)


def test_one_dive_each_leaves_the_planting_to_the_other_pairs() -> None:
    """With one dive per diver a pair that harvests does not plant."""
    day = plan(works(60), replace(CREW, dives_per_day=1)).days[0]
    harvesters = {d.pair for d in day.dives if d.kind == HARVEST}
    planters = {d.pair for d in day.dives if d.kind == PLANT}
    assert not harvesters & planters
    assert len(day.dives) == len(harvesters) + len(planters) == 3
    assert day.units == 2 * 14  # 40 min − 5 min, 2.5 min a unit


def test_one_pair_with_one_dive_cannot_harvest_and_plant() -> None:
    """The reason must say so; others may harvest."""
    with pytest.raises(InputFault, match="all pairs harvest and each diver dives once a day"):
        plan(works(5), replace(CREW, pairs=1, dives_per_day=1))
    queue = plan(works(5), replace(CREW, pairs=1, dives_per_day=1), replace(NURSERY, by_others=True))
    assert [d.kind for d in queue.days[0].dives] == [PLANT]
    assert queue.days[0].clock_min is None


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"boat_min": 60.0}, "the boat would be out"),
        ({"transport_min": 50.0}, "fragments would wait"),
        ({"most_dives": 1}, "2 dives of pairs, cylinders on board for 1"),
    ],
)
def test_a_day_that_cannot_be_says_which_limit_binds(change: dict[str, float], why: str) -> None:
    """A leader must see whether hours, clock or cylinders are short."""
    with pytest.raises(InputFault, match=why):
        plan(works(5), replace(CREW, **change))  # type: ignore[arg-type]


def test_the_deck_limits_the_harvest_spares_included() -> None:
    """20 fragments on deck with 10 % spares are 18 to plant and 2 spares."""
    day = plan(works(100), nursery=replace(NURSERY, most_fragments=20, spare_pct=10.0)).days[0]
    assert day.units == 18
    assert sum(d.fragments for d in day.dives if d.kind == HARVEST) == 20


def test_a_pair_keeps_to_its_plot() -> None:
    """Two pairs on one tape get in each other's way while another plot lies idle."""
    queue = plan(works(40, 40, 40))
    first = [d for d in queue.days[0].dives if d.kind == PLANT and d.round == 1]
    assert len({d.plot for d in first}) == len(first)
    again = {d.pair: d.plot for d in queue.days[0].dives if d.kind == PLANT and d.round == 2}
    assert all(again[d.pair] == d.plot for d in first if d.pair in again)


def test_clean_sites_come_before_diseased_ones() -> None:
    """Work at a diseased site first carries the disease on."""
    assert queue_order(["X", "Y", "Z"], {"X": True}) == ["Y", "Z", "X"]
    queue = plan([*works(10, site="Y"), *works(10, site="X", diseased=True)])
    sites = [d.site for day in queue.days for d in sorted(day.dives, key=lambda d: d.start_min) if d.kind == PLANT]
    assert sites == sorted(sites, key=lambda s: s == "X")


def test_lost_days_move_the_queue_and_never_add_to_it() -> None:
    """Three days fewer: the same work begins, less of it is done."""
    work = works(60, 60, 60)
    all_days, fewer = plan(work, dates=4), plan(work, dates=1)
    assert [d.dives for d in fewer.days] == [replace(all_days.days[0]).dives]
    assert sum(len(n) for n in fewer.rest.values()) == 180 - fewer.days[0].units


def test_units_of_a_dive_are_whole_and_fit() -> None:
    """35 min hold 14 units of 2.5 min; a unit longer than the dive is refused."""
    assert work_minutes(forty(9, True), TIMES) == 35.0
    assert units_per_dive(forty(9, True), TIMES, 2.5, "plot") == 14
    assert units_per_dive(forty(9, True), TIMES, 35.0 / 14, "plot") == 14
    with pytest.raises(InputFault, match="plot X: 35 min of work do not hold one unit of 36 min"):
        units_per_dive(forty(9, True), TIMES, 36.0, "plot X")
    with pytest.raises(InputFault, match="minutes_per_unit: 0; due: above 0"):
        units_per_dive(forty(9, True), TIMES, 0, "plot X")


@given(minutes=st.floats(0.1, 60), bottom=st.integers(1, 200))
def test_planned_work_never_exceeds_the_dive(minutes: float, bottom: int) -> None:
    """Descent and all units together stay within the bottom time."""
    allowed = replace(forty(9, True), minutes=float(bottom))
    if work_minutes(allowed, TIMES) < minutes:
        return
    units = units_per_dive(allowed, TIMES, minutes, "plot")
    assert TIMES.descent_min + units * minutes <= bottom + 1e-6
    assert TIMES.descent_min + (units + 1) * minutes > bottom - 1e-6


def test_a_queue_of_sixty_plots_is_laid_out_within_five_seconds() -> None:
    """Re-planning on the quay must not take longer than coffee."""
    start = time.process_time()
    queue = plan(works(*[20] * 60))
    assert time.process_time() - start < 5.0
    assert sum(d.units for d in queue.days) == 60 * 20
    assert math.isfinite(queue.days[-1].back_min)
