"""What a candidate holds of a species, in the mode that `place` will use."""

from __future__ import annotations

from dataclasses import dataclass

from sitekit.layout.capacity import capacity
from sitekit.layout.readings import ROUNDING_MARGIN_M
from sitekit.pipeline.bottoms import Bottom, planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.project import Project


@dataclass(frozen=True)
class Room:
    """Units that a candidate holds of one species alone.

    Parameters
    ----------
    separation_m, planned_separation_m : float
        As asked for, and with scale factor and laying tolerance [m].
    capacity, bound, capacity_at_d, bound_at_d : int or None
        Found and at most, planned and as asked for; None in areas to scout.
    """

    separation_m: float
    planned_separation_m: float
    capacity: int | None
    bound: int | None
    capacity_at_d: int | None
    bound_at_d: int | None


def room_for(project: Project, ground: Ground, bottom: Bottom, species: str) -> Room:
    """Return what a candidate's bottom holds of a species alone."""
    spacing = project.settings.spacing
    asked = planned_separation(project, ground, species, tolerance=False)
    planned = planned_separation(project, ground, species)
    own = asked / ground.scale
    if ground.scout or not bottom.allowed[species].any():
        nothing = None if ground.scout else 0
        return Room(own, planned, nothing, nothing, nothing, nothing)
    if spacing.mode == "plots":
        from sitekit.pipeline.plotting import plot_room

        held = plot_room(project, ground, bottom, species)
        return Room(own, planned, *held)
    found = capacity(
        bottom.allowed[species],
        west_m=bottom.grid.west,
        north_m=bottom.grid.north,
        cell_m=bottom.grid.cell,
        separation_m=asked,
        planned_separation_m=planned,
        margin_m=ROUNDING_MARGIN_M,
        clear_points=bottom.clear_points,
        clear_radii_m=bottom.clear_radii,
        seed=project.settings.plan.seed,
    )
    return Room(own, planned, found.capacity, found.bound, found.capacity_at_d, found.bound_at_d)
