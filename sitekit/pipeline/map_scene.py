"""Everything the map shows, gathered from the season's tables and rasters."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import Resampling
from shapely import LineString

from sitekit.base.crs import transform_points
from sitekit.base.north import convergence, declination
from sitekit.base.sources import sources
from sitekit.base.wording import length_text, length_unit, retell, say
from sitekit.layers.grid import Grid
from sitekit.outputs.map_html.overlays import check_picture
from sitekit.outputs.map_html.scene import MapScene, RasterLayer, ReasonLayer
from sitekit.outputs.paper.norths import Norths
from sitekit.pipeline.bottoms import read_colonies
from sitekit.pipeline.fields import RASTERS, Ground, species_criteria
from sitekit.pipeline.map_facts import candidate_facts, site_facts, stamps
from sitekit.pipeline.project import Project
from sitekit.pipeline.responses import responses
from sitekit.pipeline.sea_pictures import sea_rasters
from sitekit.pipeline.weighing import asked_questions
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.exclusions import LABELS, NO_DEPTH, NO_SUBSTRATE, UNKNOWN
from sitekit.suitability.score import NO_LIMIT

MOST_CELLS = 4_000_000  # a picture of more cells than a screen has points only makes the file heavy
SCORE_EDGES = tuple(round(0.1 * i, 1) for i in range(11))
MODEL = "WMM2025"  # the model of base/north
PUBLIC = "This public copy leaves out living colonies, earlier outplants, planned colonies and nearness to them."
_UNKNOWN_REASONS = (NO_DEPTH, NO_SUBSTRATE, UNKNOWN)


def map_scene(
    project: Project, ground: Ground, tables: dict[str, pd.DataFrame], run_id: str, cautions: tuple[str, ...]
) -> MapScene:
    """Return the scene of the plan's map."""
    settings = project.settings
    step = max(1, math.ceil(math.sqrt(ground.grid.shape[0] * ground.grid.shape[1] / MOST_CELLS)))
    grid = _coarser(ground.grid, step)
    criteria = species_criteria(settings)
    rasters: list[RasterLayer] = []
    reasons: list[ReasonLayer] = []
    for species in settings.species:
        code = species.code
        exclusion = _read(project, f"reasons_{code}.tif", grid, step, band=2)
        there = [int(k) for k in np.unique(exclusion) if k]
        reasons.append(
            ReasonLayer(
                f"reasons_{code}",
                say("map.why_out", species=code),
                exclusion,
                excluded={k: retell(LABELS[k]) for k in there if k not in _UNKNOWN_REASONS},
                unknown={k: retell(LABELS[k]) for k in there if k in _UNKNOWN_REASONS},
            )
        )
        rasters.append(
            RasterLayer(
                f"score_{code}",
                say("map.score", species=code),
                "0–1",
                _read(project, f"score_{code}.tif", grid, step),
                SCORE_EDGES,
                reasons=f"reasons_{code}",
                note=say("map.passing", passing=f"{settings.score.passing:g}", combine=retell(settings.score.combine)),
                group=code,
            )
        )
        names = {i: retell(c.name, typed=True) for i, c in enumerate(criteria[code])}
        limiting = _read(project, f"reasons_{code}.tif", grid, step, band=1).astype(np.int16)
        limiting[limiting == NO_LIMIT] = -1
        rasters.append(
            RasterLayer(
                f"limiting_{code}",
                say("map.limiting", species=code),
                "",
                limiting,
                classes=names,
                ramp="classes",
                reasons=f"reasons_{code}",
                group=code,
            )
        )
        if project.result(f"stability_{code}.tif").exists():
            rasters.append(
                RasterLayer(
                    f"stability_{code}",
                    say("map.stability", species=code),
                    say("map.share_of_draws"),
                    _read(project, f"stability_{code}.tif", grid, step),
                    SCORE_EDGES,
                    ramp="warm",
                    reasons=f"reasons_{code}",
                    note=say(
                        "map.stability_note",
                        draws=settings.sensitivity.draws,
                        best=f"{settings.sensitivity.best_pct:g}",
                    ),
                    group=code,
                )
            )
    public = settings.outputs.public
    rasters += _responses(project, ground, criteria, public) if step == 1 else []
    rasters += sea_rasters(project, lambda name, band: _read(project, name, grid, step, band))
    depth = _read(project, f"{RASTERS}/depth.tif", grid, step)
    rasters += _depth_layer(depth, settings.layers.bathymetry.datum)
    per = length_unit()[1]
    crs = ground.grid.crs
    plots = gpd.GeoDataFrame(tables["plots"])
    sites = site_facts(tables, asked_questions(settings))
    notes = [retell(ground.scout_reason)] if ground.scout_reason else []
    if settings.layers.protected is None:
        notes.append(say("map.no_protected"))
    if step > 1:
        notes.append(say("map.coarser", step=step))
    cited = sorted({c.source for rows in criteria.values() for c in rows})
    return MapScene(
        title=settings.plan.name,
        run_id=run_id,
        date=settings.plan.date.isoformat(),
        datum=say(
            "map.datum",
            datum=settings.layers.bathymetry.datum,
            error=length_text(settings.layers.bathymetry.depth_error_m),
        ),
        grid=grid,
        rasters=tuple(rasters),
        reasons=tuple(reasons),
        depth=depth,
        contour_interval_m=_interval((depth / per).astype(np.float32)) * per,
        candidates=candidate_facts(tables, settings.spacing.mode),
        sites=sites,
        plots=plots if len(plots) else None,
        tape_lines=_tape_lines(plots, crs) if len(plots) else None,
        work_areas=gpd.GeoDataFrame(tables["work_areas"]) if len(tables["work_areas"]) else None,
        protected=_protected(project),
        existing=None if public else read_colonies(project),
        standing=None if public else _standing(tables),
        colonies=None if ground.scout or public else gpd.GeoDataFrame(tables["colonies"]),
        picture=picture_file(project),
        scout=ground.scout,
        fictional=settings.plan.fictional,
        stamps=(*((say("permit.stamp_public"),) if public else ()), *stamps(sites)),
        sources=tuple(sources()[k].line() if k in sources() else k for k in cited),
        notation=settings.outputs.coordinates,
        cautions=cautions,
        notes=tuple(notes),
    )


