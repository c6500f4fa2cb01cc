"""The whole of `plan.toml`, read with every fault at once: key path, value, what was due, and the nearest known key."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, Field, ValidationError, model_validator
from pydantic.fields import FieldInfo

from sitekit.errors import Fault, FileFault, InputFault
from sitekit.season.settings_decide import Budget, Choose, Controls, Question, Scout, decision_problems
from sitekit.season.settings_fieldwork import Fieldwork, Receiver, Sheets
from sitekit.season.settings_layers import Layers, Part, Partners
from sitekit.season.settings_method import (
    Candidates,
    CriterionSetting,
    Edited,
    Exclusions,
    Outputs,
    Place,
    Plan,
    Score,
    Site,
    Spacing,
    Species,
    SpeciesCode,
    Stock,
    Tagging,
    Terrain,
)
from sitekit.season.settings_permit import Permit, permit_problems
from sitekit.season.settings_sea import Heat, Light, Tide, Waves, tide_problems
from sitekit.season.settings_survey import Survey
from sitekit.season.settings_weights import Sensitivity, Weights
from sitekit.season.toml_words import line_faults, wrong_type

UNANSWERED = "?"  # what a drafted plan writes where only a person knows
_ASKED = f"{UNANSWERED!r}, a question that nobody has answered"
_ANSWER = ("an answer", f'Write it in place of "{UNANSWERED}"; the line of the draft says what is asked.')


class Settings(Part):
    """Everything that people decide about one season's plan."""

    plan: Plan
    layers: Layers
    partners: Partners = Partners()
    terrain: Terrain = Terrain()
    species: Annotated[list[Species], Field(min_length=1)]
    criteria: list[CriterionSetting] = []
    weights: dict[SpeciesCode, Weights] = {}
    score: Score
    sensitivity: Sensitivity = Sensitivity()
    exclusions: Exclusions = Exclusions()
    tide: Tide | None = None
    waves: Waves | None = None
    light: Light | None = None
    heat: Heat | None = None
    candidates: Candidates
    site: list[Site] = []
    spacing: Spacing
    question: list[Question] = []
    budget: Budget | None = None
    choose: Choose = Choose()
    controls: Controls | None = None
    scout: Scout = Scout()
    sites: Edited | None = None
    stock: Stock | None = None
    allotment: Edited | None = None
    plots: Edited | None = None
    colonies: Edited | None = None
    tagging: Tagging = Tagging()
    nursery: Place | None = None
    harbour: Place | None = None
    permit: list[Permit] = []
    fieldwork: Fieldwork | None = None
    sheets: Sheets = Sheets()
    receiver: Receiver = Receiver()
    survey: Survey = Survey()
    outputs: Outputs = Outputs()

    @model_validator(mode="after")
    def _fits_together(self) -> Settings:
        problems: list[str] = []
        codes = [s.code for s in self.species]
        problems += [f"species code {c!r} is given twice" for c in sorted({c for c in codes if codes.count(c) > 1})]
        sites = [s.code for s in self.site]
        problems += [f"site code {c!r} is given twice" for c in sorted({c for c in sites if sites.count(c) > 1})]
        for criterion in self.criteria:
            problems += [
                f"criterion {criterion.name!r} names species {c!r}; known: {', '.join(codes)}"
                for c in criterion.species
                if c not in codes
            ]
        for one in self.species:
            if one.criteria is None and not any(not c.species or one.code in c.species for c in self.criteria):
                problems.append(
                    f"species {one.code!r} has no criteria: name a set in `criteria`, or add [[criteria]] for it"
                )
        for key, given in (("spacing.numbers", self.spacing.numbers), ("weights", self.weights)):
            problems += [f"{key} names species {c!r}; known: {', '.join(codes)}" for c in given if c not in codes]
        problems += [
            f"spacing.between names species {c!r}; known: {', '.join(codes)}"
            for c in sorted({c for pair in self.spacing.between for c in pair.split()})
            if c not in codes
        ]
        problems += permit_problems(self.permit, codes)
        named = {
            "waves.at": self.waves.at if self.waves else "datum",
            "light.at": self.light.at if self.light else "datum",
        }
        problems += tide_problems(self.tide, named, self.layers.bathymetry.datum)
        if self.light and self.light.raster and self.light.raster not in self.layers.rasters:
            problems.append(
                f"light.raster names {self.light.raster!r}; known: {', '.join(self.layers.rasters) or 'no [layers.rasters]'}"
            )
        problems += self._fieldwork_faults(codes, sites)
        problems += decision_problems(self.question, self.choose, sites, codes)
        if problems:
            raise ValueError("; ".join(problems))
        return self

    def _fieldwork_faults(self, species: list[str], sites: list[str]) -> list[str]:
        work = self.fieldwork
        if work is None:
            return []
        named = [("site_order", work.site_order), ("diseased_sites", work.diseased_sites)]
        found = [
            f"fieldwork.{key} names site {c!r}; known: {', '.join(sites) or 'none'}"
            for key, codes in named
            for c in codes
            if c not in sites
        ]
        found += [f"fieldwork.attach names species {c!r}" for c in work.attach if c not in species]
        found += [f"fieldwork.attach lacks species {c!r}: how is it attached?" for c in species if c not in work.attach]
        if self.nursery is None or self.nursery.depth_m is None or self.harbour is None:
            found.append("fieldwork needs [nursery] with depth_m, and [harbour]")
        return found


