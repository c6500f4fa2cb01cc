"""The page on which planners try weights: gathered from a run, written beside it; a preview, not a stage."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from numpy.typing import NDArray
from shapely.geometry import box

from sitekit.base.geodesy import polygon_area
from sitekit.layers.grid import Grid
from sitekit.outputs.explore_page.coding import encode
from sitekit.outputs.explore_page.scene import ExploreScene, Judged, Weighted
from sitekit.outputs.explore_page.write import write_explore
from sitekit.pipeline.bottoms import planned_separation
from sitekit.pipeline.fields import Ground, all_criteria, raster, read_ground, species_criteria
from sitekit.pipeline.places import site_places
from sitekit.pipeline.project import Machine, Project
from sitekit.pipeline.responses import responses
from sitekit.pipeline.stages import ShortfallWithReport, run_stages
from sitekit.season.plan_tables import read_table
from sitekit.suitability.exclusions import LABELS, UNKNOWN

PAGE = "explore.html"
MOST_CELLS = 1_000_000  # a change must show while the hand moves; larger grids are shown by every k-th row and column
NOT_PUBLIC = "Not a public copy: responses to living colonies show where they stand. Hand out the map, not this page."
HEXAGON = math.sqrt(3.0) / 2.0  # area per point of the densest packing over d²: as in layout/bound.py


def explore(plan: Path, cautions: tuple[str, ...], machine: Machine | None = None) -> Path:
    """Write `out/explore.html` for a plan, after every stage that is not up to date.

    Parameters
    ----------
    plan : Path
        `plan.toml` or its folder.
    cautions : tuple of str
        Printed on the page.
    machine : Machine, optional
        How this machine works.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    InputFault, FileFault
        From the stages, or if the page cannot be written.
    """
    try:
        report = run_stages(plan, machine)
    except ShortfallWithReport as short:  # units that found no place change nothing here
        report = short.report
    target = report.project.out / PAGE
    write_explore(target, explore_scene(report.project, report.run_id, cautions))
    return target


def explore_scene(project: Project, run_id: str, cautions: tuple[str, ...]) -> ExploreScene:
    """Return what the page shows of a run whose candidates are found."""
    settings = project.settings
    ground = read_ground(project)
    step = max(1, math.ceil(math.sqrt(ground.grid.shape[0] * ground.grid.shape[1] / MOST_CELLS)))
    rows, cols = (max(n // step, 1) for n in ground.grid.shape)
    grid = Grid(ground.grid.crs, ground.grid.west, ground.grid.north, ground.grid.cell * step, (rows, cols))
    criteria = all_criteria(settings)
    planes, codes = responses(project, ground, criteria, step=step, into=encode, dtype="uint16")
    place = {user: k for k, plane in enumerate(planes) for user in plane.users}
    chosen = {code: {c.name: c.weight for c in rows} for code, rows in species_criteria(settings).items()}
    exclusion = _every(project.result(f"reasons_{settings.species[0].code}.tif"), step, grid, band=2)
    exclusion[exclusion == UNKNOWN] = 0  # that depends on the weights: the page works it out
    season = project.result("season.gpkg")
    held = read_table(season, "candidate_species")
    species = []
    for one in settings.species:
        own = held[held["species"] == one.code]
        unit = HEXAGON * planned_separation(project, ground, one.code) ** 2 / ground.scale**2
        known = own["capacity"].notna()
        area = float(own.loc[known, "area_m2"].sum())
        species.append(
            Judged(
                one.code,
                one.name,
                tuple(
                    Weighted(c.name, chosen[one.code].get(c.name, 0.0), place[one.code, c.name], c.source, c.verified)
                    for c in criteria[one.code]
                ),
                unit,
                float(own.loc[known, "capacity"].astype(float).sum()) * unit / area if area else math.nan,
                planned_separation(project, ground, one.code),
                _passing(project, one.code) * _cell_area(ground.grid),
            )
        )
    return ExploreScene(
        title=settings.plan.name,
        run_id=run_id,
        date=settings.plan.date.isoformat(),
        datum=f"positions WGS 84; depths below {settings.layers.bathymetry.datum}, stated error ± "
        f"{settings.layers.bathymetry.depth_error_m:g} m",
        grid=grid,
        cell_m2=_cell_area(grid),
        depth=_every(raster(project, "depth"), step, grid),
        exclusion=exclusion,
        reasons={int(k): LABELS[int(k)] for k in np.unique(exclusion) if k},
        responses=codes,
        species=tuple(species),
        method=settings.score.combine,
        passing=settings.score.passing,
        max_unknown_weight=settings.score.max_unknown_weight,
        least_area_m2=settings.candidates.least_area_m2,
        candidates=gpd.GeoDataFrame(read_table(season, "candidates")),
        sites=_sites(project, season, ground),
        every=step,
        scout=ground.scout,
        fictional=settings.plan.fictional,
        cautions=cautions,
        notes=(NOT_PUBLIC,) if settings.outputs.public else (),
    )


def _every(path: Path, step: int, grid: Grid, band: int = 1) -> NDArray[Any]:
    rows, cols = grid.shape
    with rasterio.open(path) as file:
        whole: NDArray[Any] = file.read(band)
    half = step // 2
    return np.ascontiguousarray(whole[half::step, half::step][:rows, :cols])


def _passing(project: Project, code: str) -> int:
    limit, found = np.float32(project.settings.score.passing), 0
    with rasterio.open(project.result(f"score_{code}.tif")) as file:
        for _, window in file.block_windows(1):
            found += int((file.read(1, window=window) >= limit).sum())
    return found


def _cell_area(grid: Grid) -> float:
    """Return the mean area of a cell on the ellipsoid [m²]."""
    return polygon_area(box(*grid.bounds), grid.crs) / (grid.shape[0] * grid.shape[1])


def _sites(project: Project, season: Path, ground: Ground) -> gpd.GeoDataFrame | None:
    if "sites" not in {name for name, _ in pyogrio.list_layers(season)}:
        return None
    sites = gpd.GeoDataFrame(read_table(season, "sites"))
    given = {one.code: one.place for one in site_places(project, ground.grid.crs)}
    # A run asks which candidate holds the place that a person gave; the table holds a point of that candidate.
    sites["geometry"] = [
        given[code].representative_point() if code in given else at
        for code, at in zip(sites["site"], sites.geometry, strict=True)
    ]
    return sites