def _standing(tables: Mapping[str, pd.DataFrame]) -> gpd.GeoDataFrame | None:
    """Units as planted, each called by site and number; None before the first planting."""
    planted = gpd.GeoDataFrame(tables["as_planted"])
    names = [f"{s} {n}" for s, n in zip(planted["site"], planted["sequence"], strict=True)]
    return planted.assign(unit=names) if len(planted) else None


def map_norths(project: Project, grid: Grid) -> Norths:
    """Return the three norths in the middle of a map, on the plan's date."""
    west, south, east, north = grid.bounds
    lon, lat = transform_points([(west + east) / 2], [(south + north) / 2], grid.crs, CRS.from_epsg(4326))
    date = project.settings.plan.date
    needle = declination(float(lon[0]), float(lat[0]), date)
    return Norths(
        convergence_deg=float(convergence(grid.crs, lon, lat)[0]),
        declination_deg=needle.declination_deg if needle and needle.usable else None,
        change_deg_per_year=needle.change_deg_per_year if needle else 0.0,
        uncertainty_deg=needle.uncertainty_deg if needle else 0.0,
        model=MODEL,
        date=date.isoformat(),
        grid=grid.crs.name,
    )


def picture_file(project: Project) -> Path | None:
    """Return the team's own picture, None without one.

    Raises
    ------
    FileFault
        If it is missing or no picture on a map.
    """
    layer = project.settings.layers.picture
    if layer is None:
        return None
    path = project.input(layer.file, "layers.picture.file")
    check_picture(path)
    return path