def read_settings(path: Path) -> Settings:
    """Read and check a `plan.toml`.

    Raises
    ------
    FileFault
        If the file is missing or unreadable.
    InputFault
        With every fault of the settings at once.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputFault(
            Fault(str(path), f"byte {error.start} is not UTF-8", "a text file in UTF-8", "Save it again as UTF-8.")
        ) from error
    except OSError as error:
        raise FileFault(
            Fault(
                str(path),
                f"cannot be read ({error.strerror or error})",
                "a plan.toml",
                "Give its path, or make one: sitekit new FOLDER",
            )
        ) from error
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputFault(*line_faults(text, str(path), error)) from error
    return settings_from(data, str(path))


def settings_from(data: dict[str, Any], where: str = "plan.toml") -> Settings:
    """Check settings that are already in memory.

    Raises
    ------
    InputFault
        With every fault at once.
    """
    open_keys = _unanswered(data)
    found: list[Fault] = []
    try:
        settings = Settings.model_validate(data)
    except ValidationError as error:
        found = [_fault(item, where) for item in error.errors(include_url=False)]
    seen = {f.where for f in found if f.came == _ASKED}
    found += [Fault(w, _ASKED, *_ANSWER) for k in open_keys if (w := f"{where}, {k}") not in seen]
    if found:
        raise InputFault(*found)
    return settings


def _unanswered(value: Any, key: str = "") -> list[str]:
    """Key paths whose value is still the question mark of a draft."""
    if isinstance(value, dict):
        return [k for name, part in value.items() for k in _unanswered(part, f"{key}.{name}" if key else str(name))]
    if isinstance(value, list):
        return [k for i, part in enumerate(value) for k in _unanswered(part, f"{key}[{i + 1}]")]
    return [key] if value == UNANSWERED else []


def _fault(item: Any, where: str) -> Fault:
    loc = tuple(item["loc"])
    key = ".".join(str(p) if isinstance(p, str) else f"[{p + 1}]" for p in loc).replace(".[", "[") or "the whole plan"
    place = f"{where}, {key}"
    value = item.get("input")
    shown = f"{value!r}" if not isinstance(value, (dict, list, BaseModel)) else "these values"
    if len(shown) > 120:
        shown = shown[:117] + "..."
    if item["type"] == "extra_forbidden":
        known = sorted(_keys_at(loc[:-1]))
        near = difflib.get_close_matches(str(loc[-1]), known, n=1, cutoff=0.0)
        hint = f"Did you mean {near[0]!r}?" if near else "Remove it."
        return Fault(place, f"unknown key {str(loc[-1])!r}", "one of " + ", ".join(known), hint)
    if item["type"] == "missing":
        return Fault(
            place, "nothing", f"a value for {str(loc[-1])!r}", "Add the line; plan.toml of `sitekit new` shows all."
        )
    message = str(item["msg"]).removeprefix("Value error, ")
    if value == UNANSWERED:
        return Fault(place, _ASKED, message[0].lower() + message[1:], _ANSWER[1])
    written = wrong_type(item["type"], value)
    if written is not None:
        return Fault(place, *written)
    if item["type"] == "value_error":
        return Fault(place, shown, message, "Correct the lines named.")
    do = "Correct the value."
    if loc[:2] == ("spacing", "numbers"):
        do = "To plant none of a species, leave its [[species]] table out of the plan."
    return Fault(place, shown, message[0].lower() + message[1:], do)


def _keys_at(loc: tuple[Any, ...]) -> list[str]:
    model: Any = Settings
    named = False  # whether the next part is a name that the user gave, such as a species code
    for part in loc:
        if isinstance(part, int) or named:
            named = False
            continue
        if isinstance(model, type) and issubclass(model, BaseModel):
            info = _field(model, str(part))
            named = info is not None and get_origin(info.annotation) is dict
            model = _model_in(info.annotation) if info else None
        if model is None:
            return []
    return [f.alias or n for n, f in model.model_fields.items()] if model else []


def _field(model: type[BaseModel], name: str) -> FieldInfo | None:
    for key, info in model.model_fields.items():
        if name in (key, info.alias):
            return info
    return None


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (list, dict, Union, UnionType, Annotated):
        for part in get_args(annotation):
            found = _model_in(part)
            if found:
                return found
    return None
