"""Stage 3: patches of passing cells, what they offer each species, and the codes that people gave them."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from rasterio.features import rasterize
from rasterio.windows import Window

from sitekit.base.geodesy import polygon_area
from sitekit.base.tables import build
from sitekit.errors import Fault, InputFault
from sitekit.layers.blocks import in_order
from sitekit.pipeline.bottoms import read_bottom, read_colonies
from sitekit.pipeline.capacities import Room, room_for
from sitekit.pipeline.fields import RASTERS, Ground, raster, read_ground, species_criteria
from sitekit.pipeline.open_rasters import OpenRasters
from sitekit.pipeline.place_scores import score_places
from sitekit.pipeline.places import named_places, nearest_said, site_places
from sitekit.pipeline.project import Done, Project
from sitekit.sites.codes import Coded, match_codes, nearest_names
from sitekit.suitability.candidates import Patch, PatchFinder, PatchStatistics, patch_statistics

STRIP = 512  # rows read at a time


def run(project: Project, run_id: str) -> Done:
    """Find candidates and write the tables `candidates` and `candidate_species`."""
    ground = read_ground(project)
    sites = site_places(project, ground.grid.crs)
    outlines, statistics, cells = _given(project, ground) or _computed(project, ground, sites)
    order = sorted(range(len(outlines)), key=lambda i: (-statistics[i].score_mean, -cells[i], i))
    outlines, statistics = [outlines[i] for i in order], [statistics[i] for i in order]
    cells = [cells[i] for i in order]
    matched = match_codes(sites, outlines)
    code_of = {index: site.code for site, index in zip(sites, matched, strict=True) if index is not None}
    places = named_places(project, ground.grid.crs)
    names = nearest_names(outlines, [p.name for p in places], [p.shape for p in places])
    labels = [f"C{i + 1:0{max(2, len(str(len(outlines))))}d}" for i in range(len(outlines))]
    rooms = _rooms(project, ground, outlines)
    areas = [polygon_area(o, ground.grid.crs) for o in outlines]
    criteria = species_criteria(project.settings)
    rules = _protected(project, outlines)
    rows, species_rows = [], []
    for i, label in enumerate(labels):
        offer = statistics[i]
        passing = [code for code, n in offer.species_cells.items() if n]
        best = max(passing, key=lambda c: offer.species_cells[c], default=next(iter(criteria)))
        limiting = criteria[best][offer.limiting].name if offer.limiting >= 0 else None
        rows.append(
            {
                "candidate": label,
                "site": code_of.get(i),
                "nearest_name": names[i],
                "species": " ".join(passing) or "none",
                "cells": cells[i],
                "area_m2": areas[i],
                "depth_min_m": offer.depth_min_m,
                "depth_mean_m": offer.depth_mean_m,
                "depth_max_m": offer.depth_max_m,
                "score_mean": offer.score_mean,
                "score_max": offer.score_max,
                "limiting": limiting,
                "protected": rules[i],
                "unknown_pct": offer.unknown_pct,
                "scout": ground.scout,
                "note": ground.scout_reason or None,
            }
        )
        for code in passing:
            area = areas[i] * offer.species_cells[code] / cells[i]
            room = rooms[i][code]
            species_rows.append(
                {
                    "candidate": label,
                    "species": code,
                    "area_m2": area,
                    "score_mean": offer.species_score_mean[code],
                    "score_sum": area * offer.species_score_mean[code],
                    "separation_m": room.separation_m,
                    "planned_separation_m": room.planned_separation_m,
                    "capacity": room.capacity,
                    "bound": room.bound,
                    "capacity_at_d": room.capacity_at_d,
                    "bound_at_d": room.bound_at_d,
                }
            )
    crs = ground.grid.crs
    tables = {
        "candidates": build("candidates", rows, [_multi(o) for o in outlines], crs),
        "candidate_species": build("candidate_species", species_rows),
        "place_scores": score_places(project, ground, places, outlines, labels),
    }
    project.write_season(tables, crs)
    return Done(
        ["season.gpkg"],
        _figures(project.settings.spacing.mode, rows, species_rows, sites, matched),
        _shortfalls(project, rows, sites, matched, [nearest_said(s, outlines, labels, crs) for s in sites]),
    )


def _computed(
    project: Project, ground: Ground, sites: list[Coded]
) -> tuple[list[Any], list[PatchStatistics], list[int]]:
    """Return outlines, statistics and cells of computed patches; a site's polygon cuts its own patch out."""
    settings = project.settings
    grid = ground.grid
    least = settings.candidates.least_area_m2 / (grid.cell / ground.scale) ** 2
    cuts = [(s.place, i + 1) for i, s in enumerate(sites) if not isinstance(s.place, shapely.Point)]
    finders = [PatchFinder() for _ in range(len(sites) + 1)]
    with OpenRasters() as rasters:
        for row in range(0, grid.shape[0], STRIP):
            rows = min(STRIP, grid.shape[0] - row)
            window = Window(0, row, grid.shape[1], rows)
            passing = np.zeros((rows, grid.shape[1]), bool)
            for species in settings.species:
                score = rasters.read(project.result(f"score_{species.code}.tif"), window)
                passing |= score >= np.float32(settings.score.passing)
            owner = np.zeros(passing.shape, np.int32)
            if cuts:
                strip = grid.window(row, 0, passing.shape)
                owner = rasterize(cuts, out_shape=passing.shape, transform=strip.transform, dtype="int32")
            finders[0].add(passing & (owner == 0), row)
            for _, number in cuts:
                finders[number].add(passing & (owner == number), row)
            project.machine.progress(row + rows, grid.shape[0])
        patches = finders[0].patches(least)
        for _, number in cuts:
            own = finders[number].patches(1.0)
            if own:
                patches.append(_together(own))
        statistics = [_statistics(project, patch, rasters) for patch in patches]
    return [p.outline(grid) for p in patches], statistics, [p.cells for p in patches]


