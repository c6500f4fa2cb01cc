"""Stage 2: a score per species and cell, with limiting criterion, exclusion and unknown share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.layers.blocks import run_blocks
from sitekit.layers.tiled import Block, Output
from sitekit.pipeline.fields import check_fields, read_ground, species_criteria, weights_origin
from sitekit.pipeline.judging import BlockJudge
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.sea_rules import check_work_depth, refuse_flat_heat
from sitekit.suitability.exclusions import LABELS, exclude
from sitekit.suitability.score import NO_LIMIT, score_cells


def run(project: Project, run_id: str) -> Done:
    """Score every cell; write `score_<species>.tif` and `reasons_<species>.tif`."""
    settings = project.settings
    ground = read_ground(project)
    criteria = species_criteria(settings)
    check_fields(settings, criteria)
    check_work_depth(settings, criteria)
    refuse_flat_heat(project, criteria)
    judge = BlockJudge(project, ground, criteria)
    outputs: dict[str, Output] = {}
    for code in criteria:
        tags = {"run_id": run_id, "species": code, "criteria": "; ".join(c.name for c in criteria[code])}
        if settings.plan.fictional:
            tags["FICTIONAL"] = "made-up data"
        outputs[f"score {code}"] = Output(
            project.target(f"score_{code}.tif"), "float32", (("suitability score", "0-1"),), float("nan"), tags
        )
        outputs[f"reasons {code}"] = Output(
            project.target(f"reasons_{code}.tif"),
            "uint8",
            ((f"limiting criterion ({NO_LIMIT} none)", "index"), ("exclusion", "code"), ("unknown weight", "%")),
            None,
            {**tags, "exclusions": "; ".join(f"{k} {v}" for k, v in LABELS.items())},
        )
    counts = {code: np.zeros(256, np.int64) for code in criteria}
    passing = dict.fromkeys(criteria, 0)

    def block_scores(arrays: dict[str, NDArray[Any]], block: Block) -> Mapping[str, NDArray[Any]]:
        fields, masks = judge(arrays, block)
        exclusion = exclude(fields, judge.limits, masks)
        results: dict[str, NDArray[Any]] = {}
        for code, rows in criteria.items():
            scored = score_cells(
                rows,
                fields,
                exclusion,
                method=settings.score.combine,
                max_unknown_weight=settings.score.max_unknown_weight,
            )
            results[f"score {code}"] = scored.score
            results[f"reasons {code}"] = np.stack([scored.limiting, scored.reason, scored.unknown_pct])
        return results

    run_blocks(
        ground.grid,
        judge.inputs,
        outputs,
        block_scores,
        halo=judge.halo,
        threads=project.machine.threads,
        memory_gb=project.machine.memory_gb,
        progress=project.machine.progress,
        scheduler=project.machine.scheduler,
    )
    _count(project, list(criteria), counts, passing)
    origin = weights_origin(settings)
    figures = {
        code: {
            "criteria": [
                {"name": c.name, "field": c.field, "weight": c.weight, "source": c.source, "verified": c.verified}
                for c in rows
            ],
            "weights": origin[code],
            "passing_cells": int(passing[code]),
            "excluded_cells": {LABELS[i]: int(n) for i, n in enumerate(counts[code]) if n and i},
        }
        for code, rows in criteria.items()
    }
    files = [f"{kind}_{code}.tif" for code in criteria for kind in ("score", "reasons")]
    return Done(files, figures)


def _count(project: Project, codes: list[str], counts: dict[str, NDArray[np.int64]], passing: dict[str, int]) -> None:
    """Count reasons and passing cells from the written files, strip by strip."""
    import rasterio

    for code in codes:
        with (
            rasterio.open(project.target(f"score_{code}.tif")) as score,
            rasterio.open(project.target(f"reasons_{code}.tif")) as reasons,
        ):
            for _, window in score.block_windows(1):
                counts[code] += np.bincount(reasons.read(2, window=window).ravel(), minlength=256)
                values = score.read(1, window=window)
                passing[code] += int((values >= np.float32(project.settings.score.passing)).sum())
