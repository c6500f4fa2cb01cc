"""The tables that decide: what does not fit together is refused, with its table, before anything runs."""

from __future__ import annotations

import tomllib

import pytest

from sitekit.errors import InputFault
from sitekit.season.settings import settings_from
from tests.audit.conftest import PLAN

SITES = """
[[site]]
code = "A"
at = "18.0, -50.0"
[[site]]
code = "B"
at = "18.1, -50.0"
"""


ALIVE = """
[choose.survival.APAL]
points = [[0.6, 0.3], [0.9, 0.6]]
years = 1.0
source = "plots of 2020, made up"
[choose.survival.ACER]
of = "depth_m"
points = [[3.0, 0.7], [9.0, 0.4]]
years = 1.0
source = "plots of 2020, made up"
"""


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (ALIVE.replace('source = "plots of 2020, made up"\n[choose', "[choose"), "choose.survival.APAL.source"),
        (ALIVE.replace('"plots of 2020, made up"', '"  ours "'), "choose.survival.APAL.source"),
        (ALIVE[: ALIVE.index("[choose.survival.ACER]")], "choose.survival lacks species 'ACER'"),
        (ALIVE.replace("survival.ACER", "survival.OFAV"), "choose.survival names species 'OFAV'; known: APAL, ACER"),
        ("[choose]\ndepth_fall_off_m = 9.0\n" + ALIVE, "survival counts units alive: keep one of them"),
        (
            ALIVE.replace("years = 1.0", "years = 2.0", 1),
            "`years` must be the same for all species, got APAL 2, ACER 1",
        ),
        (ALIVE.replace("0.3]", "30.0]"), "shares stand from 0 to 1, 0.4 for 40 %"),
        (ALIVE.replace("[9.0,", "[3.0,"), "must rise in value, got [3.0, 3.0]"),
        (ALIVE.replace("[0.9,", "[90.0,"), "points` of the score: values stand from 0 to 1"),
        ('[choose]\nforce_in = ["A"]\nforce_out = ["A"]\n', "stands in force_in and in force_out"),
        ('[choose]\nforce_in = ["Z"]\n', "choose.force_in names site 'Z'; known: A, B"),
        ("[choose]\nleast_per_site = 9\nmost_per_site = 3\n", "most_per_site 3 is below least_per_site 9"),
        ("[budget]\ncurrency = 'EUR'\n", "give at least one limit: units, dives, boat_days or money"),
        ("[budget]\nmoney = 5\n", "a limit of money needs a price"),
        ("[budget]\nboat_days = 5\nunits_per_dive = 3\n", "needs dives_per_boat_day"),
        ("[budget]\nmoney = -1\n", "greater than 0"),
        (
            '[[question]]\nsite = "A"\nabout = "weather"\nanswer = "yes"\nwho = "me"\nwhen = 2026-02-01\n',
            "question about 'weather'; known: present_before",
        ),
        (
            '[[question]]\nsite = "A"\nabout = "present_before"\nanswer = "yes"\nwho = "me"\nwhen = 2026-02-01\n',
            "choose.pilot_units must say how many units",
        ),
        (
            "[controls]\ndistance_m = 9\ngreatest_distance_m = 5\nscore_tolerance = 0.1\ndepth_tolerance_m = 1\n",
            "must be larger",
        ),
        ("[choose]\nmost_site = 3\n", "Did you mean 'most_sites'?"),
    ],
)
def test_settings_that_cannot_be_are_refused(more: str, said: str) -> None:
    """Each fault of the settings is told with its table before anything runs."""
    with pytest.raises(InputFault) as caught:
        settings_from(tomllib.loads(PLAN + SITES + more))
    assert said in str(caught.value)


def test_one_answer_may_be_about_several_sites() -> None:
    """Fifteen tables that differ in a code are fifteen chances to mistype."""
    more = '[[question]]\nsite = ["A", "B"]\nabout = "present_before"\nanswer = "yes"\nwho = "me"\nwhen = 2026-02-01\n'
    found = settings_from(tomllib.loads(PLAN + SITES + more + "[choose]\npilot_units = 5\n"))
    assert found.question[0].sites == ["A", "B"]
    twice = more + more + "[choose]\npilot_units = 5\n"
    with pytest.raises(InputFault, match="answered twice for site 'A'"):
        settings_from(tomllib.loads(PLAN + SITES + twice))
