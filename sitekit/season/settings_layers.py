"""The tables of `plan.toml` that name a team's files: what they hold, in which units, on which datum."""

from __future__ import annotations

import codecs
import re
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from sitekit.layers.cells import Reading

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Rule = Literal["forbidden", "permit", "preferred", "none"]
Text = Annotated[str, Field(min_length=1, max_length=200)]
DepthUnit = Literal["m", "ft", "fathom"]
CalendarYear = Annotated[str, Field(pattern=r"^(19|20)\d\d$")]


UNSTATED = "unstated datum"  # what stands in place of a datum that nobody knows
_NOBODY_KNOWS = re.compile(
    r"(?i)\W*(unknown|unstated( datum)?|not (known|stated|given)|(i |we )?(do not|don'?t|dont) know|n/?a|none|no idea|\?*|"
    r"desconocido|(no|nadie) (lo )?s(e|é|abe|abemos)|inconnu|(je )?ne (le )?sais pas|tbd)\W*"
)


class Part(BaseModel):
    """What all tables share: unknown keys are refused, values never change, no type is guessed."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, str_strip_whitespace=True)


class File(Part):
    """A file and the system its coordinates are in, where the file itself does not say."""

    file: Text
    crs: Text | None = None


class AsTable(Part):
    """How a table is to be read, where it is not to be found out: sheet, line of the header, encoding of a text."""

    sheet: Text | None = None
    header_row: Annotated[int, Field(ge=1)] | None = None
    encoding: Text | None = None

    @field_validator("encoding")
    @classmethod
    def _known_encoding(cls, name: str | None) -> str | None:
        if name is None:
            return None
        try:
            return codecs.lookup(name).name
        except LookupError:
            raise ValueError("an encoding such as utf-8, cp1252, mac-roman or utf-16 is due") from None

    @property
    def reading(self) -> Reading:
        """The same, as the reader of tables takes it."""
        return Reading(self.sheet, self.header_row, self.encoding)


class PartialTable(AsTable):
    """A table whose rows that cannot be used may be set aside and listed, if a person says so."""

    accept_partial: bool = False


class Bathymetry(File):
    """Depths: a raster, or polygons with a depth field. Sign, unit and datum are declared, never guessed."""

    sign: Literal["depth", "elevation"]
    units: DepthUnit
    datum: Text
    depth_error_m: NotNegative
    field: Text | None = None
    band: Annotated[int, Field(ge=1)] = 1
    variable: Text | None = None
    nodata: float | None = None
    resolution_m: Positive | None = None

    @field_validator("datum")
    @classmethod
    def _known_datum(cls, name: str) -> str:
        return UNSTATED if name != "?" and _NOBODY_KNOWS.fullmatch(name) else name


class Substrate(File):
    """Bottom type: a raster or polygons; each of the user's classes is mapped to a class of the standard."""

    classes: Annotated[dict[str, Text], Field(min_length=1)]
    field: Text | None = None
    band: Annotated[int, Field(ge=1)] = 1
    variable: Text | None = None
    nodata: float | None = None
    resolution_m: Positive | None = None

    @model_validator(mode="after")
    def _polygons_state_a_resolution(self) -> Substrate:
        if self.field is not None and self.resolution_m is None:
            raise ValueError(
                "polygons do not show how finely they were mapped: add resolution_m, the mapping resolution [m]"
            )
        return self


class Colonies(File, PartialTable):
    """Existing colonies, wild ones and earlier outplants.

    Their depths are compared with the bathymetry, to find years in another unit; nothing else reads them.
    """

    position_error_m: NotNegative | None = None
    origin: Literal["wild", "outplant"] | None = None
    surveyed_area: Text | None = None
    x: Text | None = None
    y: Text | None = None
    position: Text | None = None
    columns: dict[
        Literal["species", "size_cm", "origin", "position_error_m", "depth", "date", "status", "partner"], Text
    ] = {}
    partner: Text | None = None
    depth_units: DepthUnit | None = None
    depth_units_by_year: dict[CalendarYear, DepthUnit] = {}
    swapped_rows: Literal["refuse", "swap"] = "refuse"


class Protected(File):
    """Protected areas with a rule each, by a field of the file or by name."""

    name_field: Text = "name"
    rule_field: Text | None = None
    rules: dict[str, Rule] = {}

    @model_validator(mode="after")
    def _some_rule(self) -> Protected:
        if self.rule_field is None and not self.rules:
            raise ValueError(
                "a category alone never decides: add rule_field, or a [layers.protected.rules] line per name"
            )
        return self


class Area(File):
    """The area of interest: one or more polygons."""


class UserRaster(File):
    """Any other raster that a criterion reads, e.g. current or turbidity."""

    label: Text
    units: Text
    band: Annotated[int, Field(ge=1)] = 1
    variable: Text | None = None
    nodata: float | None = None
    scale: float = 1.0
    offset: float = 0.0
    source: Text


class Coastline(File):
    """Land and shore, as areas or lines; drawn on the vicinity map, never measured on."""


class Constraint(File):
    """Something a permit office asks about: seagrass, heritage, a cable, an anchorage, another team's plots.

    Cells within `keep_clear_m` of it are excluded; 0 excludes what it covers; left out, it is reported only.
    """

    label: Text
    keep_clear_m: NotNegative | None = None
    name_field: Text | None = None


class NamedPlaces(File, PartialTable):
    """Named reefs, mooring balls, old plots: polygons, or points with a radius around each."""

    x: Text | None = None
    y: Text | None = None
    position: Text | None = None
    name_field: Text = "name"
    kind_field: Text | None = None
    radius_field: Text | None = None
    radius_m: Positive | None = None


class Partners(Part):
    """Names that partners write for species and genets, and what they mean in the plan."""

    aliases: Text | None = None


class Picture(Part):
    """The team's own picture from above, a GeoTIFF with 8-bit colours and a CRS, to lay the map on."""

    file: Text


class Layers(Part):
    """All files of the plan; only the bathymetry is always due."""

    bathymetry: Bathymetry
    substrate: Substrate | None = None
    colonies: Annotated[list[Colonies], Field()] = []
    protected: Protected | None = None
    area: Area | None = None
    named_places: NamedPlaces | None = None
    coastline: Coastline | None = None
    picture: Picture | None = None
    constraints: dict[Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}$")], Constraint] = {}
    rasters: dict[Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}$")], UserRaster] = {}

    @model_validator(mode="before")
    @classmethod
    def _one_or_many_colony_files(cls, data: object) -> object:
        if isinstance(data, dict) and isinstance(data.get("colonies"), dict):
            return {**data, "colonies": [data["colonies"]]}
        return data
