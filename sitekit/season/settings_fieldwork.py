"""The tables of `plan.toml` for the dive leader: gas, dives, harvest, weather, sheets, the boat's receiver.

Every figure is typed in by the team. Where a figure would decide about safety there is no default.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import NotNegative, Part, Positive, Text
from sitekit.season.settings_method import SiteCode, SpeciesCode

Weekday = Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
Percent = Annotated[float, Field(ge=0, le=1000)]
Direction = Annotated[float, Field(ge=0, le=360)]
_IMPERIAL = ("capacity_ft3", "rated_psi", "reserve_psi")
_METRIC = ("capacity_l", "rated_bar", "reserve_bar")


class LoggedDive(Part):
    """One dive at work from the team's log: pressure used [psi or bar], average depth [m], minutes."""

    used: Positive
    average_depth_m: NotNegative
    minutes: Positive


class GasSetting(Part):
    """Cylinders and breathing rate, in ft³ and psi or in litres and bar; never mixed."""

    cylinder: Text
    capacity_ft3: Positive | None = None
    rated_psi: Positive | None = None
    reserve_psi: NotNegative | None = None
    rate_ft3_min: float | None = None
    capacity_l: Positive | None = None
    rated_bar: Positive | None = None
    reserve_bar: NotNegative | None = None
    rate_l_min: float | None = None
    logged: LoggedDive | None = None
    cylinders: Annotated[int, Field(ge=2)] | None = None
    turn: Literal["reserve", "thirds"] = "reserve"
    gas: Text = "air"
    greatest_depth_m: Positive | None = None

    @model_validator(mode="after")
    def _one_system(self) -> GasSetting:
        given = {k: getattr(self, k) is not None for k in (*_IMPERIAL, "rate_ft3_min", *_METRIC, "rate_l_min")}
        imperial = any(given[k] for k in (*_IMPERIAL, "rate_ft3_min"))
        metric = any(given[k] for k in (*_METRIC, "rate_l_min"))
        problems = []
        if imperial == metric:
            problems.append(f"give {', '.join(_IMPERIAL)} or {', '.join(_METRIC)}, not both and not none")
        else:
            due = _IMPERIAL if imperial else _METRIC
            rate = "rate_ft3_min" if imperial else "rate_l_min"
            problems += [f"{k} is missing" for k in due if not given[k]]
            if given[rate] == (self.logged is not None):
                problems.append(f"give either {rate} or one `logged` dive")
            value = getattr(self, rate)
            if value is not None and not 0 < value < float("inf"):
                problems.append(f"{rate} is {value}: a breathing rate is above 0")
            rated, reserve = getattr(self, due[1]), getattr(self, due[2])
            if rated is not None and reserve is not None and reserve >= rated:
                problems.append(f"{due[2]} {reserve:g} is not below {due[1]} {rated:g}")
        if self.gas.strip().lower() != "air" and self.greatest_depth_m is None:
            problems.append(
                f"gas {self.gas!r} needs greatest_depth_m from the dive supervisor: gases other than air are planned "
                "only as a depth limit"
            )
        if problems:
            raise ValueError("; ".join(problems))
        return self


class OwnTable(Part):
    """The team's own no-stop table, pasted: depths [ft of sea water], minutes, where it is printed."""

    name: Text
    source: Text
    depth_ft: Annotated[list[float], Field(min_length=1)]
    minutes: Annotated[list[float], Field(min_length=1)]


class DivesSetting(Part):
    """How long a dive may last, and how many there are in a day."""

    no_stop_table: Text | OwnTable
    descent_minutes: NotNegative
    ascent_minutes: NotNegative
    per_day: Annotated[int, Field(ge=1, le=6)] = 1
    max_minutes_dive: Positive | None = None
    surface_interval_min: NotNegative | None = None
    supervisor: Text | None = None

    @model_validator(mode="after")
    def _later_dives(self) -> DivesSetting:
        if self.max_minutes_dive is not None and self.supervisor is None:
            raise ValueError("max_minutes_dive needs `supervisor`, the name of who typed it in")
        if self.per_day > 1 and self.max_minutes_dive is not None and self.surface_interval_min is None:
            raise ValueError("several dives per day need surface_interval_min, as given by the supervisor")
        return self


