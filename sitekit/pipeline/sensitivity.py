"""Stage 4: whether the ranking holds under other weights, a depth error and a misread bottom."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.base.tables import build
from sitekit.pipeline.best_shares import share_figures, write_shares
from sitekit.pipeline.fields import FieldReader, read_ground, species_criteria
from sitekit.pipeline.picking import Cells, depth_error, passing_labels, pick_cells, without_empty
from sitekit.pipeline.project import Done, Project
from sitekit.suitability.criteria import Criterion
from sitekit.suitability.draws import draw_weights
from sitekit.suitability.sensitivity import (
    Influence,
    RankRanges,
    candidate_means,
    larger,
    misread_means,
    rank_change,
    rank_ranges,
    ranks,
    weight_influence,
)
from sitekit.suitability.stability import thresholds
from sitekit.suitability.terms import scores, term_weights, weighted_sums

Singles = NDArray[np.float32]


def run(project: Project, run_id: str) -> Done:
    """Write `stability_<species>.tif` and the tables `candidate_ranks` and `influence`."""
    settings = project.settings
    ground = read_ground(project)
    tables = project.season("candidates", "candidate_species", "place_scores")
    criteria = species_criteria(settings)
    reader = FieldReader(project, ground, criteria, slope=False)
    picked = pick_cells(project, ground, reader, criteria, tables)
    rank_rows: list[dict[str, Any]] = []
    influence_rows: list[dict[str, Any]] = []
    weights: dict[str, Singles] = {}
    least: dict[str, Singles] = {}
    figures: dict[str, Any] = {}
    for number, (code, rows) in enumerate(criteria.items()):
        given = np.array([c.weight for c in rows])
        drawn = draw_weights(
            given,
            settings.sensitivity.draws,
            concentration=settings.sensitivity.concentration,
            seed=settings.plan.seed + number,
        )
        weights[code] = term_weights(drawn, settings.score.combine)
        sample = picked[code].values[:, picked[code].sampled]
        if sample.shape[1] == 0:
            figures[code] = {"cells": 0, "candidates": 0}
            continue
        least[code] = thresholds(sample, weights[code], settings.sensitivity.best_pct)
        offered = passing_labels(tables, code)
        labels, cells = without_empty(offered, picked[code])
        judged = _Judged(project, code, rows, cells, sample, drawn, weights[code])
        ranges, more = judged.ranked(labels)
        rank_rows += more
        influence_rows += judged.influences(labels)
        figures[code] = _figures(settings.sensitivity.draws, sample, labels, ranges, more)
        figures[code]["not_ranked"] = [label for label in offered if label not in labels]
    write_shares(project, ground, reader, criteria, weights, least, run_id)
    shares = share_figures(project, ground.grid, criteria, tables, rank_rows)
    for code in criteria:
        figures[code].update(shares[code])
    tables["candidate_ranks"] = build("candidate_ranks", rank_rows)
    tables["influence"] = build("influence", influence_rows)
    project.write_season(tables, ground.grid.crs)
    return Done(["season.gpkg", *(f"stability_{c}.tif" for c in criteria)], figures)


class _Judged:
    """One species: its candidates' cells, an even sample of all cells, its draws."""

    def __init__(
        self,
        project: Project,
        code: str,
        rows: list[Criterion],
        cells: Cells,
        sample: Singles,
        drawn: NDArray[np.float64],
        weights: Singles,
    ) -> None:
        self.project, self.code, self.rows, self.sample, self.drawn = project, code, rows, sample, drawn
        self.weights = weights
        own = cells.label >= 0
        self.values, self.label = cells.values[:, own], cells.label[own]
        self.off = [part[own] for part in cells.off]
        self.sample_off = [part[cells.sampled] for part in cells.off]
        given = np.array([[c.weight for c in rows]])
        self.chosen = term_weights(given / given.sum(), project.settings.score.combine)

    def ranked(self, labels: list[str]) -> tuple[RankRanges | None, list[dict[str, Any]]]:
        """Return the ranges of ranks and the rows of `candidate_ranks`, without `share_best`."""
        if not labels:
            return None, []
        wanted, method = self.project.settings.sensitivity, self.project.settings.score.combine
        count = len(labels)
        means = candidate_means(self.values, self.chosen, self.label, count, method)[0]
        ranges = rank_ranges(
            candidate_means(self.values, self.weights, self.label, count, method),
            means,
            range_pct=wanted.range_pct,
            high_share=wanted.high_share,
            steady_share=wanted.steady_share,
        )
        depth = np.stack([ranges.rank, *(ranks(self._mean(part, count)) for part in self.off)])
        misread = self._misread(means)
        tail = (100.0 - wanted.range_pct) / 2.0
        held = np.ones(count) if misread is None else (misread <= ranges.high_ranks).mean(axis=0)
        worst = None if misread is None else np.percentile(misread, 100.0 - tail, axis=0, method="inverted_cdf")
        rows = []
        for i, label in enumerate(labels):
            high = ranges.rank[i] <= ranges.high_ranks
            lost = ["weights"] if ranges.fragile[i] else []
            lost += ["depth"] if high and depth[:, i].max() > ranges.high_ranks else []
            lost += ["bottom"] if high and held[i] < 0.5 else []  # more often than not
            rows.append(
                {
                    "candidate": label,
                    "species": self.code,
                    "rank": int(ranges.rank[i]),
                    "rank_low": int(ranges.low[i]),
                    "rank_high": int(ranges.high[i]),
                    "rank_depth_low": int(depth[:, i].min()),
                    "rank_depth_high": int(depth[:, i].max()),
                    "rank_misread": None if worst is None else int(worst[i]),
                    "share_first": float(ranges.first[i]),
                    "share_high": float(ranges.in_high[i]),
                    "fragile": bool(ranges.fragile[i]),
                    "holds_not_under": ", ".join(lost) or None,
                }
            )
        return ranges, rows

    def influences(self, labels: list[str]) -> list[dict[str, Any]]:
        """Return the rows of `influence`: each criterion's weight, then depth and bottom."""
        wanted, method = self.project.settings.sensitivity, self.project.settings.score.combine
        given = np.array([c.weight for c in self.rows])
        share = given / given.sum()
        tail = (100.0 - wanted.range_pct) / 2.0
        low, high = np.percentile(self.drawn, [tail, 100.0 - tail], axis=0)
        found = weight_influence(
            self.values,
            self.label,
            len(labels),
            given,
            method=method,
            sample=self.sample,
            best_pct=wanted.best_pct,
        )
        rows = [
            self._row("weight", one.name, f"left out; its weight of {100 * share[k]:.0f} % doubled", effect, labels)
            | {"weight": float(share[k]), "weight_low": float(low[k]), "weight_high": float(high[k])}
            for k, (one, effect) in enumerate(zip(self.rows, found, strict=True))
        ]
        error = depth_error(self.project)
        if any(c.field == "depth_m" for c in self.rows):
            rows.append(
                self._row("input", "bathymetry", f"every depth ± {error:g} m", self._depth_effect(labels), labels)
            )
        means = candidate_means(self.values, self.chosen, self.label, len(labels), method)[0] if labels else np.empty(0)
        misread = self._misread(means)
        if misread is not None:
            effect = rank_change(ranks(means), misread)
            tried = f"{100 * wanted.misread_share:g} % of cells not the bottom that is mapped, differently in each candidate"
            rows.append(self._row("input", "substrate", tried, effect, labels))
        return rows

    def _row(self, kind: str, name: str, tried: str, effect: Influence, labels: list[str]) -> dict[str, Any]:
        return {
            "species": self.code,
            "kind": kind,
            "criterion": name,
            "tried": tried,
            "effect": effect.effect,
            "effect_most": effect.most,
            "candidate_most": labels[effect.candidate] if effect.candidate >= 0 else None,
            "best_changed": effect.best_changed,
        }

    def _mean(self, cell_scores: Singles, count: int) -> NDArray[np.float64]:
        return np.bincount(self.label, cell_scores.astype(np.float64), count) / np.bincount(self.label, minlength=count)

    def _misread(self, means: NDArray[np.float64]) -> NDArray[np.int64] | None:
        """Return the ranks of the candidates in draws of a misread bottom, shape (draws, candidates)."""
        wanted = self.project.settings.sensitivity
        if self.project.settings.layers.substrate is None or not means.size:
            return None
        seed = self.project.settings.plan.seed
        return ranks(misread_means(means, wanted.misread_share, wanted.draws, seed))

    def _depth_effect(self, labels: list[str]) -> Influence:
        method = self.project.settings.score.combine
        base = scores(weighted_sums(self.sample, self.chosen), method)[0]
        count = max(round(base.size * self.project.settings.sensitivity.best_pct / 100.0), 1)
        best = base >= np.partition(base, base.size - count)[base.size - count]
        none = np.empty(0, np.int64)
        before = (
            ranks(candidate_means(self.values, self.chosen, self.label, len(labels), method)[0]) if labels else none
        )
        ways = []
        for own, part in zip(self.off, self.sample_off, strict=True):
            now = part >= np.partition(part, part.size - count)[part.size - count]
            change = rank_change(before, ranks(self._mean(own, len(labels))) if labels else none)
            replaced = float((best & ~now).sum() / best.sum())
            ways.append(Influence(change.effect, change.most, change.candidate, replaced))
        return larger(*ways)


def _figures(
    draws: int, sample: Singles, labels: list[str], ranges: RankRanges | None, rows: list[dict[str, Any]]
) -> dict[str, Any]:
    return {
        "draws": draws,
        "sampled_cells": int(sample.shape[1]),
        "candidates": len(labels),
        "high_ranks": ranges.high_ranks if ranges else 0,
        "first": {r["candidate"]: round(r["share_first"], 4) for r in rows if r["share_first"] > 0},
        "fragile": [r["candidate"] for r in rows if r["fragile"]],
    }
