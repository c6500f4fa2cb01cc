"""Which rules a work area meets: protected areas and what an office asks about; nested, the strictest decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import distance, polygon_area

PROTECTED = "protected area"
# Strictest first; a rule of another word (a distance to keep) stands beside these, it is never milder than any.
STRICTNESS = ("forbidden", "permit", "preferred", "none")


@dataclass(frozen=True)
class Feature:
    """One area, line or point that a rule hangs on.

    Parameters
    ----------
    kind : str
        `"protected area"`, or the label of a constraint, e.g. `"seagrass"`.
    name : str
        Of the single shape.
    rule : str
        `forbidden`, `permit`, `preferred`, `none`; of a constraint `keep clear` or `report`.
    shape : shapely geometry
        In the working system [m].
    keep_clear_m : float or None
        Distance that units keep [m].
    """

    kind: str
    name: str
    rule: str
    shape: BaseGeometry
    keep_clear_m: float | None = None


@dataclass(frozen=True)
class Relation:
    """How one work area lies to one feature.

    Parameters
    ----------
    area, feature : int
        Places in the lists given.
    inside : bool
        Whether the whole work area lies in it.
    overlap_m2 : float
        On the ellipsoid [m²]; 0 for lines and points.
    overlap_pct : float
        Of the work area [%].
    distance_m : float
        Least distance on the ellipsoid [m]; 0 where they touch.
    decides : bool
        True for the protected area whose rule is the strictest of those that touch the work area (all of them, where
        several are equally strict), and for a constraint nearer than its distance.
    """

    area: int
    feature: int
    inside: bool
    overlap_m2: float
    overlap_pct: float
    distance_m: float
    decides: bool


def relations(outlines: Sequence[BaseGeometry], features: Sequence[Feature], crs: CRS) -> list[Relation]:
    """Return for each outline every feature it touches or must keep clear of, and the nearest of each kind besides.

    Parameters
    ----------
    outlines : sequence of Polygon or MultiPolygon
        Work areas in the working system.
    features : sequence of Feature
        In the same system.
    crs : pyproj.CRS
        The working system.

    Returns
    -------
    list of Relation
        By work area; protected areas first, strictest first, then by kind and distance.
    """
    if not features:
        return []
    shapes = np.array([f.shape for f in features], dtype=object)
    kinds = np.array([f.kind for f in features], dtype=object)
    found: list[Relation] = []
    for a, outline in enumerate(outlines):
        away = shapely.distance(shapes, outline)
        touches = away == 0.0
        listed = set(np.flatnonzero(touches).tolist())
        for kind in dict.fromkeys(kinds.tolist()):
            members = np.flatnonzero(kinds == kind)
            listed.add(int(members[np.argmin(away[members])]))
        clear = np.array([-1.0 if f.keep_clear_m is None else f.keep_clear_m for f in features])
        listed |= set(np.flatnonzero(away <= clear * 1.01).tolist())
        size = polygon_area(outline, crs)
        strictest = min(
            (_rank(features[k]) for k in listed if touches[k] and features[k].kind == PROTECTED), default=None
        )
        rows = []
        for k in listed:
            feature = features[k]
            overlap = polygon_area(_areas(shapely.intersection(outline, feature.shape)), crs) if touches[k] else 0.0
            far = _distance(outline, feature.shape, crs) if not touches[k] else 0.0
            if feature.kind == PROTECTED:
                decides = bool(touches[k]) and _rank(feature) == strictest
            else:
                decides = feature.keep_clear_m is not None and far <= feature.keep_clear_m
            rows.append(
                Relation(
                    a,
                    k,
                    bool(feature.shape.covers(outline)),
                    overlap,
                    100.0 * overlap / size if size else 0.0,
                    far,
                    decides,
                )
            )
        found += sorted(
            rows,
            key=lambda r: (
                features[r.feature].kind != PROTECTED,
                features[r.feature].kind,
                r.distance_m > 0,
                _rank(features[r.feature]),
                r.distance_m,
                features[r.feature].name,
            ),
        )
    return found


def _rank(feature: Feature) -> int:
    return STRICTNESS.index(feature.rule) if feature.rule in STRICTNESS else -1


def _areas(shape: BaseGeometry) -> BaseGeometry:
    return shapely.MultiPolygon([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def _distance(one: BaseGeometry, other: BaseGeometry, crs: CRS) -> float:
    x, y = shapely.get_coordinates(shapely.shortest_line(one, other)).T
    lon, lat = transform_points(x, y, crs, crs.geodetic_crs or WGS84)
    return float(distance(lon[0], lat[0], lon[1], lat[1]))
