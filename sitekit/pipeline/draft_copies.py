"""Files of a draft that hold the same points: likely copies, and waypoints that are colonies of another file."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
from scipy.spatial import cKDTree

from sitekit.layers.doubles import SAME_M, is_copy
from sitekit.pipeline.draft_seen import Seen, plain


def tell_copies(seen: Sequence[Seen]) -> None:
    """Add to each file of points whether its points stand in an earlier file of colonies; the question goes into its lines.

    Parameters
    ----------
    seen : sequence of Seen
        Files after a first look; those with points hold them as the fact `points`, a GeoSeries with its system.
    """
    lists = [one for one in seen if one.role == "layers.colonies" and "points" in one.facts]
    others = [one for one in seen if one.role != "layers.colonies" and "points" in one.facts]
    for k, one in enumerate([*lists, *others]):
        for other in lists[:k]:
            held = _held(one.facts["points"], other.facts["points"])
            size = len(one.facts["points"])
            if not is_copy(held, size):
                continue
            name = plain(other.path.name, 80)
            said = f"{held} of its {size} points stand where {name} has colonies"
            one.said.append(said)
            if one.role == "layers.colonies":
                one.lines.append(
                    f"# asked: {held} of its {size} points stand in {name} too, like a copy: leave one of the two tables out?"
                )
            else:
                one.facts["remark"] = f"{said}: the same colonies once more?"
            break


def _held(one: gpd.GeoSeries, other: gpd.GeoSeries) -> int:
    """How many points of one list stand at a place of the other."""
    there = other.to_crs(one.crs)
    away, _ = cKDTree(np.column_stack([there.x, there.y])).query(np.column_stack([one.x, one.y]))
    return int((away <= SAME_M).sum())