def picture_rows(project: Project) -> list[dict[str, Any]]:
    """Return what was understood of the team's own picture, as a row of `check`; none without a picture."""
    layer, path = project.settings.layers.picture, picture_file(project)
    if layer is None or path is None:
        return []
    return [{"layer": "layers.picture", "said": check_picture(path), "source": layer.file, "notes": []}]


def _responses(
    project: Project, ground: Ground, criteria: dict[str, list[Criterion]], public: bool
) -> list[RasterLayer]:
    """Return how well each cell suits each criterion; one layer for species that judge alike."""
    planes, values = responses(project, ground, criteria)
    found = []
    for k, (plane, shown) in enumerate(zip(planes, values, strict=True)):
        if public and plane.field == "distance_colonies_m":
            continue  # it would show where living colonies stand
        names = list(dict.fromkeys(retell(name, typed=True) for _, name in plane.users))
        codes = list(dict.fromkeys(code for code, _ in plane.users))
        label = say("map.criterion", names=", ".join(names), species=", ".join(codes))
        note = say("map.criterion_note", field=plane.field)
        first = f"reasons_{codes[0]}"
        found.append(
            RasterLayer(
                f"response_{k}", label, "0–1", shown, SCORE_EDGES, reasons=first, note=note, group=say("map.criteria")
            )
        )
    return found


def _coarser(grid: Grid, step: int) -> Grid:
    if step == 1:
        return grid
    rows, cols = grid.shape
    return Grid(grid.crs, grid.west, grid.north, grid.cell * step, (max(rows // step, 1), max(cols // step, 1)))


def _read(project: Project, name: str, grid: Grid, step: int, band: int = 1) -> NDArray[Any]:
    with rasterio.open(project.result(name)) as file:
        if step == 1:
            values: NDArray[Any] = file.read(band)
            return values
        rows, cols = grid.shape
        window = rasterio.windows.Window(0, 0, cols * step, rows * step)
        coarse: NDArray[Any] = file.read(band, window=window, out_shape=grid.shape, resampling=Resampling.nearest)
        return coarse


def _depth_layer(depth: NDArray[np.float32], datum: str) -> list[RasterLayer]:
    """Return depth in bins of half the contour interval; none where nothing is known."""
    unit, per = length_unit()
    depth = depth if per == 1.0 else (depth / per).astype(np.float32)
    side = round(_interval(depth) / 2, 6)
    if not side:
        return []
    known = depth[np.isfinite(depth)]
    first, last = math.floor(float(known.min()) / side), math.ceil(float(known.max()) / side)
    edges = tuple(round(k * side, 2) for k in range(first, max(last, first + 1) + 1))
    return [RasterLayer("depth", say("map.depth", datum=datum), unit, depth, edges, ramp="depth", group=say("map.sea"))]


def _interval(depth: NDArray[np.float32]) -> float:
    """Return a contour interval that draws five to ten lines, in the unit of the depths."""
    known = depth[np.isfinite(depth)]
    span = float(known.max() - known.min()) if known.size else 0.0
    for interval in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0):
        if span / interval <= 10:
            return interval if span else 0.0
    return 500.0


def _tape_lines(plots: gpd.GeoDataFrame, crs: Any) -> gpd.GeoDataFrame:
    lines = [
        LineString([(p.pin_x_m, p.pin_y_m), (p.second_pin_x_m, p.second_pin_y_m)])
        for p in plots.itertuples()
        if not pd.isna(p.second_pin_x_m)
    ]
    kept = plots[plots["second_pin_x_m"].notna()]
    return gpd.GeoDataFrame(
        {name: kept[name].tolist() for name in ("plot", "site", "length_m", "bearing_true_deg")},
        geometry=lines,
        crs=crs,
    )


def _protected(project: Project) -> gpd.GeoDataFrame | None:
    path = project.result(f"{RASTERS}/protected.gpkg")
    return gpd.read_file(path) if path.exists() else None
