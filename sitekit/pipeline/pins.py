"""Plots follow their pins: lines move to as-set positions, and each unit is asked again whether it may stand there."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import rasterio
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import affinity

from sitekit.base.crs import WGS84, transform_points
from sitekit.errors import Fault
from sitekit.layout.tape import TapeLine, direction
from sitekit.pipeline.bottoms import Bottom
from sitekit.pipeline.plotting import Laid
from sitekit.pipeline.project import Project
from sitekit.suitability.exclusions import LABELS

FARTHEST_M = 200.0  # as in `set_pins`: a recorded pin farther from this plan's plot belongs to another plan
_TAPE_SLACK_M = 0.5  # pins nearer or wider apart than planned by more than this are told


@dataclass(frozen=True)
class Followed:
    """The plots of a site after its pins were set.

    Parameters
    ----------
    plots : list of Laid
        As given, those with pins moved.
    reasons : list of list of str
        Per plot and unit why it may not stand where it would come to stand; empty if it may.
    notes : list of str
        Per plot what a reader must know; empty without pins.
    faults : list of Fault
        Records that do not fit this plan.
    """

    plots: list[Laid]
    reasons: list[list[str]]
    notes: list[str]
    faults: list[Fault]


def follow_pins(
    project: Project,
    bottom: Bottom,
    names: Sequence[str],
    plots: Sequence[tuple[str, Laid]],
    pins: Mapping[str, Mapping[int, tuple[float, float]]],
    *,
    separation_m: float,
) -> Followed:
    """Move plots whose pins were set, and check their units again.

    Parameters
    ----------
    project : Project
        With the score stage done.
    bottom : Bottom
        Of the candidate.
    names : sequence of str
        Plot names.
    plots : sequence of (species, Laid)
        As computed.
    pins : mapping
        Plot -> pin -> longitude, latitude [°], from the records.
    separation_m : float
        Planned separation on the grid; units of moved plots that come nearer to others than this are left out.

    Notes
    -----
    With one pin the line is shifted, with both it runs from pin to pin; readings along and beside the tape stay.
    Checked again: allowed bottom and rules (score), clearance to living colonies, separation to units of other plots.
    """
    moved = [plot for _, plot in plots]
    notes, faults = [""] * len(plots), []
    for k, (name, (_, plot)) in enumerate(zip(names, plots, strict=True)):
        own = pins.get(name)
        if not own:
            continue
        places = {p: _to_map(*own[p], bottom) for p in sorted(own)}
        away = {
            p: math.dist(places[p], (plot.line.pin_x_m, plot.line.pin_y_m) if p == 1 else plot.line.second_pin)
            for p in places
        }
        if max(away.values()) > FARTHEST_M:
            faults.append(
                Fault(
                    f"records.gpkg, plot {name}",
                    f"its pins were set {max(away.values()):.0f} m from where this plan puts {name}",
                    f"within {FARTHEST_M:g} m",
                    "The plan has changed since: the plot is left where the plan puts it. Name the edited colonies "
                    "in [colonies], or use the plan of the day the pins were set.",
                )
            )
            continue
        shifted, notes[k] = _moved(plot, places, away)
        # the pin stands where it stands: what a boat's error could do to it is no longer asked
        moved[k] = replace(
            shifted, allowed_share=_allowed_share(bottom, plots[k][0], shifted.outline), robust_share=math.nan
        )
    reasons = []
    for k, (species, before) in enumerate(plots):
        plot = moved[k]
        if plot is before:
            reasons.append([""] * plot.x_m.size)
            continue
        others = np.concatenate(
            [np.column_stack([p.x_m, p.y_m]) for i, p in enumerate(moved) if i != k] or [np.zeros((0, 2))]
        )
        reasons.append(_reasons(project, bottom, species, plot, others, separation_m))
    return Followed(moved, reasons, notes, faults)


def _to_map(longitude: float, latitude: float, bottom: Bottom) -> tuple[float, float]:
    x, y = transform_points([longitude], [latitude], WGS84, bottom.grid.crs)
    return float(x[0]), float(y[0])


def _moved(plot: Laid, places: Mapping[int, tuple[float, float]], away: Mapping[int, float]) -> tuple[Laid, str]:
    line = plot.line
    said = ", ".join(f"pin {'AB'[p - 1]} set {away[p]:.1f} m from plan" for p in sorted(places))
    if len(places) == 2:
        (ax, ay), (bx, by) = places[1], places[2]
        length = math.hypot(bx - ax, by - ay)
        bearing = math.degrees(math.atan2(bx - ax, by - ay)) % 360.0
        if abs(length - line.length_m) > _TAPE_SLACK_M:
            said += f"; pins {length:.1f} m apart, planned {line.length_m:.1f} m"
        new = TapeLine(ax, ay, bearing, max(length, 0.1), line.along_ratio, line.offset_ratio)
    else:
        pin, (x, y) = next(iter(places.items()))
        planned = (line.pin_x_m, line.pin_y_m) if pin == 1 else line.second_pin
        new = replace(line, pin_x_m=line.pin_x_m + x - planned[0], pin_y_m=line.pin_y_m + y - planned[1])
    if plot.circle:
        turn = math.radians(new.bearing_grid_deg - line.bearing_grid_deg)
        dx, dy = plot.x_m - line.pin_x_m, plot.y_m - line.pin_y_m
        ux = new.pin_x_m + dx * math.cos(turn) + dy * math.sin(turn)
        uy = new.pin_y_m - dx * math.sin(turn) + dy * math.cos(turn)
        shape = affinity.translate(plot.outline, new.pin_x_m - line.pin_x_m, new.pin_y_m - line.pin_y_m)
    else:
        ux, uy = new.to_map(plot.along_m, plot.offset_m)
        shape = _rectangle(new, plot.width_m)
    return replace(plot, line=new, outline=shape, x_m=ux, y_m=uy), said


def _allowed_share(bottom: Bottom, species: str, shape: shapely.Polygon) -> float:
    """Share of the cell centres under an outline on allowed bottom; what lies off the site's window is not allowed."""
    west, south, east, north = shape.bounds
    cell = bottom.grid.cell / 2.0
    x, y = np.meshgrid(np.arange(west + cell / 2, east, cell), np.arange(south + cell / 2, north, cell))
    inside = shapely.contains_xy(shape, x.ravel(), y.ravel())
    row, col = bottom.grid.cell_of(x.ravel()[inside], y.ravel()[inside])
    held = bottom.grid.holds(row, col)
    rows, cols = bottom.grid.shape
    good = held & bottom.allowed[species][row.clip(0, rows - 1), col.clip(0, cols - 1)]
    return float(good.mean()) if good.size else 0.0