def _given(project: Project, ground: Ground) -> tuple[list[Any], list[PatchStatistics], list[int]] | None:
    """Return outlines that a person edited, cut to cells of the grid that have a score."""
    name = project.settings.candidates.from_file
    if name is None:
        return None
    frame = gpd.read_file(project.input(name, "candidates.from")).to_crs(ground.grid.crs)
    if frame.empty:
        raise InputFault(
            Fault("candidates.from", f"{name!r} has no shapes", "at least one polygon", "Correct the file.")
        )
    grid = ground.grid
    outlines, statistics, cells = [], [], []
    with OpenRasters() as rasters:
        usable = np.zeros(grid.shape, bool)
        for species in project.settings.species:
            score = rasters.read(project.result(f"score_{species.code}.tif"), Window(0, 0, *grid.shape[::-1]))
            usable |= score >= np.float32(project.settings.score.passing)
        for shape in frame.geometry:
            mask = rasterize([(shape, 1)], out_shape=grid.shape, transform=grid.transform, dtype="uint8") > 0
            finder = PatchFinder()
            finder.add(mask & usable, 0)
            parts = finder.patches(1.0)
            if not parts:
                continue
            patch = _together(parts)
            outlines.append(patch.outline(grid))
            statistics.append(_statistics(project, patch, rasters))
            cells.append(patch.cells)
    return outlines, statistics, cells


def _together(patches: list[Patch]) -> Patch:
    row, col = min(p.row for p in patches), min(p.col for p in patches)
    bottom = max(p.row + p.mask.shape[0] for p in patches)
    right = max(p.col + p.mask.shape[1] for p in patches)
    mask = np.zeros((bottom - row, right - col), bool)
    for p in patches:
        rows, cols = p.mask.shape
        mask[p.row - row : p.row - row + rows, p.col - col : p.col - col + cols] |= p.mask
    return Patch(row, col, mask)


