"""A site's code, given by a person to a point or a polygon, meets the candidate that holds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point, STRtree
from shapely.geometry.base import BaseGeometry

from sitekit.errors import Faults

_INTO_M = 5.0  # house choice: how far into the nearest candidate a proposed point may lie


@dataclass(frozen=True)
class Coded:
    """A code and its place.

    Parameters
    ----------
    code : str
        Short, unique, lasting.
    place : Point or Polygon
        In the working system [m].
    """

    code: str
    place: BaseGeometry


def match_codes(sites: Sequence[Coded], outlines: Sequence[BaseGeometry]) -> list[int | None]:
    """Return the index of the candidate of each site, None where none holds it.

    A point belongs to the candidate that covers it; a polygon to the candidate that shares most of its area.

    Parameters
    ----------
    sites : sequence of Coded
        At most one point-like site may fall into one candidate.
    outlines : sequence of shapely geometry
        Outlines of the candidates, in the same system.

    Raises
    ------
    InputFault
        If two codes meet one candidate: their numbers and tags could not be told apart.
    """
    tree = STRtree(outlines)
    found: list[int | None] = []
    for site in sites:
        hits = tree.query(site.place, predicate="intersects")
        if hits.size == 0:
            found.append(None)
        elif isinstance(site.place, Point):
            found.append(int(hits.min()))
        else:
            shared = shapely.area(shapely.intersection(np.asarray(outlines, object)[hits], site.place))
            order = np.lexsort((hits, -shared))
            found.append(int(hits[order[0]]) if shared.max() > 0 else None)
    with Faults() as faults:
        for index in sorted({i for i in found if i is not None}):
            codes = [s.code for s, i in zip(sites, found, strict=True) if i == index]
            if len(codes) > 1:
                faults.add(
                    "site " + ", ".join(codes),
                    "stand in one contiguous patch",
                    "one code per patch",
                    "Give each a `polygon` file to cut the patch, or keep one code.",
                )
    return found


def nearest_outline(place: BaseGeometry, outlines: Sequence[BaseGeometry]) -> tuple[int, float, Point] | None:
    """Return the candidate nearest to a place in none, how far it is, and a point in it near that place.

    Parameters
    ----------
    place : Point or Polygon
        In the working system [m].
    outlines : sequence of shapely geometry
        Outlines of the candidates, in the same system.

    Returns
    -------
    (index, distance [m], point) or None
        None without candidates.
    """
    if not len(outlines):
        return None
    index = int(np.min(STRtree(outlines).query_nearest(place)))
    distance = float(shapely.distance(outlines[index], place))
    near = shapely.intersection(outlines[index], place.buffer(distance + _INTO_M))
    return index, distance, near.representative_point()


def nearest_names(
    outlines: Sequence[BaseGeometry], names: Sequence[str], places: Sequence[BaseGeometry]
) -> list[str | None]:
    """Return for each candidate the name of the nearest named place, None without any."""
    if not names:
        return [None] * len(outlines)
    tree = STRtree(places)
    return [names[int(np.min(tree.query_nearest(o)))] for o in outlines]
