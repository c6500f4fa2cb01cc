"""Control and reference plots: one in each area found for them, laid like planted ones, and nothing in them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.north import convergence, true_bearing
from sitekit.errors import Fault
from sitekit.pipeline.bottoms import read_bottom
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.open_rasters import OpenRasters
from sitekit.pipeline.plotting import depths_under, empty_plot
from sitekit.pipeline.project import Project


def control_plots(
    project: Project, ground: Ground, areas: pd.DataFrame
) -> tuple[list[dict[str, Any]], list[shapely.Polygon], list[Fault]]:
    """Return rows and outlines for the table `plots`, one per area, and the areas without room for a plot.

    Parameters
    ----------
    project, ground
        With score and choose stages done.
    areas : GeoDataFrame
        The table `control_areas`.
    """
    rows: list[dict[str, Any]] = []
    outlines: list[shapely.Polygon] = []
    missing: list[Fault] = []
    records: list[Any] = list(areas.itertuples())
    with OpenRasters() as rasters:
        bottoms = [read_bottom(project, ground, area.geometry, None, rasters) for area in records]
    for area, bottom in zip(records, bottoms, strict=True):
        plot = empty_plot(project, bottom, area.geometry)
        if plot is None:
            share = project.settings.spacing.plot.allowed_share
            came, due = f"no {area.role} plot fits in", f"a plot with {100 * share:g} % of it in the area"
            missing.append(Fault(f"area {area.area}", came, due, "Widen a tolerance in [controls], or a smaller plot."))
            continue
        line = plot.line
        lon, lat = transform_points([line.pin_x_m], [line.pin_y_m], ground.grid.crs, WGS84)
        turn = convergence(ground.grid.crs, lon, lat)
        x, y = line.second_pin
        depth = depths_under(bottom, *np.asarray(plot.outline.exterior.coords).T)[2]
        rows.append(
            {
                "plot": area.area,
                "site": area.site,
                "role": area.role,
                "shape": "circle" if plot.circle else "rectangle",
                "pin_x_m": line.pin_x_m,
                "pin_y_m": line.pin_y_m,
                "second_pin_x_m": x,
                "second_pin_y_m": y,
                "bearing_true_deg": float(true_bearing([line.bearing_grid_deg], turn)[0]),
                "length_m": line.length_m,
                "tape_m": line.tape_m,
                "width_m": plot.width_m,
                "hard_pct": 100.0 * plot.allowed_share,
                "robust_pct": 100.0 * plot.robust_share,
                "depth_min_m": float(depth.min()),
                "depth_max_m": float(depth.max()),
                "units": 0,
                "note": "stays unplanted; its numbers count bottom that matches the site",
            }
        )
        outlines.append(plot.outline)
    return rows, outlines, missing
