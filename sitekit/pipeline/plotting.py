"""Plots on one candidate's bottom: where they lie and which slots they offer."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from sitekit.layout.bound import bound
from sitekit.layout.circles import find_circles
from sitekit.layout.keep_off import Standing
from sitekit.layout.plots import Plots, PlotSearch
from sitekit.layout.shelves import Bottom as PlotBottom
from sitekit.layout.slots import Pattern, circle_pattern, free_pattern, slots_of
from sitekit.layout.tape import TapeLine, slope_ratios
from sitekit.pipeline.bottoms import Bottom, planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.project import Project

Floats = NDArray[np.float64]
_ROUNDS = 5  # times the number of plots is raised until the units fit


@dataclass(frozen=True)
class Laid:
    """One plot with the units that stand in it.

    Parameters
    ----------
    line : TapeLine
        Between its pins.
    outline : shapely.Polygon
        On the map.
    circle : bool
        Whether it is a circle.
    width_m : float
        Across the tape line, or the diameter.
    allowed_share, robust_share : float
        0–1; robust_share is NaN for bundles.
    x_m, y_m, along_m, offset_m, angle_deg : ndarray
        Its units; angles are NaN but in circles.
    """

    line: TapeLine
    outline: shapely.Polygon
    circle: bool
    width_m: float
    allowed_share: float
    robust_share: float
    x_m: Floats
    y_m: Floats
    along_m: Floats
    offset_m: Floats
    angle_deg: Floats


def plot_room(project: Project, ground: Ground, bottom: Bottom, species: str) -> tuple[int, int, int, int]:
    """Return capacity and bound in plots, at the planned separation and at the one asked for."""
    plots = _finder(project, ground, bottom, species)(None)
    planned = planned_separation(project, ground, species)
    asked = planned_separation(project, ground, species, tolerance=False)
    held = [sum(p.x_m.size for p in units_in(project, bottom, species, plots, s)) for s in (planned, asked)]
    even = np.ones(bottom.grid.shape, np.float32)
    most = [
        min(
            plots.bound * plot_pattern(project, s).along_m.size,
            bound(bottom.allowed[species], even, cell_m=bottom.grid.cell, separation_m=s, along_edges=False).count,
        )
        for s in (planned, asked)
    ]
    return held[0], max(most[0], held[0]), max(held[1], held[0]), max(most[1], held[1])


def lay_plots(
    project: Project, ground: Ground, bottom: Bottom, species: str, units: int, standing: Sequence[Standing] = ()
) -> list[Laid]:
    """Return the best plots that hold a number of units, best first; fewer units if there is no room.

    They keep their gaps to what is `standing`.
    """
    separation = planned_separation(project, ground, species)
    each = plot_pattern(project, separation).along_m.size
    wanted = math.ceil(units / each)
    laid: list[Laid] = []
    find = _finder(project, ground, bottom, species, standing)
    for _ in range(_ROUNDS):
        plots = find(wanted)
        laid = units_in(project, bottom, species, plots, separation)
        held = sum(p.x_m.size for p in laid)
        if held >= units or len(laid) < wanted:
            break
        wanted += math.ceil((units - held) / max(held / max(len(laid), 1), 1.0))
    return first_units(laid, units)


def free_slots(project: Project, ground: Ground, bottom: Bottom, species: str, laid: list[Laid]) -> int:
    """Return how many slots of a species' plots, usable at the planned separation, no unit takes."""
    separation = planned_separation(project, ground, species)
    pattern, stands = plot_pattern(project, separation), stands_on(bottom, species)
    slots = (slots_of(pattern, p.line, separation_m=separation, stands=stands) for p in laid)
    return sum(int(s.usable.sum()) for s in slots) - sum(p.x_m.size for p in laid)


