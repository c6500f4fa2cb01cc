"""Units that were allotted to a site and found no place there: what held them back, and what a planner can do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sitekit.errors import Fault
from sitekit.pipeline.partners import UNPLACED
from sitekit.pipeline.project import Project

NO_PLOT = "no room in plots"


def room_lacking(
    project: Project, unplaced: Sequence[Mapping[str, Any]], free: Mapping[str, Mapping[str, int]]
) -> list[Fault]:
    """Return one fault per species and reason: a list of a row per genet would hide what happened.

    Parameters
    ----------
    project : Project
        With its settings.
    unplaced : sequence of mapping
        Rows of the table `unplaced` with a site.
    free : mapping of site to mapping of species to int
        Slots of the planned plots that no unit takes.
    """
    short: dict[tuple[str, str], dict[str, int]] = {}
    for row in unplaced:
        sites = short.setdefault((str(row["species"]), str(row["reason"])), {})
        sites[str(row["site"])] = sites.get(str(row["site"]), 0) + int(row["number"])
    return [
        Fault(
            f"species {species}",
            f"{sum(sites.values())} units could not be placed: {_reason(reason)} (" + _listed(sites) + ")",
            "room for every unit allotted",
            _do(project, free, species, reason),
        )
        for (species, reason), sites in short.items()
    ]


def _reason(reason: str) -> str:
    return "no room for another plot" if reason == NO_PLOT else reason


def _do(project: Project, free: Mapping[str, Mapping[str, int]], species: str, reason: str) -> str:
    """Return what a planner can do for units that found no place at the site they were allotted to."""
    end = f"or accept the shorter plan; {UNPLACED}"
    if reason != NO_PLOT:
        if project.settings.spacing.mode == "plots":
            return f"Add sites, {end}"
        return f"Bring units nearer (spacing.separation_m), add sites, {end}"
    plot = project.settings.spacing.plot
    own = {site: n for site, slots in free.items() if (n := slots.get(species, 0)) > 0}
    move = (
        f"free slots of {species}, {_listed(own)}: move units there in a copy of out/allotment.csv and name it in "
        "[allotment] from; "
        if own else ""
    )  # fmt: skip
    return (
        f"A plot holds one species, so a few units take a whole {plot.said}, and the species planted first takes the "
        f"ground. {move[:1].upper() + move[1:]}{'or make' if move else 'Make'} plots smaller ({plot.size_keys}) or "
        f"spacing.plot.gap_m shorter, add sites, {end}"
    )


def _listed(sites: dict[str, int], most: int = 12) -> str:
    """The sites with the most units missing, `C20: 41, C04: 12, …`."""
    worst = sorted(sites.items(), key=lambda item: (-item[1], item[0]))
    more = f", and {len(worst) - most} more sites" if len(worst) > most else ""
    return "by site " + ", ".join(f"{site}: {n}" for site, n in worst[:most]) + more
