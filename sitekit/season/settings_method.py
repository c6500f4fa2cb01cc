"""The tables of `plan.toml` that say how places are judged, chosen and filled."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import NotNegative, Part, PartialTable, Positive, Share, Text

SpeciesCode = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9]{1,11}$")]
Pair = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9]{1,11} [A-Za-z][A-Za-z0-9]{1,11}$")]  # two species codes
SiteCode = Annotated[str, Field(pattern=r"^[A-Z0-9]{1,6}$")]


class Plan(Part):
    """What the plan is called, what it is for, and how it is computed."""

    name: Text
    goal: Annotated[str, Field(min_length=1, max_length=2000)] | None = None
    date: datetime.date
    cell_m: Positive
    crs: Text = "auto"
    seed: int = 1
    fictional: bool = False


class Terrain(Part):
    """Sizes of the windows for terrain criteria [m]."""

    ruggedness_radius_m: Positive = 2.0
    position_inner_m: NotNegative = 5.0
    position_outer_m: Positive = 15.0

    @model_validator(mode="after")
    def _ring(self) -> Terrain:
        if self.position_inner_m >= self.position_outer_m:
            raise ValueError("position_inner_m must be smaller than position_outer_m")
        return self


class Species(Part):
    """One species: its code in stock and outputs, its criteria, its outplant unit."""

    code: SpeciesCode
    name: Text
    criteria: Text | None = None
    fragments_per_unit: Annotated[int, Field(ge=1, le=200)] = 1
    fragment_gap_mm: Positive | None = None
    unit: Literal["one genet", "mixed"] = "one genet"
    separation_m: Positive | None = None
    least_size_cm: NotNegative | None = None
    warn_size_cm: NotNegative | None = None

    @model_validator(mode="after")
    def _gap(self) -> Species:
        if self.fragments_per_unit > 1 and self.fragment_gap_mm is None:
            raise ValueError("a unit of several fragments needs fragment_gap_mm, the gap between them [mm]")
        return self


class CurveSetting(Part):
    """How a value becomes a response from 0 to 1.

    `trapezoid` at [a, b, c, d]; `rise` and `fall` at [a, b]; `bell` at [centre, standard deviation];
    `table` with points [[value, response], …]; `classes` with class names and responses.
    """

    shape: Literal["trapezoid", "rise", "fall", "bell", "table", "classes"]
    at: list[float] = []
    points: list[Annotated[list[float], Field(min_length=2, max_length=2)]] = []
    classes: dict[str, Share] = {}

    @model_validator(mode="after")
    def _right_numbers(self) -> CurveSetting:
        due = {"trapezoid": 4, "rise": 2, "fall": 2, "bell": 2}
        if self.shape in due and len(self.at) != due[self.shape]:
            raise ValueError(f"a {self.shape} needs {due[self.shape]} numbers in `at`, got {len(self.at)}")
        if self.shape in ("trapezoid", "rise", "fall") and sorted(self.at) != self.at:
            raise ValueError(f"numbers in `at` must not fall: {self.at}")
        if self.shape == "bell" and self.at[1] <= 0:
            raise ValueError(f"the standard deviation of a bell must be above 0: {self.at}")
        if self.shape == "table" and len(self.points) < 2:
            raise ValueError("a table needs at least two `points` [value, response]")
        if any(not 0 <= y <= 1 for _, y in self.points) or sorted(self.points) != self.points:
            raise ValueError("`points` must rise in value, with responses from 0 to 1")
        if self.shape == "classes" and not self.classes:
            raise ValueError("`classes` needs class names with responses")
        return self


class CriterionSetting(Part):
    """One thing a place is judged by, for some or all species."""

    name: Text
    field: Text
    curve: CurveSetting
    weight: NotNegative
    source: Text
    species: list[SpeciesCode] = []
    replaces: Text | None = None


class Score(Part):
    """How responses are combined, and what counts as passing."""

    combine: Literal["geometric mean", "mean", "lowest"] = "geometric mean"
    passing: Share
    max_unknown_weight: Share = 0.25


class Exclusions(Part):
    """What rules a cell out whatever its score. A limit that is not given is not used."""

    least_depth_m: float | None = None
    greatest_depth_m: float | None = None
    greatest_slope_deg: Positive | None = None
    substrate: list[Text] = []
    unknown_substrate: bool = True
    permit_held: list[Text] = []


class Candidates(Part):
    """Which patches become candidates."""

    least_area_m2: Positive
    from_file: Annotated[Text | None, Field(alias="from")] = None


class Edited(Part):
    """A result that a person edited; it replaces the computed one."""

    from_file: Annotated[Text, Field(alias="from")]


class Site(Part):
    """A code that a person gives to a place; it lasts."""

    code: SiteCode
    name: Text | None = None
    at: Text | None = None
    polygon: Text | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Site:
        if (self.at is None) == (self.polygon is None):
            raise ValueError("give either `at` (a position) or `polygon` (a file)")
        return self


class PlotSetting(Part):
    """The shape that divers lay on the bottom."""

    shape: Literal["rectangle", "circle"] = "rectangle"
    length_m: Positive = 18.0
    width_m: Positive = 4.0
    radius_m: Positive = 5.0
    gap_m: NotNegative = 20.0
    allowed_share: Annotated[float, Field(gt=0, le=1)] = 0.8
    bearings: Annotated[int, Field(ge=1, le=180)] = 18
    robust_share: Share = 0.0
    most: Annotated[int, Field(ge=1)] | None = None

    @property
    def said(self) -> str:
        """Its size in words, for messages."""
        if self.shape == "circle":
            return f"plot of {self.radius_m:g} m radius"
        return f"plot of {self.length_m:g} m × {self.width_m:g} m"

    @property
    def size_keys(self) -> str:
        """The settings that make it smaller."""
        return "spacing.plot.radius_m" if self.shape == "circle" else "spacing.plot.length_m and width_m"


class Spacing(Part):
    """How colonies stand on the bottom."""

    mode: Literal["plots", "number", "fill"] = "plots"
    separation_m: Positive
    lay_tolerance_m: NotNegative
    clearance_m: NotNegative
    edge_clearance_m: NotNegative = 0.0
    pin_error_m: NotNegative = 5.0
    numbers: dict[SpeciesCode, Annotated[int, Field(ge=1)]] = {}
    between_species_m: Positive | None = None
    between: dict[Pair, Positive] = {}
    effort: Annotated[int, Field(ge=0, le=10_000_000)] = 0
    plot: PlotSetting = PlotSetting()

    @model_validator(mode="after")
    def _pairs(self) -> Spacing:
        pairs = [tuple(sorted(key.split())) for key in self.between]
        twice = sorted({" ".join(p) for p in pairs if pairs.count(p) > 1})
        same = sorted({p[0] for p in pairs if p[0] == p[1]})
        problems = [f"between gives the pair {p!r} twice" for p in twice]
        problems += [f"between names {c!r} with itself; set separation_m in its [[species]] table" for c in same]
        if problems:
            raise ValueError("; ".join(problems))
        return self

    def between_m(self, one: str, other: str) -> float | None:
        """Return the separation set for two species [m]: the pair's own, else the one for all pairs, else None."""
        own = {frozenset(key.split()): value for key, value in self.between.items()}
        return own.get(frozenset((one, other)), self.between_species_m)


class Stock(PartialTable):
    """The nursery's stock list and the gate that fragments must pass."""

    file: Text
    partner: Text | None = None
    columns: dict[
        Literal[
            "species",
            "genet",
            "source",
            "source_region",
            "structure",
            "owner",
            "ready",
            "size_cm",
            "health",
            "health_date",
            "partner",
        ],
        Text,
    ] = {}
    oldest_health_days: Annotated[int, Field(ge=1)] | None = None
    accept_watch: bool = False


class Tagging(Part):
    """Which units get a physical tag, and from which list."""

    which: Literal["all", "share", "plot"] = "all"
    share: Share = 0.1
    numbers_from: Text | None = None
    first: Annotated[int, Field(ge=1)] = 1


class Place(Part):
    """A named position."""

    name: Text
    at: Text
    depth_m: NotNegative | None = None


class Outputs(Part):
    """What is written for people."""

    coordinates: Literal["DD", "DDM", "DMS"] = "DDM"
    public: bool = False
    paper: Literal["letter", "A4"] = "letter"
    packet_colour: bool = False
    units: Literal["m", "ft", "both"] = "both"
    language: Literal["en", "es", "fr"] = "en"
