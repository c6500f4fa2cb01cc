"""The `[[permit]]` tables of `plan.toml`: what an authority allows, and the facts that only the team can state.

A fact that is not given is never made up: the packet is then stamped DRAFT and the fact is listed as an open item.
"""

from __future__ import annotations

import datetime
import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import Part, Positive, Text
from sitekit.season.settings_method import SpeciesCode

Whole = Annotated[int, Field(ge=1)]
Words = Annotated[str, Field(min_length=1, max_length=600)]
# Horizontal datums that offices name, with their codes in the EPSG register (RAN: pyproj 3.7).
DATUMS: dict[str, str] = {
    "WGS 84": "EPSG:4326",
    "NAD83": "EPSG:4269",
    "NAD83(2011)": "EPSG:6318",
    "ETRS89": "EPSG:4258",
    "GDA94": "EPSG:4283",
    "GDA2020": "EPSG:7844",
    "SIRGAS 2000": "EPSG:4674",
}


class Cap(Part):
    """The most that may be planted of a species, in an area, in a period; what is left out holds for all."""

    most: Whole
    counts: Literal["fragments", "units", "genets"] = "fragments"
    species: SpeciesCode | None = None
    area: Text | None = None
    valid_from: datetime.date | None = None
    valid_to: datetime.date | None = None

    @model_validator(mode="after")
    def _in_order(self) -> Cap:
        _check_period(self.valid_from, self.valid_to, "valid_from", "valid_to")
        return self


class Material(Part):
    """Something brought to the bottom: how many, and whether it stays or by when it is removed."""

    item: Text
    number: Annotated[int, Field(ge=0)] | None = None
    stays: bool
    removed_by: datetime.date | None = None
    note: Text | None = None

    @model_validator(mode="after")
    def _stays_or_goes(self) -> Material:
        if self.stays and self.removed_by is not None:
            raise ValueError(f"{self.item!r} stays and has a date of removal: give one of them")
        return self


class Buoy(Part):
    """A marker buoy at the surface, with its position."""

    name: Text
    at: Text
    kind: Text | None = None
    removed_by: datetime.date | None = None


class UnitHeight(Part):
    """How high a unit of a species stands above the bottom when planted and later, as the team states it."""

    species: SpeciesCode
    now_cm: Positive
    later_cm: Positive | None = None
    later_years: Positive | None = None
    source: Text | None = None

    @model_validator(mode="after")
    def _later_when(self) -> UnitHeight:
        if (self.later_cm is None) != (self.later_years is None):
            raise ValueError("later_cm and later_years belong together")
        return self


class Survey(Part):
    """One visit of the monitoring schedule."""

    when: Text
    what: Text


class Permit(Part):
    """One permit, held or applied for. The first one of the plan heads the packet."""

    authority: Text
    number: Text | None = None
    file_number: Text | None = None
    applicant: Text | None = None
    contact: Text | None = None
    water_body: Text | None = None
    activity: Text | None = None
    purpose: Words | None = None
    revision: Annotated[str, Field(pattern=r"^[A-Z0-9]{1,4}$")] = "A"
    valid_from: datetime.date | None = None
    valid_to: datetime.date | None = None
    areas: list[Text] = []
    area_file: Text | None = None
    area_crs: Text | None = None
    most_area_m2: Positive | None = None
    caps: list[Cap] = []
    genet_regions: list[Text] = []
    methods: list[Text] = []
    conditions: list[Words] = []
    reports_due: list[datetime.date] = []
    planting_from: datetime.date | None = None
    planting_to: datetime.date | None = None
    attachment: Text | None = None
    stock_source: Words | None = None
    materials: list[Material] = []
    buoys: list[Buoy] = []
    heights: list[UnitHeight] = []
    monitoring: list[Survey] = []
    high_water_m: float | None = None
    low_water_m: float | None = None
    datum: Text = "WGS 84"
    text_limits: dict[Literal["abstract", "methods"], Whole] = {}
    amends: Text | None = None
    amendment_reason: Words | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> Permit:
        _check_period(self.valid_from, self.valid_to, "valid_from", "valid_to")
        _check_period(self.planting_from, self.planting_to, "planting_from", "planting_to")
        if self.datum not in DATUMS and not re.fullmatch(r"EPSG:\d{4,6}", self.datum):
            raise ValueError(
                f"datum {self.datum!r} is unknown: one of {', '.join(DATUMS)}, or a code such as EPSG:4326"
            )
        if self.amends is not None and self.amendment_reason is None:
            raise ValueError("amends needs amendment_reason: an office asks why")
        if self.low_water_m is not None and self.high_water_m is not None and self.low_water_m > self.high_water_m:
            raise ValueError(f"low_water_m {self.low_water_m:g} is above high_water_m {self.high_water_m:g}")
        return self

    def named(self) -> str:
        """Authority and number, for lists."""
        return f"{self.authority}, no. {self.number or self.file_number or 'not stated'}"


def _check_period(first: datetime.date | None, last: datetime.date | None, start: str, end: str) -> None:
    if first is not None and last is not None and last < first:
        raise ValueError(f"the period ends before it starts: {start} {first}, {end} {last}")


def permit_problems(permits: list[Permit], species: list[str]) -> list[str]:
    """Return what does not fit the rest of a plan: species that it does not plant."""
    problems = []
    for k, permit in enumerate(permits, start=1):
        named = [c.species for c in permit.caps] + [h.species for h in permit.heights]
        problems += [
            f"permit[{k}] names species {c!r}; known: {', '.join(species)}"
            for c in sorted({n for n in named if n is not None and n not in species})
        ]
    return problems
