"""The tables of `plan.toml` that decide where to work: answers, budget, choice, controls, scouting."""

from __future__ import annotations

import datetime
import itertools
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import NotNegative, Part, PartialTable, Positive, Share, Text
from sitekit.season.settings_method import SiteCode, SpeciesCode

# What handbooks ask of every site; a team may add questions of its own, put so that "yes" speaks for the site.
# Species known to have thrived there, else a reference site; do not restore while the stressor goes on; cause unknown:
# a pilot of at least a year [source key: course-site-selection, course-deciding].
BUILT_IN_QUESTIONS: dict[str, str] = {
    "present_before": "Was the species present here before?",
    "reference_site": "Is there a reference site nearby?",
    "decline_stopped": "Has the cause of the decline stopped?",
}
Whole = Annotated[int, Field(ge=1)]


class Question(Part):
    """One answer to one go/no-go question, about one site or several."""

    site: SiteCode | Annotated[list[SiteCode], Field(min_length=1)]
    about: Text
    answer: Literal["yes", "no", "unknown"]
    note: Text | None = None
    who: Text
    when: datetime.date

    @property
    def sites(self) -> list[str]:
        """Codes of the sites it is about."""
        return [self.site] if isinstance(self.site, str) else list(self.site)


class Budget(Part):
    """What the season has, and the rates the team works at. Only limits that are given count.

    A dive is one diver's dive; a boat day carries `dives_per_boat_day` of them when it does not travel.
    """

    units: Whole | None = None
    dives: Positive | None = None
    boat_days: Positive | None = None
    money: Positive | None = None
    currency: Text = "US$"
    units_per_dive: Positive | None = None
    dives_per_site: NotNegative = 0.0
    dives_per_boat_day: Positive | None = None
    boat_hours_per_day: Positive | None = None
    boat_speed_kn: Positive | None = None
    money_per_site: NotNegative = 0.0
    money_per_unit: NotNegative = 0.0
    money_per_dive: NotNegative = 0.0
    money_per_boat_day: NotNegative = 0.0

    @model_validator(mode="after")
    def _rates(self) -> Budget:
        problems = []
        if self.units is self.dives is self.boat_days is self.money is None:
            problems.append("give at least one limit: units, dives, boat_days or money")
        needs_dives = self.dives is not None or self.boat_days is not None or self.money_per_dive > 0
        if (needs_dives or self.money_per_boat_day > 0) and self.units_per_dive is None:
            problems.append("a limit or price of dives or boat days needs units_per_dive")
        if (self.boat_days is not None or self.money_per_boat_day > 0) and self.dives_per_boat_day is None:
            problems.append("a limit or price of boat days needs dives_per_boat_day")
        if (self.boat_speed_kn is None) != (self.boat_hours_per_day is None):
            problems.append("boat_speed_kn and boat_hours_per_day go together")
        prices = (self.money_per_site, self.money_per_unit, self.money_per_dive, self.money_per_boat_day)
        if self.money is not None and not any(prices):
            problems.append("a limit of money needs a price: money_per_site, _per_unit, _per_dive or _per_boat_day")
        if problems:
            raise ValueError("; ".join(problems))
        return self


class Survival(Part):
    """The user's own curve of the share of planted units that lives; its source is never left out."""

    of: Literal["score", "depth_m"] = "score"
    points: Annotated[list[Annotated[list[float], Field(min_length=2, max_length=2)]], Field(min_length=2)]
    years: Positive
    source: Annotated[Text, Field(min_length=8)]

    @model_validator(mode="after")
    def _a_curve(self) -> Survival:
        values = [v for v, _ in self.points]
        if any(b <= a for a, b in itertools.pairwise(values)):
            raise ValueError(f"`points` [value, share alive] must rise in value, got {values}")
        if any(not 0 <= share <= 1 for _, share in self.points):
            raise ValueError("`points` [value, share alive]: shares stand from 0 to 1, 0.4 for 40 %")
        if self.of == "score" and not (values[0] >= 0 and values[-1] <= 1):
            raise ValueError(f"`points` of the score: values stand from 0 to 1, got {values}")
        return self


