"""How often each cell is among the best: one pass over the grid, written as a raster per species."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray

from sitekit.layers.blocks import run_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import Block, Input, Output
from sitekit.pipeline.fields import FieldReader, Ground
from sitekit.pipeline.picking import owners
from sitekit.pipeline.project import Project
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.stability import count_best
from sitekit.suitability.terms import responses, terms

FIRM = 0.95  # house choice: among the best in this share of the draws is called firm

Singles = NDArray[np.float32]


def write_shares(
    project: Project,
    ground: Ground,
    reader: FieldReader,
    criteria: Mapping[str, list[Criterion]],
    weights: Mapping[str, Singles],
    least: Mapping[str, Singles],
    run_id: str,
) -> None:
    """Write per cell the share of draws in which it is among the best; NaN where it has no score."""
    settings = project.settings
    inputs = dict(reader.inputs)
    outputs = {}
    for code in criteria:
        inputs[f"score {code}"] = Input(project.result(f"score_{code}.tif"))
        tags = {"run_id": run_id, "species": code, "draws": str(settings.sensitivity.draws)}
        if settings.plan.fictional:
            tags["FICTIONAL"] = "made-up data"
        name = f"share of draws among the best {settings.sensitivity.best_pct:g} %"
        outputs[code] = Output(project.target(f"stability_{code}.tif"), "float32", ((name, "0-1"),), float("nan"), tags)

    def shares(arrays: dict[str, NDArray[Any]], block: Block) -> dict[str, NDArray[Any]]:
        found = {}
        fields: dict[str, NDArray[Any]] | None = None
        for code, rows in criteria.items():
            scored = np.isfinite(arrays[f"score {code}"][block.core])
            share = np.full(scored.shape, np.nan, np.float32)
            if scored.any():
                fields = reader(arrays, block) if fields is None else fields
                values = terms(responses(rows, fields), settings.score.combine)
                values[:, ~scored] = np.nan
                counts = count_best(values, weights[code], least[code])
                share[scored] = counts[scored].astype(np.float32) / np.float32(len(weights[code]))
            found[code] = share
        return found

    run_blocks(
        ground.grid,
        inputs,
        outputs,
        shares,
        halo=reader.halo,
        threads=project.machine.threads,
        memory_gb=project.machine.memory_gb,
        progress=project.machine.progress,
    )


def share_figures(
    project: Project,
    grid: Grid,
    criteria: Mapping[str, list[Criterion]],
    tables: Mapping[str, Any],
    rows: list[dict[str, Any]],
) -> dict[str, dict[str, Any]]:
    """Fill `share_best` of the rows from the written rasters; return cells that are firmly, or ever, among the best."""
    candidates = tables["candidates"]
    shapes = {label: i + 1 for i, label in enumerate(candidates["candidate"])}
    found: dict[str, dict[str, Any]] = {}
    for code in criteria:
        total = np.zeros(len(shapes) + 1)
        cells = np.zeros(len(shapes) + 1)
        firm = ever = 0
        with (
            rasterio.open(project.result(f"stability_{code}.tif")) as shares,
            rasterio.open(project.result(f"score_{code}.tif")) as score,
        ):
            for _, window in shares.block_windows(1):
                share = shares.read(1, window=window)
                firm += int((share >= FIRM).sum())
                ever += int((share > 0).sum())
                if not shapes:
                    continue
                passing = score.read(1, window=window) >= np.float32(project.settings.score.passing)
                box = grid.window(int(window.row_off), int(window.col_off), share.shape)
                owner = owners(list(candidates.geometry), box)
                owner[~passing] = 0
                total += np.bincount(owner.ravel(), np.nan_to_num(share.ravel()), len(total))
                cells += np.bincount(owner.ravel(), minlength=len(total))
        for row in rows:
            if row["species"] == code:
                i = shapes[row["candidate"]]
                row["share_best"] = float(total[i] / cells[i])
        found[code] = {"firm_cells": firm, "possible_cells": ever}
    return found