class HarvestSetting(Part):
    """Taking fragments from the nursery, and how they travel."""

    minutes_per_fragment: Positive
    by: Literal["own pairs", "others"] = "own pairs"
    crate_fragments: Annotated[int, Field(ge=1)]
    deck_crates: Annotated[int, Field(ge=1)] | None = None
    spare_pct: Percent = 0.0
    transport_hours: Annotated[float, Field(gt=0, le=4.0)] = 4.0


class MethodSetting(Part):
    """How units are attached: the team's minutes, and the product sheet's figures where adhesive is used."""

    minutes_per_unit: Positive
    contact_points: Annotated[int, Field(ge=0)] = 0
    adhesive_ml_per_point: NotNegative = 0.0
    working_min: Positive | None = None
    cure_min: Positive | None = None
    nails_per_unit: Annotated[int, Field(ge=0)] = 0
    ties_per_unit: Annotated[int, Field(ge=0)] = 0

    @model_validator(mode="after")
    def _product_sheet(self) -> MethodSetting:
        if self.adhesive_ml_per_point > 0 and (self.working_min is None or self.contact_points < 1):
            raise ValueError("adhesive needs contact_points and working_min, the minutes of the product sheet")
        if self.working_min is not None and self.working_min < self.minutes_per_unit:
            raise ValueError("working_min is shorter than minutes_per_unit: a mix stiffens before one unit is attached")
        return self


class MaterialsSetting(Part):
    """What else goes on board."""

    waste_pct: Percent = 0.0
    spare_pct: Percent = 0.0
    pins_per_plot: Annotated[int, Field(ge=0)] = 2
    floats_per_plot: Annotated[int, Field(ge=0)] = 0


class WindLimitSetting(Part):
    """Most wind from a sector, clockwise, where it blows from, true."""

    from_deg: Direction
    to_deg: Direction
    most_ms: NotNegative


class WeatherSetting(Part):
    """The team's own limits; what is not given is not used."""

    wind_ms: NotNegative | None = None
    by_direction: list[WindLimitSetting] = []
    swell_m: NotNegative | None = None
    visibility_m: NotNegative | None = None
    tide_least_m: float | None = None
    tide_greatest_m: float | None = None


class ClosedSetting(Part):
    """Dates on which no coral is moved: spawning, the yearly peak of heat, anything else."""

    first: datetime.date
    last: datetime.date
    reason: Text


class Fieldwork(Part):
    """The season's work: when, with whom, with what."""

    first_day: datetime.date
    last_day: datetime.date
    weekdays: list[Weekday] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    lost_days: list[datetime.date] = []
    closed_months: list[Annotated[int, Field(ge=1, le=12)]] = []
    closed: list[ClosedSetting] = []
    start: Text
    boat_hours: Positive
    boat_speed_kn: Positive
    route_factor: Annotated[float, Field(ge=1, le=20)] = 1.0
    divers: Annotated[int, Field(ge=2, le=60)]
    site_order: list[SiteCode] = []
    diseased_sites: list[SiteCode] = []
    gas: GasSetting
    dives: DivesSetting
    harvest: HarvestSetting
    methods: Annotated[dict[Text, MethodSetting], Field(min_length=1)]
    attach: dict[SpeciesCode, Text]
    materials: MaterialsSetting = MaterialsSetting()
    weather: WeatherSetting = WeatherSetting()

    @model_validator(mode="after")
    def _fits_together(self) -> Fieldwork:
        problems = [
            f"attach names method {m!r}; known: {', '.join(self.methods)}"
            for m in sorted(set(self.attach.values()))
            if m not in self.methods
        ]
        if self.last_day < self.first_day:
            problems.append(f"last_day {self.last_day} is before first_day {self.first_day}")
        problems += [f"closed: {c.last} is before {c.first}" for c in self.closed if c.last < c.first]
        if not re.fullmatch(r"([01]\d|2[0-3]):[0-5]\d", self.start):
            problems.append(f"start {self.start!r} is no local time such as '07:30'")
        if problems:
            raise ValueError("; ".join(problems))
        return self


class Sheets(Part):
    """The diver's pack."""

    kind: Literal["exact", "guided"] = "exact"
    segment_m: Positive = 3.0
    paper: Literal["half letter", "letter", "A5", "A4"] = "half letter"


class Receiver(Part):
    """The boat's receiver."""

    name_length: Annotated[int, Field(ge=4, le=30)] = 8
    max_waypoints: Annotated[int, Field(ge=1)] = 500
