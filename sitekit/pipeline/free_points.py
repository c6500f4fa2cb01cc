"""Units as free points on one candidate's bottom, several species together, bundled along tapes."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from sitekit.layout.bundles import bundle_points
from sitekit.layout.mixed import place_mixed
from sitekit.layout.readings import ROUNDING_MARGIN_M
from sitekit.layout.spacing import place
from sitekit.layout.tape import slope_ratios
from sitekit.pipeline.bottoms import Bottom, between_species, planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.plotting import Laid, best_units, depths_under, stands_on
from sitekit.pipeline.project import Project

Floats = NDArray[np.float64]
_ROUNDS = 4  # times more places are asked for than units, for those that readings cost
_BESIDE_CELLS = 1.5  # cells beside the units whose depths tell the slope: at least one to either side


def lay_points(project: Project, ground: Ground, bottom: Bottom, wanted: dict[str, int]) -> dict[str, list[Laid]]:
    """Return numbers of units of each species (or as many as fit) as free points, bundled along tape lines.

    Species are laid one at a time in the order of the plan. Where not all units fit so, they are laid together too;
    what holds more units is kept, of equals that with the higher summed score.
    """
    in_order = _one_at_a_time(project, ground, bottom, wanted)
    if len(wanted) < 2 or all(sum(p.x_m.size for p in in_order[s]) >= n for s, n in wanted.items()):
        return in_order
    together = _together(project, ground, bottom, wanted)
    return max((in_order, together), key=lambda laid: _worth(bottom, laid))


def _one_at_a_time(project: Project, ground: Ground, bottom: Bottom, wanted: dict[str, int]) -> dict[str, list[Laid]]:
    laid: dict[str, list[Laid]] = {}
    for species, units in wanted.items():
        free = _clear_of(project, ground, bottom, species, laid)
        asked = units
        for _ in range(_ROUNDS):
            found = place(
                free.allowed[species],
                free.score[species],
                west_m=free.grid.west,
                north_m=free.grid.north,
                cell_m=free.grid.cell,
                separation_m=planned_separation(project, ground, species) + ROUNDING_MARGIN_M,
                wanted=asked,
                clear_points=free.clear_points,
                clear_radii_m=free.clear_radii,
                effort=project.settings.spacing.effort,
                seed=project.settings.plan.seed,
            )
            laid[species] = _bundled(project, ground, free, species, found.easting, found.northing)
            held = sum(p.x_m.size for p in laid[species])
            if held >= units or found.easting.size < asked:
                break
            asked += units - held  # readings rounded to the tape cost some places
        laid[species] = best_units(bottom, species, laid[species], units)
    return laid


def _together(project: Project, ground: Ground, bottom: Bottom, wanted: dict[str, int]) -> dict[str, list[Laid]]:
    codes = list(wanted)
    apart = [
        [planned_separation(project, ground, a) if a == b else between_species(project, ground, a, b) for b in codes]
        for a in codes
    ]
    found = place_mixed(
        np.stack([bottom.allowed[c] for c in codes]),
        np.stack([bottom.score[c] for c in codes]),
        west_m=bottom.grid.west,
        north_m=bottom.grid.north,
        cell_m=bottom.grid.cell,
        separations_m=np.array(apart) + ROUNDING_MARGIN_M,
        wanted=list(wanted.values()),
        clear_points=bottom.clear_points,
        clear_radii_m=bottom.clear_radii,
        effort=project.settings.spacing.effort,
        seed=project.settings.plan.seed,
    )
    laid: dict[str, list[Laid]] = {}
    for k, species in enumerate(codes):
        own = found.kind == k
        free = _clear_of(project, ground, bottom, species, laid)  # readings of this species stay clear of those before
        laid[species] = _bundled(project, ground, free, species, found.easting[own], found.northing[own])
    return laid


def _worth(bottom: Bottom, laid: dict[str, list[Laid]]) -> tuple[int, float]:
    units, score = 0, 0.0
    for species, plots in laid.items():
        for plot in plots:
            row, col = bottom.grid.cell_of(plot.x_m, plot.y_m)
            units += plot.x_m.size
            score += float(np.nan_to_num(bottom.score[species][row, col]).sum())
    return units, score


def _bundled(project: Project, ground: Ground, bottom: Bottom, species: str, x: Floats, y: Floats) -> list[Laid]:
    if x.size == 0:
        return []
    bundles = bundle_points(
        x,
        y,
        separation_m=planned_separation(project, ground, species),
        ratios=lambda px, py, b: slope_ratios(*_depths_around(bottom, px, py), bearing_grid_deg=b),
        stands=stands_on(bottom, species),
    )
    laid = []
    for k, line in enumerate(bundles.lines):
        own = np.flatnonzero((bundles.bundle == k) & bundles.readings.kept)
        if own.size == 0:
            continue
        half = max(float(bundles.half_width_m[k]), 0.1)
        ends = shapely.LineString([(line.pin_x_m, line.pin_y_m), line.second_pin])
        r = bundles.readings
        laid.append(
            Laid(
                line,
                ends.buffer(half, cap_style="flat"),
                False,
                2 * half,
                1.0,
                math.nan,
                r.x_m[own],
                r.y_m[own],
                r.along_m[own],
                r.offset_m[own],
                np.full(own.size, math.nan),
            )
        )
    return laid


def _depths_around(bottom: Bottom, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return cells and depths under the units and beside them: units in one lane alone tell no slope across it."""
    near = shapely.convex_hull(shapely.MultiPoint(np.column_stack([x, y]))).buffer(_BESIDE_CELLS * bottom.grid.cell)
    return depths_under(bottom, *shapely.get_coordinates(near.exterior).T)


def clear_of(project: Project, ground: Ground, bottom: Bottom, standing: list[tuple[str, Laid]]) -> Bottom:
    """Return the bottom with units of neighbouring sites as further points that every species keeps clear of."""
    codes = [s.code for s in project.settings.species]
    radius = {s: max(between_species(project, ground, s, other) for other in codes) for s, _ in standing}
    points = [np.column_stack([plot.x_m, plot.y_m]) for _, plot in standing]
    radii = [np.full(plot.x_m.size, radius[s]) for s, plot in standing]
    return _with_points(bottom, points, radii)


def _with_points(bottom: Bottom, points: list[Floats], radii: list[Floats]) -> Bottom:
    return Bottom(
        bottom.grid,
        bottom.allowed,
        bottom.score,
        bottom.depth_m,
        np.concatenate([bottom.clear_points, *points]),
        np.concatenate([bottom.clear_radii, *radii]),
    )


def _clear_of(project: Project, ground: Ground, bottom: Bottom, species: str, laid: dict[str, list[Laid]]) -> Bottom:
    """Return the bottom with the units of other species, which stand already, as further points to keep clear of."""
    points: list[Floats] = []
    radii: list[Floats] = []
    for other, plots in laid.items():
        for plot in plots:
            points.append(np.column_stack([plot.x_m, plot.y_m]))
            radii.append(np.full(plot.x_m.size, between_species(project, ground, species, other)))
    return _with_points(bottom, points, radii)
