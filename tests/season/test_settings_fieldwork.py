"""The tables for the dive leader: every slip is told, nothing that decides about safety has a default."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from sitekit.errors import InputFault
from sitekit.pipeline.crew import crew_of, cylinder_of, limits_of, methods_of, nursery_of, rates_of, trips
from sitekit.season.settings_fieldwork import DivesSetting, Fieldwork, GasSetting, MethodSetting, Receiver

GAS: dict[str, Any] = {
    "cylinder": "80", "capacity_ft3": 77.4, "rated_psi": 3000.0, "reserve_psi": 500.0, "rate_ft3_min": 0.75,
}  # fmt: skip
METRIC: dict[str, Any] = {
    "cylinder": "12",
    "capacity_l": 2400.0,
    "rated_bar": 200.0,
    "reserve_bar": 50.0,
    "rate_l_min": 20.0,
}
DIVES: dict[str, Any] = {"no_stop_table": "usn-rev7", "descent_minutes": 5.0, "ascent_minutes": 5.0}


def work(**more: Any) -> Fieldwork:
    given = {
        "first_day": "2026-05-04", "last_day": "2026-05-08", "start": "07:00", "boat_hours": 8.0, "boat_speed_kn": 12.0,
        "divers": 5, "attach": {"ACER": "glue"}, "gas": GAS, "dives": DIVES,
        "harvest": {"minutes_per_fragment": 0.2, "crate_fragments": 10},
        "methods": {"glue": {"minutes_per_unit": 3.0}}, **more,
    }  # fmt: skip
    return Fieldwork.model_validate(given, strict=False)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"rate_ft3_min": 0.0}, "rate_ft3_min is 0.0: a breathing rate is above 0"),
        ({"rate_ft3_min": -1.0}, "a breathing rate is above 0"),
        ({"rate_ft3_min": None}, "give either rate_ft3_min or one `logged` dive"),
        ({"capacity_l": 12.0}, "not both and not none"),
        ({"reserve_psi": 3000.0}, "reserve_psi 3000 is not below rated_psi 3000"),
        ({"rated_psi": None}, "rated_psi is missing"),
        ({"gas": "EAN32"}, "gas 'EAN32' needs greatest_depth_m from the dive supervisor"),
    ],
)
def test_gas_that_cannot_be_is_refused(change: dict[str, Any], why: str) -> None:
    """Units are never mixed, and another gas is only a depth limit."""
    with pytest.raises(ValidationError, match=why.replace("`", ".").replace("(", r"\(")):
        GasSetting.model_validate({**GAS, **change})


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"max_minutes_dive": 45.0}, "needs .supervisor."),
        ({"per_day": 2, "max_minutes_dive": 45.0, "supervisor": "N. N."}, "surface_interval_min"),
        ({"per_day": 0}, "greater than or equal to 1"),
    ],
)
def test_later_dives_ask_for_the_supervisor(change: dict[str, Any], why: str) -> None:
    """A number nobody stands for is not planned by."""
    with pytest.raises(ValidationError, match=why):
        DivesSetting.model_validate({**DIVES, **change})


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"start": "7 am"}, "is no local time such as '07:30'"),
        ({"last_day": "2026-05-01"}, "is before first_day"),
        ({"attach": {"ACER": "tape"}}, "attach names method 'tape'"),
        ({"closed": [{"first": "2026-05-02", "last": "2026-05-01", "reason": "heat"}]}, "closed: 2026-05-01 is before"),
        ({"divers": 1}, "greater than or equal to 2"),
        (
            {"harvest": {"minutes_per_fragment": 0.2, "crate_fragments": 10, "transport_hours": 5.0}},
            "less than or equal to 4",
        ),
    ],
)
def test_work_that_cannot_be_is_refused(change: dict[str, Any], why: str) -> None:
    """Each with its key in the message."""
    with pytest.raises(ValidationError, match=why):
        work(**change)


def test_a_product_without_its_sheet_is_refused() -> None:
    """Working time has no default, and one unit must fit in it."""
    with pytest.raises(ValidationError, match="adhesive needs contact_points and working_min"):
        MethodSetting.model_validate({"minutes_per_unit": 3.0, "adhesive_ml_per_point": 5.0})
    with pytest.raises(ValidationError, match="a mix stiffens before one unit is attached"):
        MethodSetting.model_validate(
            {"minutes_per_unit": 9.0, "adhesive_ml_per_point": 5.0, "contact_points": 1, "working_min": 8.0}
        )
    assert methods_of(work())["glue"].adhesive_ml_per_unit == 0


def test_receivers_have_sane_limits() -> None:
    """Names of three letters cannot stay unique."""
    assert Receiver().name_length == 8
    with pytest.raises(ValidationError, match="greater than or equal to 4"):
        Receiver(name_length=3)


def test_metric_and_imperial_plans_agree_to_one_percent() -> None:
    """The same cylinder, rate and depth in both systems: 33 ft against 10 m is 0.6 %."""
    imperial = rates_of(work())
    litres = 28.316846592
    metric = rates_of(
        work(
            gas={
                **METRIC,
                "capacity_l": 77.4 * litres,
                "rated_bar": 206.8427,
                "reserve_bar": 34.4738,
                "rate_l_min": 0.75 * litres,
            }
        )
    )
    assert cylinder_of(work(gas=METRIC).gas).system == "metric"
    for depth in (3.0, 10.0, 20.0):
        assert imperial.used(depth, 30.0) * litres == pytest.approx(metric.used(depth, 30.0), rel=0.01)


def test_gas_time_ends_at_the_printed_turn_pressure() -> None:
    """Leaving at the turn pressure after the planned time must leave the reserve at the surface."""
    rates = rates_of(work())
    for depth in (1.0, 6.0, 12.5, 20.0):
        used = rates.used(depth, rates.gas_minutes(depth))
        assert 77.4 - used >= 77.4 * 500 / 3000 - 1e-9
        assert rates.turn(depth) % 100 == 0


def test_a_logged_dive_gives_the_rate_it_used() -> None:
    """1500 psi of an 80 in 40 min at 45 ft are 0.409 ft³/min (reference row dive-sac)."""
    given = {k: v for k, v in GAS.items() if k != "rate_ft3_min"}
    rates = rates_of(work(gas={**given, "logged": {"used": 1500.0, "average_depth_m": 13.716, "minutes": 40.0}}))
    assert rates.rate == pytest.approx(0.4093269230769231, abs=1e-9)


def test_several_dives_need_minutes_else_one_is_planned_and_said() -> None:
    """An odd diver stays on the boat, and that is said too."""
    crew, notes = crew_of(work(dives={**DIVES, "per_day": 3}))
    assert (crew.pairs, crew.dives_per_day) == (2, 1)
    assert len(notes) == 2
    assert "judges a day's first dive only" in notes[0]
    assert "one stays on the boat" in notes[1]
    crew, notes = crew_of(
        work(
            dives={**DIVES, "per_day": 3, "max_minutes_dive": 40.0, "supervisor": "N.", "surface_interval_min": 60.0},
            divers=4,
        )
    )
    assert (crew.dives_per_day, crew.surface_min, notes) == (3, 60.0, [])


def test_depth_beyond_gas_is_refused() -> None:
    """A cylinder too small for the depth plans no dive at all."""
    rates = rates_of(work(gas={**GAS, "reserve_psi": 2800.0}))
    with pytest.raises(InputFault, match=r"gas leaves no minute at 30\.0 m"):
        rates.allowed(30.0, True)


def test_ways_crates_and_limits_follow_the_settings() -> None:
    """12 knots are 6.17 m/s: 3.7 km take 10 min, 12 with a factor of 1.2."""
    way = trips({"a": (0.0, 0.0), "b": (3704.0, 0.0)}, 12.0, 1.2)
    assert way("a", "b") == pytest.approx(12.0)
    deck = nursery_of(work(harvest={"minutes_per_fragment": 0.2, "crate_fragments": 10, "deck_crates": 3}), 6.0)
    assert deck.most_fragments == 30
    assert (
        limits_of(work(weather={"by_direction": [{"from_deg": 0.0, "to_deg": 90.0, "most_ms": 5.0}]})).wind_limit(45)
        == 5.0
    )
