"""What a plan may not do with tide and heat: plan shallow work without a least depth, rank by a single pixel."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

import numpy as np

from sitekit.errors import Fault, Faults, InputFault
from sitekit.pipeline.fields import SEA_FIELDS, SEA_FILE
from sitekit.pipeline.project import Project
from sitekit.season.settings import Settings
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.curves import response

SHALLOW_M = 2.0  # a species that may stand shallower than this asks for a least depth to work in; ours, no source [m]


def check_work_depth(settings: Settings, criteria: Mapping[str, Sequence[Criterion]]) -> None:
    """Refuse a plan with shallow species that does not say in how little water its divers work.

    Without `[tide]` an `exclusions.least_depth_m` stands in for it.

    Raises
    ------
    InputFault
        Naming the species.
    """
    tide = settings.tide
    if tide.least_work_depth_m is not None if tide else settings.exclusions.least_depth_m is not None:
        return
    depths = np.linspace(0.0, SHALLOW_M - 0.01, 50)
    shallow = [
        code
        for code, rows in criteria.items()
        if all((response(c.curve, depths) > 0).any() for c in rows if c.field == "depth_m")
    ]
    if shallow:
        raise InputFault(
            Fault(
                "tide.least_work_depth_m" if tide else "tide.least_work_depth_m, exclusions.least_depth_m",
                f"not given, and {', '.join(shallow)} may stand in under {SHALLOW_M:g} m of water",
                "the least depth of water in which the team works [m]",
                "Ask the dive supervisor; cells with less at the lowest tide are then left out."
                if tide
                else "Add [tide] with the least depth at the lowest tide, or a least charted depth.",
            )
        )


def refuse_flat_heat(project: Project, criteria: Mapping[str, Sequence[Criterion]]) -> None:
    """Refuse criteria that would rank cells by heat where one pixel or station covers them all.

    Parameters
    ----------
    project : Project
        With the layers stage done.
    criteria : mapping of species code to list of Criterion

    Raises
    ------
    InputFault
        Naming each of them.
    """
    path = project.result(SEA_FILE)
    if not path.exists() or not json.loads(path.read_text("utf-8"))["heat_is_flat"]:
        return
    with Faults() as faults:
        for code, rows in criteria.items():
            for one in rows:
                if one.field in SEA_FIELDS and SEA_FIELDS[one.field][2] == "heat":
                    faults.add(
                        f"criterion {one.name!r} of {code}",
                        f"reads {one.field!r}, and one pixel or station of [heat] covers the whole grid",
                        "a field that differs from cell to cell",
                        "Leave it out: heat of one pixel compares this reef with others, not places on it.",
                    )


def lowest_tide_m(project: Project) -> float | None:
    """Return the lowest height of tide above the depths' datum [m], as the layers stage found it; None without one."""
    path = project.result(SEA_FILE)
    if not path.exists():
        return None
    height = json.loads(path.read_text("utf-8"))["heights_m"].get("lowest")
    return None if height is None else float(height)
