"""What is planned beside what each permit allows, what each work area meets, and what the packet still lacks."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import distance
from sitekit.layers.polygons import read_polygons
from sitekit.pipeline.keep_clear import CONSTRAINTS, read_drawn
from sitekit.pipeline.project import Project
from sitekit.season.settings_permit import Cap, Permit
from sitekit.sites.rules import PROTECTED, STRICTNESS, Feature, Relation, relations

KEEP, REPORT = "keep clear", "report"
Row = dict[str, Any]


def permitted_shapes(project: Project, crs: CRS) -> list[tuple[Permit, BaseGeometry]]:
    """Return the outlines that permits confine work to, where a permit names a file of them."""
    found = []
    for k, permit in enumerate(project.settings.permit, start=1):
        if permit.area_file:
            key = f"permit[{k}].area_file"
            frame, _ = read_polygons(project.input(permit.area_file, key), to_crs=crs, crs=permit.area_crs, where=key)
            found.append((permit, shapely.union_all(frame.geometry.to_numpy())))
    return found


def allowed_ground(
    project: Project, shapes: list[tuple[Permit, BaseGeometry]], reach: BaseGeometry | None
) -> BaseGeometry | None:
    """Return where work areas may lie: inside every permit's outlines, outside areas that forbid; None for anywhere.

    `reach` is a box round all plots, so that "outside" has an edge.
    """
    allowed: BaseGeometry | None = None
    for _, shape in shapes:
        allowed = shape if allowed is None else allowed.intersection(shape)
    protected = read_drawn(project, "protected")
    if protected is not None and reach is not None:
        shut = shapely.union_all(protected.geometry[protected["rule"] == "forbidden"].to_numpy())
        if not shut.is_empty and shut.intersects(reach):
            allowed = (reach if allowed is None else allowed).difference(shut)
    return allowed


def features_of(project: Project) -> list[Feature]:
    """Return the protected areas and constraints of the layers stage."""
    found = []
    protected = read_drawn(project, "protected")
    if protected is not None:
        found += [Feature(PROTECTED, str(r.name), str(r.rule), r.geometry) for r in protected.itertuples(index=False)]
    constraints = read_drawn(project, CONSTRAINTS)
    if constraints is not None:
        for r in constraints.itertuples(index=False):
            clear = None if pd.isna(r.keep_clear_m) else float(r.keep_clear_m)
            found.append(Feature(str(r.label), str(r.name), REPORT if clear is None else KEEP, r.geometry, clear))
    return found


def rule_rows(
    project: Project, names: list[str], shapes: list[BaseGeometry], units: list[gpd.GeoDataFrame], crs: CRS
) -> list[Row]:
    """Return the rows of `work_rules`: by work area, protected areas first, strictest first."""
    features = features_of(project)
    rows = []
    for r in relations(shapes, features, crs):
        feature = features[r.feature]
        nearest = _nearest_unit(units[r.area], feature.shape, crs)
        permit, verdict = _verdict(project, feature, r, nearest)
        rows.append(
            {
                "work_area": names[r.area],
                "kind": feature.kind,
                "name": feature.name,
                "rule": feature.rule,
                "inside": r.inside,
                "overlap_m2": r.overlap_m2,
                "overlap_pct": r.overlap_pct,
                "distance_m": r.distance_m,
                "keep_clear_m": feature.keep_clear_m,
                "nearest_unit_m": nearest,
                "decides": r.decides,
                "permit": permit,
                "verdict": verdict,
            }
        )
    return rows


def _nearest_unit(units: gpd.GeoDataFrame, shape: BaseGeometry, crs: CRS) -> float | None:
    if not len(units):
        return None
    points = units.geometry.to_numpy()
    k = int(np.argmin(shapely.distance(points, shape)))
    x, y = shapely.get_coordinates(shapely.shortest_line(points[k], shape)).T
    lon, lat = transform_points(x, y, crs, WGS84)
    return float(distance(lon[0], lat[0], lon[1], lat[1]))


def _verdict(project: Project, feature: Feature, r: Relation, nearest: float | None) -> tuple[str | None, str]:
    if feature.kind != PROTECTED:
        if feature.keep_clear_m is None:
            return None, "reported" if r.distance_m > 0 else "touched: reported"
        if nearest is not None and nearest < feature.keep_clear_m:
            return None, f"a unit stands nearer than {feature.keep_clear_m:g} m"
        if r.distance_m == 0:
            return None, "the outline touches it; every unit keeps its distance" if nearest is not None else "touched"
        if r.distance_m < feature.keep_clear_m:
            units = f"the nearest unit {nearest:.1f} m" if nearest is not None else "nothing is planted in it"
            return None, f"kept clear: the outline is {r.distance_m:.1f} m away, {units}"
        return None, "kept clear"
    if r.distance_m > 0:
        return None, "not touched"
    if feature.rule == "forbidden":
        return None, "FORBIDDEN: move the work area" if r.overlap_m2 > 0 else "touches its border"
    if feature.rule == "permit":
        held = [p for p in project.settings.permit if feature.name in p.areas]
        if held:
            return "; ".join(p.named() for p in held), "permit named"
        if feature.name in project.settings.exclusions.permit_held:
            return None, "permit said to be held, not described: see open items"
        return None, "PERMIT NEEDED"
    return None, "no rule against it" if feature.rule == "none" else "preferred for this work"


def strictest(rows: list[Row], name: str) -> str | None:
    """Return the strictest rule of the protected areas that a work area touches, with the areas that decide."""
    touched = [r for r in rows if r["work_area"] == name and r["kind"] == PROTECTED and r["decides"]]
    if not touched:
        return None
    rule = min((str(r["rule"]) for r in touched), key=STRICTNESS.index)
    return f"{rule}: " + ", ".join(str(r["name"]) for r in touched)


def permitted_rows(
    project: Project,
    tables: dict[str, pd.DataFrame],
    areas: pd.DataFrame,
    shapes: list[tuple[Permit, BaseGeometry]],
    crs: CRS,
) -> list[Row]:
    """Return the rows of `permitted`: each cap, area, period, region and method beside the plan."""
    rows: list[Row] = []
    inside = {id(p): s for p, s in shapes}
    for permit in project.settings.permit:
        rows += [_cap(project, permit, cap, tables) for cap in permit.caps]
        total = float(areas["area_m2"].sum())
        if permit.most_area_m2 is not None:
            rows.append(
                _row(permit, "area of all work areas [m²]", f"{total:,.0f}", f"{permit.most_area_m2:,.0f}",
                     total <= permit.most_area_m2, total, permit.most_area_m2)
            )  # fmt: skip
        if id(permit) in inside and len(areas):
            out = [
                str(name)
                for name, outline in zip(areas["work_area"], areas["geometry"], strict=True)
                if not inside[id(permit)].buffer(1e-3).covers(outline)
            ]
            rows.append(
                _row(permit, "work areas inside the permitted outlines", f"{len(areas) - len(out)} of {len(areas)}",
                     f"all, {permit.area_file}", not out, len(areas) - len(out), len(areas))
            )  # fmt: skip
        if permit.planting_from and permit.planting_to and (permit.valid_from or permit.valid_to):
            kept = (permit.valid_from is None or permit.valid_from <= permit.planting_from) and (
                permit.valid_to is None or permit.planting_to <= permit.valid_to
            )
            rows.append(
                _row(permit, "period of planting", f"{permit.planting_from} to {permit.planting_to}",
                     f"{permit.valid_from or 'any day'} to {permit.valid_to or 'any day'}", kept)
            )  # fmt: skip
        if permit.genet_regions:
            rows.append(_regions(permit, tables))
        if permit.methods and permit.attachment:
            rows.append(
                _row(permit, "attachment", permit.attachment, ", ".join(permit.methods),
                     permit.attachment in permit.methods)
            )  # fmt: skip
    return rows


def _row(
    permit: Permit, what: str, planned: str, allowed: str, kept: bool, number: float | None = None,
    most: float | None = None, **more: Any,
) -> Row:  # fmt: skip
    return {
        "permit": permit.named(),
        "what": what,
        "planned": planned,
        "permitted": allowed,
        "planned_number": number,
        "permitted_number": most,
        "kept": bool(kept),
        **more,
    }


def _cap(project: Project, permit: Permit, cap: Cap, tables: dict[str, pd.DataFrame]) -> Row:
    units = tables["colonies"]
    if cap.species is not None:
        units = units[units["species"] == cap.species]
    if cap.area is not None:
        shape = [f.shape for f in features_of(project) if f.kind == PROTECTED and f.name == cap.area]
        inside: Any = shapely.intersects(units.geometry.to_numpy(), shapely.union_all(shape)) if shape else []
        units = units[np.asarray(inside, bool)] if shape else units.iloc[:0]
    planned = {
        "fragments": int(units["fragments"].sum()),
        "units": len(units),
        "genets": int(units.groupby(["species", "genet"]).ngroups) if len(units) else 0,
    }[cap.counts]
    span = ""
    if cap.valid_from or cap.valid_to:
        span = f", {cap.valid_from or 'any day'} to {cap.valid_to or 'any day'}"
        first, last = permit.planting_from, permit.planting_to
        apart = (
            first and last and ((cap.valid_to and first > cap.valid_to) or (cap.valid_from and last < cap.valid_from))
        )
        planned = 0 if apart else planned
    what = f"{cap.counts} of {cap.species or 'all species'}" + (f" in {cap.area}" if cap.area else "") + span
    return _row(
        permit, what, str(planned), f"at most {cap.most}", planned <= cap.most, planned, cap.most,
        species=cap.species, area=cap.area, counts=cap.counts,
    )  # fmt: skip


def _regions(permit: Permit, tables: dict[str, pd.DataFrame]) -> Row:
    planted = set(zip(tables["colonies"]["species"], tables["colonies"]["genet"], strict=True))
    stock = tables["stock"]
    wrong, known = set(), set()
    for r in stock.itertuples():
        if (r.species, r.genet) in planted:
            known.add((r.species, r.genet))
            if r.source_region not in permit.genet_regions:
                wrong.add((r.species, r.genet))
    wrong |= planted - known
    named = ", ".join(f"{s} {g}" for s, g in sorted(wrong)[:6]) + (" …" if len(wrong) > 6 else "")
    said = f"{len(planted) - len(wrong)} of {len(planted)} genets" + (f"; not {named}" if wrong else "")
    return _row(
        permit, "regions of the genets", said, ", ".join(permit.genet_regions), not wrong, len(planted) - len(wrong),
        len(planted),
    )  # fmt: skip