def empty_plot(project: Project, bottom: Bottom, area: BaseGeometry) -> Laid | None:
    """Return one plot of the plan's shape inside an area, without units; None if it has no room.

    Parameters
    ----------
    project : Project
        With its settings.
    bottom : Bottom
        The area's window.
    area : Polygon or MultiPolygon
        Where it may lie; the whole of it counts as allowed bottom.
    """
    grid = bottom.grid
    inside = rasterize([(area, 1)], out_shape=grid.shape, transform=grid.transform, dtype="uint8").astype(bool)
    best = np.zeros(grid.shape, np.float32)
    for score in bottom.score.values():
        best = np.fmax(best, score)
    found = _search(project, PlotBottom(inside, best, grid.west, grid.north, grid.cell), gap_m=0.0)(1)
    if len(found) == 0:
        return None
    x, y = found.outline(0)
    none = np.zeros(0)
    ratios = slope_ratios(*depths_under(bottom, x, y), bearing_grid_deg=found.line(0).bearing_grid_deg)
    return Laid(
        found.line(0, *ratios),
        shapely.Polygon(np.column_stack([x, y])),
        found.circle,
        found.width_m,
        float(found.allowed_share[0]),
        float(found.robust_share[0]),
        none,
        none,
        none,
        none,
        none,
    )


def plot_pattern(project: Project, separation: float) -> Pattern:
    """Return the slots of a full plot at a planned separation [m]."""
    plot = project.settings.spacing.plot
    if plot.shape == "circle":
        return circle_pattern(plot.radius_m, separation_m=separation)
    return free_pattern(plot.length_m, plot.width_m, separation_m=separation)


def _finder(
    project: Project, ground: Ground, bottom: Bottom, species: str, standing: Sequence[Standing] = ()
) -> Callable[[int | None], Plots]:
    """Return what finds a number of plots for a species, or as many as fit; the plan's limit holds."""
    most = project.settings.spacing.plot.most
    allowed = bottom.allowed[species].copy()
    x, y = bottom.grid.centres()
    rows, cols = np.nonzero(allowed)
    allowed[rows, cols] = clearances(bottom)(x[cols], y[rows])
    area = PlotBottom(allowed, bottom.score[species], bottom.grid.west, bottom.grid.north, bottom.grid.cell)
    gap = max(project.settings.spacing.plot.gap_m, planned_separation(project, ground, species))  # units on the edges
    search = _search(project, area, gap_m=gap, standing=standing)

    def find(wanted: int | None) -> Plots:
        return search(wanted if most is None else most if wanted is None else min(wanted, most))

    return find


def _search(
    project: Project, area: PlotBottom, *, gap_m: float, standing: Sequence[Standing] = ()
) -> Callable[[int | None], Plots]:
    """Return what finds plots of the plan's shape on a bottom."""
    spacing = project.settings.spacing
    plot = spacing.plot
    if plot.shape == "circle":
        return lambda wanted: find_circles(
            area,
            radius_m=plot.radius_m,
            gap_m=gap_m,
            wanted=wanted,
            least_allowed_share=plot.allowed_share,
            pin_error_m=spacing.pin_error_m,
            least_robust_share=plot.robust_share,
            standing=standing,
        )
    search = PlotSearch(
        area,
        length_m=plot.length_m,
        width_m=plot.width_m,
        gap_m=gap_m,
        bearings_deg=tuple(180.0 * k / plot.bearings for k in range(plot.bearings)),
        least_allowed_share=plot.allowed_share,
        pin_error_m=spacing.pin_error_m,
        least_robust_share=plot.robust_share,
        standing=standing,
    )
    return lambda wanted: search.find(wanted, seed=project.settings.plan.seed)


def units_in(project: Project, bottom: Bottom, species: str, plots: Plots, separation: float) -> list[Laid]:
    """Return plots with the slots that a species may use at a planned separation [m]."""
    pattern = plot_pattern(project, separation)
    stands = stands_on(bottom, species)
    laid = []
    for k in range(plots.centre_x_m.size):
        flat = plots.line(k)
        x, y = plots.outline(k)
        bearing = flat.bearing_grid_deg
        along, across = slope_ratios(*depths_under(bottom, x, y), bearing_grid_deg=bearing)
        line = plots.line(k, along, across)
        slots = slots_of(pattern, line, separation_m=separation, stands=stands)
        use = slots.usable
        laid.append(
            Laid(
                line,
                shapely.Polygon(np.column_stack([x, y])),
                plots.circle,
                plots.width_m,
                float(plots.allowed_share[k]),
                float(plots.robust_share[k]),
                slots.x_m[use],
                slots.y_m[use],
                slots.along_m[use],
                slots.offset_m[use],
                slots.angle_deg[use],
            )
        )
    return laid