def _statistics(project: Project, patch: Patch, rasters: OpenRasters) -> PatchStatistics:
    window = Window(patch.col, patch.row, patch.mask.shape[1], patch.mask.shape[0])
    codes = [s.code for s in project.settings.species]
    return patch_statistics(
        patch,
        rasters.read(raster(project, "depth"), window),
        {c: rasters.read(project.result(f"score_{c}.tif"), window) for c in codes},
        {c: rasters.read(project.result(f"reasons_{c}.tif"), window) for c in codes},
        {c: rasters.read(project.result(f"reasons_{c}.tif"), window, 3) for c in codes},
        passing_score=project.settings.score.passing,
    )


def _rooms(project: Project, ground: Ground, outlines: list[Any]) -> list[dict[str, Room]]:
    """Return what each candidate holds, worked out candidate and species at a time in the pool."""
    colonies = read_colonies(project)
    codes = [s.code for s in project.settings.species]

    def work(pair: tuple[Any, str]) -> Room:
        outline, species = pair
        return room_for(project, ground, read_bottom(project, ground, outline, colonies, rasters), species)

    found: list[dict[str, Room]] = [{} for _ in outlines]
    by_size = sorted(range(len(outlines)), key=lambda k: (-outlines[k].area, k))  # the longest work first
    pairs = [(k, code) for k in by_size for code in codes]
    with OpenRasters() as rasters:
        made = in_order(work, ((outlines[k], code) for k, code in pairs), project.machine.threads)
        for done, ((k, code), room) in enumerate(zip(pairs, made, strict=True), start=1):
            found[k][code] = room
            project.machine.progress(done // len(codes), len(outlines))
    return found


def _protected(project: Project, outlines: list[Any]) -> list[str | None]:
    path = project.result(f"{RASTERS}/protected.gpkg")
    if not path.exists():
        return [None] * len(outlines)
    areas = gpd.read_file(path)
    listed = []
    for outline in outlines:
        hits = areas[areas.intersects(outline)]
        listed.append("; ".join(f"{n} ({r})" for n, r in zip(hits["name"], hits["rule"], strict=True)) or None)
    return listed


def _multi(shape: Any) -> shapely.MultiPolygon:
    return shape if isinstance(shape, shapely.MultiPolygon) else shapely.MultiPolygon([shape])


def _figures(
    mode: str, rows: list[dict[str, Any]], species: list[dict[str, Any]], sites: list[Coded], matched: list[int | None]
) -> dict[str, Any]:
    return {
        "candidates": len(rows),
        "area_m2": round(sum(r["area_m2"] for r in rows), 1),
        "codes_matched": sum(m is not None for m in matched),
        "codes": len(sites),
        "mode": mode,
        "capacity": {
            code: sum(int(r["capacity"] or 0) for r in species if r["species"] == code)
            for code in sorted({r["species"] for r in species})
        },
        "bound": {
            code: sum(int(r["bound"] or 0) for r in species if r["species"] == code)
            for code in sorted({r["species"] for r in species})
        },
    }


def _shortfalls(
    project: Project, rows: list[dict[str, Any]], sites: list[Coded], matched: list[int | None], near: list[str]
) -> list[Fault]:
    found = []
    passing = project.settings.score.passing
    if not rows:
        found.append(
            Fault(
                "candidates",
                "no patch of passing cells is large enough",
                f"at least {project.settings.candidates.least_area_m2:g} m² at score ≥ {passing:g}",
                "Look at reasons_<species>.tif and the map; lower score.passing or candidates.least_area_m2.",
            )
        )
    found += [
        Fault(
            f"site {site.code}",
            "lies in no candidate",
            "a place where cells pass for at least one species",
            f"Move the site ({said}), or look at the map for what excludes it.",
        )
        for site, index, said in zip(sites, matched, near, strict=True)
        if index is None
    ]
    return found
