"""What a run will take of memory, told before anything is worked out; too little is refused then, not an hour later."""

from __future__ import annotations

from sitekit.errors import Fault, InputFault
from sitekit.layers.blocks import blocks_need_gb
from sitekit.layers.grid import Grid
from sitekit.pipeline.fields import FieldReader, Ground, sea_fields, species_criteria
from sitekit.pipeline.project import Project

BYTES_PER_CELL = 80  # of the box around one candidate while it is laid out: scores, marks, distances; ours


def tell_memory(project: Project, grid: Grid) -> None:
    """Say what blocks and candidates of this plan take, and refuse a limit that is too small.

    Parameters
    ----------
    project : Project
        Its layers need not be there yet.
    grid : Grid
        The working grid.

    Raises
    ------
    InputFault
        If blocks of some stage need more than `--memory-gb`.
    """
    machine, settings = project.machine, project.settings
    try:
        criteria = species_criteria(settings)
    except InputFault:  # told by check and by the score stage, with advice
        return
    layers = settings.layers
    names = {"substrate"} if layers.substrate else set()
    names |= {"surveyed"} if any(c.surveyed_area for c in layers.colonies) else set()
    ground = Ground(grid, frozenset(names), 1.0, False, "")
    reader = FieldReader(project, ground, criteria, slope=settings.exclusions.greatest_slope_deg is not None)
    masks = 4  # area, two of protected areas, what is kept clear of
    needs = {
        "score": blocks_need_gb(grid, len(reader.inputs) + masks, 7 * len(criteria), reader.halo, machine.threads),
        "waves, tide, light, heat": blocks_need_gb(grid, 2, 4 * len(sea_fields(settings)), 0, machine.threads),
    }
    stage = max(needs, key=lambda name: needs[name])
    if needs[stage] > machine.memory_gb:
        raise InputFault(
            Fault(
                "--memory-gb",
                f"{machine.memory_gb:g} GB",
                f"at least {needs[stage]:.2f} GB for the blocks of {stage} with {machine.threads} threads",
                "Give more memory, fewer threads, or smaller windows in [terrain].",
            )
        )
    cells = machine.memory_gb * 1e9 / BYTES_PER_CELL
    machine.talk(
        f"memory: {grid.shape[0] * grid.shape[1]:,} cells in blocks that take up to {needs[stage]:.2f} of "
        f"{machine.memory_gb:g} GB, whatever the grid; within it one candidate may span a box of {cells:,.0f} cells"
    )
