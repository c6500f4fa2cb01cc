"""How well the genets of each site and plot are mixed, and what a reader must know: figures of the stage `place`."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.layout.neighbours import NEIGHBOUR_FACTOR, mixture, unavoidable_like_pairs
from sitekit.pipeline.bottoms import planned_separation
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.project import Project

LARGE_SHARE = 1.0 / 3.0  # above it like neighbours cannot be avoided on a dense lattice (algorithms: three colours)


def site_mixes(project: Project, ground: Ground, tables: dict[str, pd.DataFrame]) -> list[dict[str, Any]]:
    """Return a row per site and species: genets, evenness, alleles, distances, like neighbours, cautions."""
    colonies: Any = tables["colonies"]
    if project.settings.spacing.mode == "fill" or len(colonies) == 0:
        return []
    plots: Any = tables["plots"]
    area = {str(p.plot): float(p.geometry.area) for p in plots.itertuples() if p.role == "planted"}
    rows = []
    for (site, species), own in colonies.groupby(["site", "species"], sort=True):
        separation = planned_separation(project, ground, str(species))
        x, y = shapely.get_coordinates(np.asarray(own.geometry)).T
        names, kind = np.unique(own["genet"].astype(str), return_inverse=True)
        found = mixture(x, y, kind, separation_m=separation)
        cautions = list(found.cautions)
        counts = np.bincount(kind)
        if counts.max() > max(1.0, LARGE_SHARE * counts.sum()):  # a genet of one unit has no like neighbour
            least = unavoidable_like_pairs(x, y, counts, within_m=NEIGHBOUR_FACTOR * separation)
            cautions.append(
                f"{names[counts.argmax()]} has {counts.max()} of {counts.sum()} units, over a third: "
                f"at least {least} pairs of like neighbours cannot be avoided"
            )
        genets = []
        for plot, inside in own.groupby("plot", sort=True):
            px, py = shapely.get_coordinates(np.asarray(inside.geometry)).T
            here = mixture(px, py, pd.factorize(inside["genet"])[0], separation_m=separation, area_m2=area[str(plot)])
            genets.append(here.diversity.genets)
            if project.settings.spacing.mode == "plots":
                cautions += [f"{plot}: {c}" for c in here.cautions if "per m²" in c]
        rows.append(
            {
                "site": str(site), "species": str(species), "units": found.diversity.units,
                "genets": found.diversity.genets, "evenness": _known(found.diversity.evenness),
                "alleles_over_pct": found.allele_share_at_least_pct,
                "nearest_other_m": _known(found.nearest_unlike_m), "nearest_like_m": _known(found.nearest_like_m),
                "like_neighbours": found.like_neighbours, "neighbours": found.neighbours,
                "fewest_genets_in_a_plot": min(genets), "cautions": cautions,
            }
        )  # fmt: skip
    _tell_left_out(rows, tables.get("stock"))
    return rows


def _tell_left_out(rows: list[dict[str, Any]], stock: pd.DataFrame | None) -> None:
    """Add a caution where a species has more genets ready than units are planted."""
    if stock is None or len(stock) == 0:
        return
    for species in sorted({str(r["species"]) for r in rows}):
        own = [r for r in rows if r["species"] == species]
        units = sum(int(r["units"]) for r in own)
        ready = stock[(stock["species"] == species) & (stock["ready"] > 0)]["genet"].nunique()
        if ready > units:
            own[0]["cautions"].append(f"{species} has {ready} genets ready, more than its {units} units: some stay out")


def _known(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
