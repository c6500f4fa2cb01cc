"""Plots that a person moved or turned: read, checked like any input, and filled in place of computed ones."""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from pyproj import CRS

from sitekit.errors import Fault, Faults, FileFault, InputFault
from sitekit.layout.plots import Plots
from sitekit.pipeline.bottoms import Bottom, planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.plotting import Laid, first_units, units_in
from sitekit.pipeline.project import Project

_SIDE_M = 0.1  # how far a side may differ from the plan's own: coordinates in degrees with 7 decimals carry 1 cm


def given_plots(project: Project, crs: CRS, sites: list[str], *, apart_m: float) -> dict[str, list[Any]] | None:
    """Return the planted plots named by `[plots] from`, site -> outlines in the order of the file; None without any.

    Control and reference plots in the file are left out: they follow `[controls]`.

    Parameters
    ----------
    project : Project
        With its settings.
    crs : pyproj.CRS
        The working system.
    sites : list of str
        Chosen sites.
    apart_m : float
        Least distance between plots, so that units on their edges keep the separation [m].

    Raises
    ------
    FileFault, InputFault
        Naming every fault: columns, sites, shapes that are not the plan's plots, plots too near each other.
    """
    setting = project.settings.plots
    if setting is None:
        return None
    if project.settings.spacing.mode != "plots":
        raise InputFault(
            Fault("plots.from", f"mode {project.settings.spacing.mode!r}", "spacing.mode plots", "Change one.")
        )
    path = project.input(setting.from_file, "plots.from")
    try:
        frame = gpd.read_file(path)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise FileFault(
            Fault("plots.from", f"{path.name} cannot be read: {error}", "GeoJSON", "Correct it.")
        ) from error
    if not isinstance(frame, gpd.GeoDataFrame) or frame.crs is None or not {"plot", "site"} <= set(frame.columns):
        raise InputFault(
            Fault(
                "plots.from", f"{path.name} lacks outlines, plot or site", "a copy of out/plots.geojson", "Correct it."
            )
        )
    frame = frame.to_crs(crs)
    if "role" in frame.columns:
        frame = frame[frame["role"] == "planted"]
    found: dict[str, list[Any]] = {}
    with Faults() as faults:
        for _, row in frame.iterrows():
            where = f"{path.name}, plot {row['plot']}"
            if row["site"] not in sites:
                faults.add(where, f"site {row['site']!r} is not chosen", ", ".join(sites) or "no site", "Correct it.")
            said = _wrong_shape(project, row.geometry)
            if said:
                faults.add(where, said, _wanted(project), "Move or turn plots; their size is set in [spacing.plot].")
            found.setdefault(str(row["site"]), []).append(row.geometry)
        shapes, names = frame.geometry.to_numpy(), frame["plot"].astype(str).to_numpy()
        one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=apart_m - 0.02)
        for i, j in zip(one, other, strict=True):
            if i < j:
                faults.add(
                    f"{path.name}, plots {names[i]} and {names[j]}",
                    f"stand {shapely.distance(shapes[i], shapes[j]):.2f} m apart",
                    f"at least {apart_m:.2f} m",
                    "Move one.",
                )
    return found


def lay_given(
    project: Project, ground: Ground, bottom: Bottom, species: str, units: int, outlines: list[Any]
) -> tuple[list[Laid], list[Any]]:
    """Return given plots filled with units of a species, in their order, and the outlines that are still free.

    A plot without any slot for the species stays free for the next one.
    """
    separation = planned_separation(project, ground, species)
    laid: list[Laid] = []
    free: list[Any] = []
    left = units
    for outline in outlines:
        plots = _as_plots(project, bottom, species, [outline])
        one = first_units(units_in(project, bottom, species, plots, separation), left) if left else []
        if one:
            laid += one
            left -= sum(p.x_m.size for p in one)
        else:
            free.append(outline)
    return laid, free


def _as_plots(project: Project, bottom: Bottom, species: str, outlines: list[Any]) -> Plots:
    plot = project.settings.spacing.plot
    circle = plot.shape == "circle"
    length, width = (2 * plot.radius_m,) * 2 if circle else (plot.length_m, plot.width_m)
    middles = np.array([(o.centroid.x, o.centroid.y) for o in outlines]).reshape(-1, 2)
    bearings = np.array([0.0 if circle else _bearing(o) for o in outlines])
    x, y = bottom.grid.centres()
    allowed = []
    for o in outlines:
        rows, cols = np.nonzero(bottom.allowed[species])
        inside = shapely.contains_xy(o, x[cols], y[rows]).sum() * bottom.grid.cell**2
        allowed.append(min(1.0, float(inside) / o.area))
    # how robust a plot is that a person laid was not worked out
    unknown = np.full(len(outlines), math.nan)
    return Plots(
        middles[:, 0],
        middles[:, 1],
        bearings,
        length,
        width,
        circle,
        np.array(allowed),
        unknown,
        unknown,
        len(outlines),
    )


def _sides(shape: Any) -> tuple[float, float, float]:
    """Return the longer and shorter side of the smallest box around a shape, and the bearing of the longer one [°]."""
    box = np.asarray(shapely.minimum_rotated_rectangle(shape).exterior.coords)
    edges = np.diff(box[:3], axis=0)
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    k = int(np.argmax(lengths))
    return float(lengths[k]), float(lengths[1 - k]), math.degrees(math.atan2(edges[k, 0], edges[k, 1])) % 180.0


def _bearing(shape: Any) -> float:
    return _sides(shape)[2]


def _wrong_shape(project: Project, shape: Any) -> str:
    """Return what is wrong with an outline, empty if it is a plot of the plan."""
    if shape is None or shape.geom_type != "Polygon" or shape.is_empty:
        return "is no polygon"
    plot = project.settings.spacing.plot
    long, short, _ = _sides(shape)
    if plot.shape == "circle":
        due = (2 * plot.radius_m, 2 * plot.radius_m, math.pi * plot.radius_m**2)
    else:
        due = (plot.length_m, plot.width_m, plot.length_m * plot.width_m)
    good = max(abs(long - due[0]), abs(short - due[1])) <= _SIDE_M and abs(shape.area / due[2] - 1) <= 0.05
    return "" if good else f"is {long:.1f} × {short:.1f} m, {shape.area:.0f} m²"


def _wanted(project: Project) -> str:
    plot = project.settings.spacing.plot
    return (
        f"a circle of radius {plot.radius_m:g} m"
        if plot.shape == "circle"
        else f"{plot.length_m:g} × {plot.width_m:g} m"
    )