class Choose(Part):
    """How sites are chosen. Every limit is the team's; one that is not given is not used."""

    least_per_site: Whole = 1
    most_per_site: Whole | None = None
    least_sites: Annotated[int, Field(ge=0)] = 0
    most_sites: Whole | None = None
    least_distance_m: NotNegative = 0.0
    genet_sites: Whole = 1
    force_in: list[SiteCode] = []
    force_out: list[SiteCode] = []
    only_coded: bool = True
    greatest_depth_difference_m: Positive | None = None
    depth_fall_off_m: Positive | None = None
    survival: dict[SpeciesCode, Survival] = {}
    least_to_wild_m: NotNegative = 0.0
    greatest_to_wild_m: Positive | None = None
    greatest_to_nursery_m: Positive | None = None
    greatest_to_harbour_m: Positive | None = None
    boat_draft_m: NotNegative = 0.0
    own_questions: dict[Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}$")], Text] = {}
    pilot_units: Whole | None = None
    alternatives: Annotated[int, Field(ge=0, le=20)] = 3
    gap_pct: Annotated[float, Field(ge=0, le=20)] | None = None
    leftovers: Literal["return", "reserve"] = "return"

    @model_validator(mode="after")
    def _orders(self) -> Choose:
        problems = []
        if self.most_per_site is not None and self.most_per_site < self.least_per_site:
            problems.append(f"most_per_site {self.most_per_site} is below least_per_site {self.least_per_site}")
        if self.most_sites is not None and self.most_sites < max(self.least_sites, len(set(self.force_in))):
            problems.append(
                f"most_sites {self.most_sites} is below least_sites {self.least_sites} "
                f"or the {len(set(self.force_in))} sites of force_in"
            )
        both = sorted(set(self.force_in) & set(self.force_out))
        problems += [f"site {c!r} stands in force_in and in force_out" for c in both]
        if self.greatest_to_wild_m is not None and self.greatest_to_wild_m < self.least_to_wild_m:
            problems.append("greatest_to_wild_m is below least_to_wild_m")
        if self.survival and self.depth_fall_off_m is not None:
            problems.append(
                "depth_fall_off_m belongs to suitability and survival counts units alive: keep one of them "
                "(greatest_depth_difference_m still limits the depth)"
            )
        if len({one.years for one in self.survival.values()}) > 1:
            said = ", ".join(f"{code} {one.years:g}" for code, one in self.survival.items())
            problems.append(
                f"survival: units alive are summed, so `years` must be the same for all species, got {said}"
            )
        if problems:
            raise ValueError("; ".join(problems))
        return self

    @property
    def limits(self) -> bool:
        """Whether anything stands here that "all, best first" would not keep."""
        plain = Choose()
        open_ones = {
            "alternatives",
            "gap_pct",
            "leftovers",
            "pilot_units",
            "boat_draft_m",
            "only_coded",
            "own_questions",
        }
        return any(getattr(self, n) != getattr(plain, n) for n in type(self).model_fields if n not in open_ones)


class Controls(Part):
    """Areas for plots that are compared with the planted ones and stay unplanted."""

    distance_m: Positive
    greatest_distance_m: Positive
    score_tolerance: Share
    depth_tolerance_m: Positive
    control_plots: Annotated[int, Field(ge=0, le=10)] = 1
    reference_plots: Annotated[int, Field(ge=0, le=10)] = 0
    reference_species: list[Annotated[str, Field(min_length=1, max_length=40)]] = []

    @model_validator(mode="after")
    def _ring(self) -> Controls:
        if self.greatest_distance_m <= self.distance_m:
            raise ValueError("greatest_distance_m must be larger than distance_m")
        return self


class Scout(PartialTable):
    """What divers who looked brought back: the form's CSV, filled in."""

    from_file: Annotated[Text | None, Field(alias="from")] = None
    points_m: Positive = 10.0


def decision_problems(questions: list[Question], choose: Choose, sites: list[str], species: list[str]) -> list[str]:
    """Return what does not fit together between the tables that decide and the codes of sites and species."""
    problems = [
        f"choose.survival names species {c!r}; known: {', '.join(species)}" for c in choose.survival if c not in species
    ]
    if choose.survival:
        problems += [
            f"choose.survival lacks species {c!r}: give every species a curve with its source, or none"
            for c in species
            if c not in choose.survival
        ]
    asked = {**BUILT_IN_QUESTIONS, **choose.own_questions}
    known = ", ".join(sites) or "none, add [[site]]"
    problems += [
        f"choose.{k} names site {c!r}; known: {known}"
        for k in ("force_in", "force_out")
        for c in getattr(choose, k)
        if c not in sites
    ]
    seen: set[tuple[str, str]] = set()
    for one in questions:
        if one.about not in asked:
            problems.append(
                f"question about {one.about!r}; known: {', '.join(asked)}; add your own to choose.own_questions"
            )
        for site in one.sites:
            if site not in sites:
                problems.append(f"question names site {site!r}; known: {known}")
            if (site, one.about) in seen:
                problems.append(f"question {one.about!r} is answered twice for site {site!r}")
            seen.add((site, one.about))
    if questions and choose.pilot_units is None:
        problems.append("questions are asked: choose.pilot_units must say how many units a site with unknowns may get")
    return problems
