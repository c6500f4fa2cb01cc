"""Cells of the candidates, and an even sample of all cells, with what draws of weights are multiplied with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.features import rasterize

from sitekit.layers.blocks import over_blocks
from sitekit.layers.grid import Grid
from sitekit.layers.tiled import Block, Input
from sitekit.pipeline.fields import FieldReader, Ground
from sitekit.pipeline.project import Project
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.terms import responses, scores, term_weights, terms, weighted_sums

SAMPLE = 1 << 16  # cells from which a draw's threshold is read; grids with fewer are read whole
CANDIDATE_CELLS = (64, 4096, 1 << 18)  # least and most cells read per candidate, and about as many in all
_MIX = np.uint64(0x9E3779B97F4A7C15)  # 2⁶⁴ over the golden ratio: spreads cell numbers evenly (Knuth, recalled)

Singles = NDArray[np.float32]


@dataclass
class Cells:
    """Cells of one species that were picked: their terms, and their scores with every depth off by the error."""

    values: Singles
    off: tuple[Singles, Singles]
    label: NDArray[np.int64]
    sampled: NDArray[np.bool_]

    @staticmethod
    def joined(parts: list[Cells]) -> Cells:
        """Return the cells of all blocks in one."""
        return Cells(
            np.concatenate([p.values for p in parts], axis=1),
            (np.concatenate([p.off[0] for p in parts]), np.concatenate([p.off[1] for p in parts])),
            np.concatenate([p.label for p in parts]),
            np.concatenate([p.sampled for p in parts]),
        )


def owners(outlines: Sequence[Any], window: Grid) -> NDArray[np.int32]:
    """Return for each cell of a window the number of the candidate that holds its centre, from 1; 0 for none."""
    west, south, east, north = window.bounds
    near = []
    for number, outline in enumerate(outlines, start=1):
        left, low, right, high = outline.bounds
        if left < east and right > west and low < north and high > south:
            near.append((outline, number))
    if not near:
        return np.zeros(window.shape, np.int32)
    found: NDArray[np.int32] = rasterize(near, out_shape=window.shape, transform=window.transform, dtype="int32")
    return found


def without_empty(labels: list[str], cells: Cells) -> tuple[list[str], Cells]:
    """Leave out candidates that no cell belongs to: outlines drawn by hand may cover one another."""
    held = np.bincount(cells.label[cells.label >= 0], minlength=len(labels)) > 0
    if held.all():
        return labels, cells
    place = np.append(np.where(held, np.cumsum(held) - 1, -1), -1)
    kept = [label for label, full in zip(labels, held, strict=True) if full]
    return kept, replace(cells, label=place[cells.label])


def passing_labels(tables: Mapping[str, Any], code: str) -> list[str]:
    """Return the candidates where a species passes, in the order of the table."""
    offered = tables["candidate_species"]
    return [str(c) for c in offered.loc[offered["species"] == code, "candidate"]]


def pick_cells(
    project: Project,
    ground: Ground,
    reader: FieldReader,
    criteria: Mapping[str, list[Criterion]],
    tables: Mapping[str, Any],
) -> dict[str, Cells]:
    """Return cells of every species: an even sample of all that have a score, and of those of each candidate."""
    settings = project.settings
    candidates = tables["candidates"]
    outlines = list(candidates.geometry)
    cells = candidates["cells"].to_numpy(dtype=np.float64)
    most = min(max(CANDIDATE_CELLS[2] // max(len(cells), 1), CANDIDATE_CELLS[0]), CANDIDATE_CELLS[1])
    of_all = {code: min(SAMPLE / max(_scored_cells(project, code), 1), 1.0) for code in criteria}
    # which candidates a species passes in, by its place in that species' table; -1 for none
    place = {code: np.full(len(cells) + 1, -1) for code in criteria}
    of_candidate = {code: np.zeros(len(cells) + 1) for code in criteria}
    number = {c: i + 1 for i, c in enumerate(candidates["candidate"])}
    offered = tables["candidate_species"]
    for code in criteria:
        own = offered[offered["species"] == code]
        for i, (label, area) in enumerate(zip(own["candidate"], own["area_m2"], strict=True)):
            n = number[label]
            place[code][n] = i
            passing = cells[n - 1] * area / candidates["area_m2"].iloc[n - 1]
            of_candidate[code][n] = min(most / max(passing, 1.0), 1.0)
    inputs = dict(reader.inputs)
    for code in criteria:
        inputs[f"score {code}"] = Input(project.result(f"score_{code}.tif"))
    error = depth_error(project)

    def pick(arrays: dict[str, NDArray[Any]], block: Block) -> dict[str, Cells]:
        window = ground.grid.window(block.row, block.col, (block.rows, block.cols))
        owner = owners(outlines, window)
        even = _even(block, ground.grid.shape[1])
        fields = reader(arrays, block)
        found = {}
        for code, rows in criteria.items():
            score = arrays[f"score {code}"][block.core]
            scored = np.isfinite(score)
            sampled = scored & (even < of_all[code])
            label = np.where(score >= np.float32(settings.score.passing), place[code][owner], -1)
            label[even >= of_candidate[code][owner]] = -1
            here = sampled | (label >= 0)
            flat = {c.field: fields[c.field][here] for c in rows}
            flat["depth_m"] = fields["depth_m"][here]
            answered = responses(rows, flat)
            found[code] = Cells(
                terms(answered, settings.score.combine),
                (
                    _moved(project, rows, answered, flat["depth_m"], -error),
                    _moved(project, rows, answered, flat["depth_m"], error),
                ),
                label[here].astype(np.int64),
                sampled[here],
            )
        return found

    blocks = over_blocks(
        ground.grid,
        inputs,
        pick,
        halo=reader.halo,
        threads=project.machine.threads,
        memory_gb=project.machine.memory_gb,
        progress=project.machine.progress,
    )
    parts = list(blocks)
    return {code: Cells.joined([p[code] for p in parts]) for code in criteria}


def _scored_cells(project: Project, code: str) -> int:
    """Count cells that are not excluded, from the raster that says why the others are."""
    with rasterio.open(project.result(f"reasons_{code}.tif")) as file:
        return sum(int((file.read(2, window=window) == 0).sum()) for _, window in file.block_windows(1))


def _even(block: Block, columns: int) -> NDArray[np.float64]:
    """Return an even number from 0 to 1 per cell that depends on its place in the grid only."""
    row = np.arange(block.row, block.row + block.rows, dtype=np.uint64)[:, np.newaxis]
    col = np.arange(block.col, block.col + block.cols, dtype=np.uint64)
    mixed = (row * np.uint64(columns) + col + np.uint64(1)) * _MIX
    return (mixed >> np.uint64(11)).astype(np.float64) * 2.0**-53


def depth_error(project: Project) -> float:
    """Return how far depths may be off [m]: the survey's own statement, unless the plan tries another."""
    given = project.settings.sensitivity.depth_error_m
    return project.settings.layers.bathymetry.depth_error_m if given is None else given


def _moved(
    project: Project, rows: list[Criterion], answered: Singles, depth: NDArray[np.float32], by: float
) -> Singles:
    """Return scores under the chosen weights with every depth off by `by` metres; 0 beyond the limits of depth."""
    limits, method = project.settings.exclusions, project.settings.score.combine
    moved = depth + np.float32(by)
    again = answered.copy()
    for k, one in enumerate(rows):
        if one.field == "depth_m":
            again[k] = responses([one], {"depth_m": moved})[0]
    weights = np.array([[c.weight for c in rows]])
    sums = weighted_sums(terms(again, method), term_weights(weights / weights.sum(), method))
    found: Singles = np.nan_to_num(scores(sums, method)[0], nan=0.0)
    if limits.least_depth_m is not None:
        found[moved < np.float32(limits.least_depth_m)] = 0.0
    if limits.greatest_depth_m is not None:
        found[moved > np.float32(limits.greatest_depth_m)] = 0.0
    return found
