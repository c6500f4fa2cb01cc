"""The tables of `plan.toml` that say how weights came about, and how firm a ranking must be."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import NotNegative, Part, Positive, Share, Text


class Judgement(Part):
    """One pair of criteria: `criterion` counts `times` as much as `over` does (below 1: less)."""

    criterion: Text
    over: Text
    times: Annotated[float, Field(allow_inf_nan=False)]


class Weights(Part):
    """The weights of one species' criteria: numbers, ranks, or judgements of pairs.

    Every criterion of the species is named once; the numbers of `[[criteria]]` and of the built-in set then do not count.
    """

    method: Literal["direct", "ranked", "pairwise"]
    numbers: dict[Text, Annotated[float, Field(allow_inf_nan=False)]] = {}
    ranks: dict[Text, int] = {}
    judgements: list[Judgement] = []
    who: Text | None = None

    @model_validator(mode="after")
    def _fits_method(self) -> Weights:
        due = {"direct": "numbers", "ranked": "ranks", "pairwise": "judgements"}[self.method]
        given = [n for n in ("numbers", "ranks", "judgements") if getattr(self, n)]
        if given != [due]:
            raise ValueError(f"method {self.method!r} needs `{due}` and nothing else, got {', '.join(given) or 'none'}")
        return self


class Sensitivity(Part):
    """How far weights and inputs are varied to see what holds."""

    draws: Annotated[int, Field(ge=16, le=65536)] = 256
    concentration: Positive = 30.0
    best_pct: Annotated[float, Field(gt=0, lt=100)] = 10.0
    range_pct: Annotated[float, Field(gt=0, le=100)] = 90.0
    high_share: Annotated[float, Field(gt=0, lt=1)] = 0.25
    steady_share: Share = 0.8
    misread_share: Share = 0.16
    depth_error_m: NotNegative | None = None

    @model_validator(mode="after")
    def _even_draws(self) -> Sensitivity:
        if self.draws & (self.draws - 1):
            raise ValueError(f"draws must be a power of two (64, 128, 256 …), got {self.draws}: others are uneven")
        return self
