"""sitekit: from a reef team's files to planting sites, spaced colonies, maps and dive sheets.

The public list is loaded on demand, so that `import sitekit` stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # the same names as _PUBLIC, for type checkers
    from sitekit.audit.promises import Finding
    from sitekit.errors import AuditFault, FileFault, InputFault, Shortfall, SitekitError
    from sitekit.layers.grid import Grid
    from sitekit.layout.bound import bound
    from sitekit.layout.spacing import place
    from sitekit.pipeline.api import audit_plan, check, demo, explain, explore, read_plan, read_settings, run
    from sitekit.pipeline.explained import PlaceExplained
    from sitekit.pipeline.planted import record_planted
    from sitekit.pipeline.project import Machine, Project, open_project
    from sitekit.pipeline.set_pins import record_pins
    from sitekit.pipeline.stages import Report
    from sitekit.pipeline.surveyed import record_survey
    from sitekit.season.settings import Settings
    from sitekit.suitability.candidates import PatchFinder
    from sitekit.suitability.draws import draw_weights
    from sitekit.suitability.score import score_cells
    from sitekit.suitability.sensitivity import RankRanges, rank_ranges
    from sitekit.suitability.stability import count_best

__version__ = "0.1.0"

# public name -> module that defines it
_PUBLIC: dict[str, str] = {
    "AuditFault": "sitekit.errors",
    "FileFault": "sitekit.errors",
    "Finding": "sitekit.audit.promises",
    "Grid": "sitekit.layers.grid",
    "InputFault": "sitekit.errors",
    "Machine": "sitekit.pipeline.project",
    "PatchFinder": "sitekit.suitability.candidates",
    "PlaceExplained": "sitekit.pipeline.explained",
    "Project": "sitekit.pipeline.project",
    "RankRanges": "sitekit.suitability.sensitivity",
    "Report": "sitekit.pipeline.stages",
    "Settings": "sitekit.season.settings",
    "Shortfall": "sitekit.errors",
    "SitekitError": "sitekit.errors",
    "audit_plan": "sitekit.pipeline.api",
    "bound": "sitekit.layout.bound",
    "check": "sitekit.pipeline.api",
    "count_best": "sitekit.suitability.stability",
    "demo": "sitekit.pipeline.api",
    "draw_weights": "sitekit.suitability.draws",
    "explain": "sitekit.pipeline.api",
    "explore": "sitekit.pipeline.api",
    "open_project": "sitekit.pipeline.project",
    "place": "sitekit.layout.spacing",
    "rank_ranges": "sitekit.suitability.sensitivity",
    "read_plan": "sitekit.pipeline.api",
    "read_settings": "sitekit.pipeline.api",
    "record_pins": "sitekit.pipeline.set_pins",
    "record_planted": "sitekit.pipeline.planted",
    "record_survey": "sitekit.pipeline.surveyed",
    "run": "sitekit.pipeline.api",
    "score_cells": "sitekit.suitability.score",
}

__all__ = [
    "AuditFault",
    "FileFault",
    "Finding",
    "Grid",
    "InputFault",
    "Machine",
    "PatchFinder",
    "PlaceExplained",
    "Project",
    "RankRanges",
    "Report",
    "Settings",
    "Shortfall",
    "SitekitError",
    "__version__",
    "audit_plan",
    "bound",
    "check",
    "count_best",
    "demo",
    "draw_weights",
    "explain",
    "explore",
    "open_project",
    "place",
    "rank_ranges",
    "read_plan",
    "read_settings",
    "record_pins",
    "record_planted",
    "record_survey",
    "run",
    "score_cells",
]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"sitekit has no public name {name!r}; the list is sitekit.__all__")


def __dir__() -> list[str]:
    return sorted(__all__)