def _rectangle(line: TapeLine, width_m: float) -> shapely.Polygon:
    s, c = direction(line.bearing_grid_deg)
    half, length = width_m / 2.0, line.length_m
    corners = [(0.0, -half), (length, -half), (length, half), (0.0, half)]
    return shapely.Polygon([(line.pin_x_m + u * s + v * c, line.pin_y_m + u * c - v * s) for u, v in corners])


def _reasons(
    project: Project, bottom: Bottom, species: str, plot: Laid, others: NDArray[np.float64], separation: float
) -> list[str]:
    row, col = bottom.grid.cell_of(plot.x_m, plot.y_m)
    inside = bottom.grid.holds(row, col)
    rows, cols = bottom.grid.shape
    allowed = inside & bottom.allowed[species][row.clip(0, rows - 1), col.clip(0, cols - 1)]
    points = np.column_stack([plot.x_m, plot.y_m])
    with rasterio.open(project.result(f"reasons_{species}.tif")) as file:
        codes = [int(v[0]) for v in file.sample(points.tolist(), indexes=2)]
    near = np.zeros(len(points), bool)
    if len(bottom.clear_points):
        tree = cKDTree(bottom.clear_points)
        for i, found in enumerate(tree.query_ball_point(points, float(bottom.clear_radii.max()))):
            near[i] = bool(found) and bool(
                (np.hypot(*(bottom.clear_points[found] - points[i]).T) < bottom.clear_radii[found]).any()
            )
    close = np.zeros(len(points), bool)
    if len(others):
        close = cKDTree(others).query(points)[0] < separation - 1e-9
    out = []
    for i in range(len(points)):
        if not allowed[i]:
            label = LABELS.get(codes[i], "") if codes[i] else ""
            out.append("as set: " + (label or "not on passing bottom of this site, or too near its edge"))
        elif near[i]:
            out.append("as set: too near a living colony")
        elif close[i]:
            out.append("as set: too near a unit of another plot")
        else:
            out.append("")
    return out