def depths_under(bottom: Bottom, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return positions and depths of the cells under an outline."""
    shape = shapely.Polygon(np.column_stack([x, y]))
    gx, gy = bottom.grid.centres()
    west, south, east, north = shape.bounds
    cols = np.flatnonzero((gx >= west) & (gx <= east))
    rows = np.flatnonzero((gy >= south) & (gy <= north))
    px, py = (v.ravel() for v in np.meshgrid(gx[cols], gy[rows]))
    depth = bottom.depth_m[np.ix_(rows, cols)].astype(np.float64).ravel()
    keep = np.isfinite(depth) & shapely.contains_xy(shape, px, py)
    return px[keep], py[keep], depth[keep]


def stands_on(bottom: Bottom, species: str) -> Callable[[Floats, Floats], NDArray[np.bool_]]:
    """Return a test whether positions lie on allowed bottom of a species, clear of all that is kept clear."""
    allowed = bottom.allowed[species]
    clear = clearances(bottom)

    def stands(x: Floats, y: Floats) -> NDArray[np.bool_]:
        row, col = bottom.grid.cell_of(x, y)
        inside = bottom.grid.holds(row, col)
        rows, cols = allowed.shape
        good = np.asarray(inside & allowed[row.clip(0, rows - 1), col.clip(0, cols - 1)])
        good[good] = clear(x[good], y[good])
        return good

    return stands


def clearances(bottom: Bottom) -> Callable[[Floats, Floats], NDArray[np.bool_]]:
    """Return a test whether positions lie outside every clearance."""
    centres, radii = bottom.clear_points, bottom.clear_radii
    tree = cKDTree(centres) if len(centres) else None

    def clear(x: Floats, y: Floats) -> NDArray[np.bool_]:
        free = np.ones(x.size, bool)
        if tree is None or x.size == 0:
            return free
        near = tree.query_ball_point(np.column_stack([x, y]), float(radii.max()))
        of = np.repeat(np.arange(x.size), [len(n) for n in near])
        if of.size:
            which = np.concatenate([n for n in near if n]).astype(np.int64)
            free[of[np.hypot(centres[which, 0] - x[of], centres[which, 1] - y[of]) < radii[which]]] = False
        return free

    return clear


def best_units(bottom: Bottom, species: str, laid: list[Laid], units: int) -> list[Laid]:
    """Return plots with no more than a number of units, those on cells of the highest score."""
    own = np.concatenate([np.full(p.x_m.size, k) for k, p in enumerate(laid)]) if laid else np.zeros(0)
    if own.size <= units:
        return laid
    row, col = bottom.grid.cell_of(np.concatenate([p.x_m for p in laid]), np.concatenate([p.y_m for p in laid]))
    kept = np.zeros(own.size, bool)
    kept[np.argsort(-np.nan_to_num(bottom.score[species][row, col]), kind="stable")[:units]] = True
    return [_with(plot, kept[own == k]) for k, plot in enumerate(laid) if kept[own == k].any()]


def _with(plot: Laid, units: NDArray[np.bool_] | slice) -> Laid:
    own = {name: getattr(plot, name)[units] for name in ("x_m", "y_m", "along_m", "offset_m", "angle_deg")}
    return replace(plot, **own)


def first_units(laid: list[Laid], units: int) -> list[Laid]:
    """Return plots until the units are used up; the last one keeps its first slots."""
    out: list[Laid] = []
    left = units
    for plot in laid:
        n = min(plot.x_m.size, left)
        if n == 0:
            continue
        out.append(_with(plot, slice(n)))
        left -= n
        if left == 0:
            break
    return out
