"""The table of `plan.toml` for what was planted: when it is looked at again, and where this season begins."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import Field, model_validator

from sitekit.season.settings_layers import Part

Months = Annotated[int, Field(ge=1, le=600)]
Days = Annotated[int, Field(ge=0, le=366)]


class Survey(Part):
    """Visits after planting. Units planted before `season_from` belong to earlier seasons."""

    season_from: datetime.date | None = None
    early_days: Annotated[list[Days], Field(min_length=2, max_length=2)] = [7, 14]
    months: list[Months] = [1, 3, 6, 9, 12, 15, 18]
    missing: Literal["dead", "unknown"] = "dead"

    @model_validator(mode="after")
    def _in_order(self) -> Survey:
        problems = []
        if self.early_days[0] > self.early_days[1]:
            problems.append("early_days: the first day comes after the last")
        if sorted(set(self.months)) != self.months:
            problems.append("months must rise, each once")
        if problems:
            raise ValueError("; ".join(problems))
        return self
