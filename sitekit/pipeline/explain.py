"""Why a place has the score it has: one cell of the written results and of the layers behind them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from pyproj import CRS
from rasterio.windows import Window

from sitekit.base.crs import transform_points
from sitekit.base.notation import position_text
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.substrate import substrate_names
from sitekit.layers.tiled import Block, Reader, as_input
from sitekit.pipeline.explained import ChoiceHere, PlaceExplained, SpeciesHere
from sitekit.pipeline.fields import RASTERS, Ground, field_units, read_ground, species_criteria, weights_origin
from sitekit.pipeline.judging import BlockJudge
from sitekit.pipeline.places import named_places, position_of, site_places
from sitekit.pipeline.project import Project, open_project
from sitekit.pipeline.sea_values import sea_at
from sitekit.pipeline.stages import stale_stages
from sitekit.season.plan_tables import read_table
from sitekit.sites.codes import nearest_names
from sitekit.suitability.exclusions import exclusion_tests
from sitekit.suitability.explain import Explanation, explain_cell

_WGS84 = CRS.from_epsg(4326)


def explain_place(plan: Path, *, at: str | None = None, site: str | None = None) -> PlaceExplained:
    """Explain the score of a place from the written results and the layers.

    Parameters
    ----------
    plan : Path
        A `plan.toml`, or the folder that holds it; its run must be up to date.
    at : str, optional
        A position in any notation.
    site : str, optional
        A site's code or a candidate's label; a place with an outline is explained at one cell well inside it.

    Raises
    ------
    InputFault
        If not exactly one of both is given, the position cannot be read or lies outside the grid, or nothing has that
        code.
    FileFault
        If the results are missing or do not belong to this plan.
    """
    if (at is None) == (site is None):
        raise InputFault(
            Fault(
                "explain",
                "both or none of --at and --site",
                "one of them",
                'Say --at "18 15.2 N, 64 50.1 W" or --site CODE.',
            )
        )
    project = open_project(plan)
    stale = stale_stages(project)
    if "score" in stale or "layers" in stale:
        raise FileFault(
            Fault(
                f"{project.out.name}/",
                "holds no results of this plan.toml, or older ones",
                "layers and scores that are up to date",
                "Run: sitekit run plan.toml",
            )
        )
    ground = read_ground(project)
    tables = _tables(project, stale)
    x, y = _point_at(ground, str(at)) if at is not None else _point_of(project, ground, str(site), tables)
    row, col = (int(v[0]) for v in ground.grid.cell_of(np.array([x]), np.array([y])))
    _refuse_outside(ground, (row, col), str(at or site))
    return _explained(project, ground, (row, col), tables, str(at or site))


def _tables(project: Project, stale: list[str]) -> dict[str, Any]:
    wanted = [] if "candidates" in stale else ["candidates"]
    wanted += [] if "sensitivity" in stale else ["candidate_ranks"]
    wanted += [] if "choose" in stale else ["sites"]
    return {name: read_table(project.result("season.gpkg"), name) for name in wanted}


def _point_at(ground: Ground, text: str) -> tuple[float, float]:
    longitude, latitude = position_of(text, "--at")
    x, y = transform_points(np.array([longitude]), np.array([latitude]), _WGS84, ground.grid.crs)
    return float(x[0]), float(y[0])


def _point_of(project: Project, ground: Ground, code: str, tables: Mapping[str, Any]) -> tuple[float, float]:
    places = {s.code: s.place for s in site_places(project, ground.grid.crs)}
    if "candidates" in tables:
        frame = tables["candidates"]
        places |= {str(c): g for c, g in zip(frame["candidate"], frame.geometry, strict=True) if str(c) not in places}
    named = {key.upper(): key for key in places}
    if code.upper() not in named:
        near = difflib.get_close_matches(code.upper(), named, n=3, cutoff=0.3)
        hint = f"Did you mean {' or '.join(near)}?" if near else "Give the plan a [[site]] of that code, or use --at."
        raise InputFault(Fault("--site", repr(code), "a site's code or a candidate's label of this run", hint))
    point = places[named[code.upper()]].representative_point()
    return float(point.x), float(point.y)


def _refuse_outside(ground: Ground, cell: tuple[int, int], asked: str) -> None:
    if bool(ground.grid.holds(np.array([cell[0]]), np.array([cell[1]]))[0]):
        return
    west, south, east, north = ground.grid.bounds
    lon, lat = transform_points(np.array([west, east]), np.array([south, north]), ground.grid.crs, _WGS84)
    raise InputFault(
        Fault(
            asked,
            "lies outside the grid of this plan",
            f"{position_text(float(lon[0]), float(lat[0]), 'DD', 4)} to "
            f"{position_text(float(lon[1]), float(lat[1]), 'DD', 4)}",
            "Check order and signs of the position, or widen [layers.area].",
        )
    )


def _explained(
    project: Project, ground: Ground, cell: tuple[int, int], tables: Mapping[str, Any], asked: str
) -> PlaceExplained:
    settings = project.settings
    row, col = cell
    criteria = species_criteria(settings)
    judge = BlockJudge(project, ground, criteria)
    block = Block(row, col, 1, 1, judge.halo)
    with ExitStack() as stack:
        readers = {n: stack.enter_context(Reader(n, as_input(s), ground.grid)) for n, s in judge.inputs.items()}
        fields, masks = judge({name: reader.read(block) for name, reader in readers.items()}, block)
    tests = exclusion_tests(fields, judge.limits, masks)
    units = field_units(project.settings)
    centre = ground.grid.window(row, col, (1, 1))
    x, y = (float(v[0]) for v in centre.centres())
    lon, lat = transform_points(np.array([x]), np.array([y]), ground.grid.crs, _WGS84)
    candidate = _candidate(tables, x, y)
    origin = weights_origin(settings)
    species = []
    for one in settings.species:
        found = explain_cell(
            criteria[one.code],
            fields,
            tests,
            units=units,
            class_names=substrate_names(),
            caps={n: judge.reader.farthest(n) for n in judge.reader.reach},
            method=settings.score.combine,
            max_unknown_weight=settings.score.max_unknown_weight,
        )
        _refuse_other_score(project, one.code, cell, found)
        stable = _cell_of(project.result(f"stability_{one.code}.tif"), cell) if "candidate_ranks" in tables else None
        species.append(
            SpeciesHere(
                one.code,
                one.name,
                found,
                settings.score.passing,
                str(origin[one.code]["said"]),
                None if stable is None or np.isnan(stable) else stable,
                _standing(tables, candidate, one.code),
            )
        )
    named = named_places(project, ground.grid.crs)
    depth = float(fields["depth_m"][0, 0])
    return PlaceExplained(
        asked,
        float(lon[0]),
        float(lat[0]),
        position_text(float(lon[0]), float(lat[0]), settings.outputs.coordinates),
        row,
        col,
        None if np.isnan(depth) else depth,
        settings.layers.bathymetry.depth_error_m,
        settings.layers.bathymetry.datum,
        None if candidate is None else str(candidate["candidate"]),
        None if candidate is None else candidate["site"],
        nearest_names([shapely.Point(x, y)], [n.name for n in named], [n.shape for n in named])[0] if named else None,
        _protected(project, centre.bounds),
        _constraints(project, shapely.box(*centre.bounds)),
        tuple(species),
        settings.plan.fictional,
        sea_at(project, cell),
        choice_here(tables, candidate, asked),
    )


def _candidate(tables: Mapping[str, Any], x: float, y: float) -> dict[str, Any] | None:
    if "candidates" not in tables:
        return None
    frame = tables["candidates"]
    hits = frame[frame.geometry.intersects(shapely.Point(x, y))]
    return None if hits.empty else dict(hits.iloc[0].drop("geometry"))


def choice_here(tables: Mapping[str, Any], candidate: dict[str, Any] | None, asked: str) -> ChoiceHere | None:
    """Return what the choice says of the candidate here, or of a site that lies in none.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        With `sites` where the stage `choose` is up to date.
    candidate : dict or None
        Row of the candidate that holds the place.
    asked : str
        What was asked for; a site's code where it lies in no candidate.
    """
    if "sites" not in tables:
        return None
    frame = tables["sites"]
    own = (
        frame[frame["site"] == asked.upper()]
        if candidate is None
        else frame[frame["candidate"] == candidate["candidate"]]
    )
    if own.empty:
        return None
    row = own.iloc[0]
    return ChoiceHere(
        str(row["site"]),
        bool(row["chosen"]),
        str(row["reason"]),
        None if pd.isna(row["units"]) else int(row["units"]),
        None if pd.isna(row["verdict"]) else str(row["verdict"]),
        f"{row['scouted_on']} by {row['observer']}" if row["scouted"] else None,
    )


def _standing(tables: Mapping[str, Any], candidate: dict[str, Any] | None, code: str) -> dict[str, Any] | None:
    if candidate is None or "candidate_ranks" not in tables:
        return None
    frame = tables["candidate_ranks"]
    own = frame[(frame["species"] == code) & (frame["candidate"] == candidate["candidate"])]
    if own.empty:
        return None
    row = {k: (None if pd.isna(v) else v) for k, v in own.iloc[0].to_dict().items()}
    row["of"] = int((frame["species"] == code).sum())
    return {k: (v.item() if isinstance(v, np.generic) else v) for k, v in row.items()}


def _cell_of(path: Path, cell: tuple[int, int]) -> float | None:
    if not path.is_file():
        return None
    with rasterio.open(path) as file:
        return float(file.read(1, window=Window(cell[1], cell[0], 1, 1))[0, 0])


def _refuse_other_score(project: Project, code: str, cell: tuple[int, int], found: Explanation) -> None:
    """Refuse to explain a score that is not the written one."""
    written = _cell_of(project.result(f"score_{code}.tif"), cell)
    same = written is not None and (
        np.isnan(written) if found.score is None else abs(written - found.score) <= 1e-6  # float32
    )
    if not same:
        raise FileFault(
            Fault(
                f"{project.out.name}/score_{code}.tif",
                f"holds {written} at row {cell[0]}, column {cell[1]}; the layers give {found.score}",
                "the score that the layers give",
                "Run again: sitekit run plan.toml",
            )
        )


def _protected(project: Project, bounds: tuple[float, float, float, float]) -> tuple[str, ...]:
    path = project.result(f"{RASTERS}/protected.gpkg")
    if project.settings.layers.protected is None or not path.is_file():
        return ()
    areas = gpd.read_file(path)
    held = project.settings.exclusions.permit_held
    here = areas[areas.intersects(shapely.box(*bounds))]
    return tuple(
        f"{name} ({rule}{', held' if rule == 'permit' and name in held else ''})"
        for name, rule in zip(here["name"], here["rule"], strict=True)
    )


def _constraints(project: Project, cell: Any) -> tuple[str, ...]:
    path = project.result(f"{RASTERS}/constraints.gpkg")
    if not project.settings.layers.constraints or not path.is_file():
        return ()
    found = []
    for row in gpd.read_file(path).itertuples():
        reach = 0.0 if row.keep_clear_m is None or np.isnan(row.keep_clear_m) else float(row.keep_clear_m)
        gap = float(row.geometry.distance(cell))
        if gap <= reach:
            found.append(f"{row.label}: {gap:.0f} m away, keep clear {reach:g} m")
    return tuple(sorted(set(found)))
