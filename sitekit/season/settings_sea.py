"""The tables of `plan.toml` about the sea: waves, tide, light, heat, each from a team's own files."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import UNSTATED, AsTable, NotNegative, Part, Positive, Share, Text

Height = Annotated[float, Field(ge=-20, le=20)]  # of tide above a datum [m]; larger ones are a slip of unit
TideName = Literal["datum", "lowest", "mean", "highest"]
Year = Annotated[int, Field(ge=1900, le=2200)]


class Tide(AsTable):
    """Heights of tide: predictions from a file, or the numbers themselves; counted from the depths' own datum."""

    file: Text | None = None
    time: Text = "time"
    height_m: Text = "height_m"
    datum: Text | None = None
    offset_m: Height | None = None
    first: datetime.date | None = None
    last: datetime.date | None = None
    lowest_m: Height | None = None
    mean_m: Height | None = None
    highest_m: Height | None = None
    least_work_depth_m: NotNegative | None = None
    source: Text

    @model_validator(mode="after")
    def _one_origin(self) -> Tide:
        numbers = [self.lowest_m, self.mean_m, self.highest_m]
        problems = []
        if self.file is not None and any(n is not None for n in numbers):
            problems.append("give either a file or lowest_m, mean_m, highest_m, not both")
        if self.file is None and any(n is None for n in numbers):
            problems.append("without a file, lowest_m, mean_m and highest_m are due [m above the depths' datum]")
        given = [n for n in numbers if n is not None]
        if given != sorted(given):
            problems.append("lowest_m ≤ mean_m ≤ highest_m is due")
        if self.file is not None and self.datum is None:
            problems.append("datum is due beside a file: what its heights are counted from, e.g. 'MLLW'")
        if self.first is not None and self.last is not None and self.last < self.first:
            problems.append(f"last {self.last} is before first {self.first}")
        if self.file is None and (self.first or self.last):
            problems.append("first and last choose days of a file, and no file is given")
        if problems:
            raise ValueError("; ".join(problems))
        return self


class Waves(Part):
    """Wave exposure worked out from wind, water and land; wind sea only unless a swell file is given."""

    wind: Text
    wind_form: Literal["table", "hours"] = "table"
    anemometer_m: Annotated[float, Field(ge=1, le=20)] = 10.0
    method: Literal["spm1984", "spm1984_shallow", "jonswap1973", "cem2002"]
    directions: Annotated[int, Field(ge=8, le=36)] = 16
    swell: Text | None = None
    wind_table: AsTable = AsTable()
    swell_table: AsTable = AsTable()
    fetch_limit_m: Annotated[float, Field(gt=0, lt=5e6)] | None = None
    land_reach_m: Positive | None = None
    gaps: Literal["water", "land", "unknown"]
    shore_depth_m: Annotated[float, Field(ge=-20, le=20)] = 0.0
    at: TideName = "datum"
    fetch_cell_m: Positive | None = None
    mobile_ms: Annotated[float, Field(ge=0.01, le=10)] = 0.30
    high_share: Annotated[float, Field(ge=0.5, le=1)] = 0.95
    max_unknown_share: Share = 0.0
    breaker_index: Annotated[float, Field(ge=0.3, le=1.3)] = 0.78
    shelter_wind_ms: Annotated[float, Field(gt=0, le=90)]
    source: Text


class Light(Part):
    """Share of the light just below the surface that reaches the bottom."""

    kd_per_m: Annotated[float, Field(gt=0, le=20)] | None = None
    raster: Text | None = None
    kind: Literal["par", "490"]
    at: TideName = "mean"
    source: Text

    @model_validator(mode="after")
    def _one_kd(self) -> Light:
        if (self.kd_per_m is None) == (self.raster is None):
            raise ValueError(
                "give either kd_per_m [1/m] or raster, the name of a table [layers.rasters.NAME] that holds it"
            )
        return self


class Heat(AsTable):
    """Heat stress from a daily series of sea temperature, of a station or of pixels."""

    file: Text
    value: Text
    units: Literal["degC", "K"] | None = None
    date: Text = "date"
    missing: float | None = None
    fill_days: Annotated[int, Field(ge=0, le=31)] = 3
    pixel_m: Positive | None = None
    limit_c: Annotated[float, Field(ge=-3, le=45)]
    first_year: Year
    last_year: Year
    mmm_c: Annotated[float, Field(ge=-3, le=45)] | None = None
    source: Text

    @model_validator(mode="after")
    def _years(self) -> Heat:
        if self.last_year < self.first_year:
            raise ValueError(f"last_year {self.last_year} is before first_year {self.first_year}")
        return self


def tide_problems(tide: Tide | None, named: Mapping[str, str], datum: str) -> list[str]:
    """Return what does not fit between `[tide]`, the tides that other tables name, and the depths' datum.

    Parameters
    ----------
    tide : Tide or None
    named : mapping of key to name
        E.g. `{"waves.at": "lowest"}`.
    datum : str
        Of the bathymetry.
    """
    problems = []
    for key, name in named.items():
        if tide is None and name != "datum":
            problems.append(f"{key} is {name!r} and there is no [tide]: add it, or set {key} = 'datum'")
    if (
        tide is not None
        and tide.file is not None
        and tide.offset_m is None
        and (tide.datum != datum or datum == UNSTATED)
    ):
        problems.append(
            f"tide.datum is {tide.datum!r}, the depths are counted from {datum!r}: add tide.offset_m, "
            "the height of the tide's datum above that of the depths [m]"
        )
    return problems
