"""Stage 8: work areas, the rules they meet, and what the permit packet says, from the season's plots and colonies."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from sitekit.base.geodesy import polygon_areas
from sitekit.base.positions import read_position
from sitekit.base.tables import build
from sitekit.errors import Fault, InputFault
from sitekit.pipeline.amendments import amendment_rows, earlier_areas, earlier_season, with_earlier_names
from sitekit.pipeline.fields import Ground, read_ground
from sitekit.pipeline.permit_checks import (
    Row,
    allowed_ground,
    features_of,
    permitted_rows,
    permitted_shapes,
    rule_rows,
    strictest,
)
from sitekit.pipeline.permit_texts import open_rows, text_rows
from sitekit.pipeline.project import Done, Project
from sitekit.pipeline.work_outlines import area_row, corner_rows, office_datum, outlines_of, reach_m, section_rows
from sitekit.sites.rules import PROTECTED

ROOM_M = 100.0  # of the box within which "outside a forbidden area" is taken


def run(project: Project, run_id: str) -> Done:
    """Write the tables of the permit packet: work areas, corners, rules, caps, sections, texts, open items."""
    ground = read_ground(project)
    crs = ground.grid.crs
    tables = project.season()
    check_permits(project)
    first = project.settings.permit[0] if project.settings.permit else None
    datum_name = first.datum if first else "WGS 84"
    datum = office_datum(datum_name)
    shapes = permitted_shapes(project, crs)
    box = None
    if len(tables["plots"]):
        box = shapely.box(*tables["plots"].total_bounds).buffer(reach_m(project, ground) + ROOM_M, join_style="mitre")
    outlines = outlines_of(project, ground, tables, allowed_ground(project, shapes, box), datum)
    earlier = earlier_season(project)
    if earlier and not ground.scout:
        outlines = with_earlier_names(outlines, earlier_areas(earlier, crs))
    harbour = None
    if project.settings.harbour:
        at = read_position(project.settings.harbour.at, "harbour.at")
        harbour = (at.lon, at.lat)
    plots = gpd.GeoDataFrame(tables["plots"])
    corners: list[Row] = []
    rows: list[Row] = []
    sections: list[Row] = []
    for outline in outlines:
        own = corner_rows(outline, crs, datum, datum_name)
        corners += own
        rows.append(area_row(project, ground, outline, own, tables, datum, harbour))
        sections += section_rows(project, ground, outline, plots)
    units = _units_of(outlines, tables)
    rules = rule_rows(project, [o.name for o in outlines], [o.shape for o in outlines], units, crs)
    for row in rows:
        row["rules"] = strictest(rules, str(row["work_area"]))
    tables["work_areas"] = build("work_areas", rows, [o.shape for o in outlines], crs)
    tables["corners"] = build("corners", corners)
    tables["work_rules"] = build("work_rules", rules)
    tables["sections"] = build("sections", sections)
    tables["planting"] = build("planting", planting_rows(tables, ground))
    permitted = permitted_rows(project, tables, tables["work_areas"], shapes, crs)
    tables["permitted"] = build("permitted", permitted)
    texts = text_rows(project, ground, tables)
    tables["packet_texts"] = build("packet_texts", texts)
    items = open_rows(project, ground, tables, rules, permitted, texts)
    tables["open_items"] = build("open_items", items)
    tables["amendments"] = build("amendments", amendment_rows(earlier, tables, crs) if earlier else [])
    project.write_season(tables, crs)
    return Done(["season.gpkg"], _figures(tables, items, permitted))


def check_permits(project: Project) -> None:
    """Refuse permits that name areas which no layer has, an unknown datum or a position that cannot be read.

    Raises
    ------
    InputFault
        Naming each of them.
    """
    known = {f.name for f in features_of(project) if f.kind == PROTECTED}
    faults = []
    for k, permit in enumerate(project.settings.permit, start=1):
        named = [("areas", a) for a in permit.areas] + [("caps.area", c.area) for c in permit.caps if c.area]
        faults += [
            Fault(
                f"permit[{k}].{key}",
                f"{name!r} is no protected area of the plan",
                ", ".join(sorted(known)) or "a layer [layers.protected]",
                "Correct the name.",
            )
            for key, name in named
            if name not in known
        ]
        try:
            office_datum(permit.datum)
        except InputFault as error:
            faults += error.faults
        for b in permit.buoys:
            try:
                read_position(b.at, f"permit[{k}].buoys, {b.name}")
            except InputFault as error:
                faults += error.faults
    if faults:
        raise InputFault(*faults)


def permit_rows(project: Project) -> list[Row]:
    """Return a row per permit for `check`: how it was understood."""
    rows: list[Row] = []
    for k, permit in enumerate(project.settings.permit, start=1):
        said = [
            f"{permit.named()}; valid {permit.valid_from or 'any day'} to {permit.valid_to or 'any day'}",
            f"areas: {', '.join(permit.areas) or 'none named'}; corners in {permit.datum}",
            *(
                f"at most {c.most} {c.counts} of {c.species or 'all species'}" + (f" in {c.area}" if c.area else "")
                for c in permit.caps
            ),
        ]
        rows.append({"layer": f"permit[{k}]", "said": said, "source": permit.authority, "notes": []})
    return rows


def _units_of(outlines: list[Any], tables: dict[str, pd.DataFrame]) -> list[gpd.GeoDataFrame]:
    colonies, plots = gpd.GeoDataFrame(tables["colonies"]), tables["plots"]
    return [
        colonies[colonies["plot"].isin(plots["plot"].iloc[list(o.plots)])] if o.plots else colonies.iloc[:0]
        for o in outlines
    ]


def planting_rows(tables: dict[str, pd.DataFrame], ground: Ground) -> list[Row]:
    """Return the rows of `planting`: what each site holds of each species, with sizes and regions of its genets."""
    colonies, plots, stock = tables["colonies"], tables["plots"], tables["stock"]
    if not len(colonies):
        return []
    areas = dict(zip(plots["plot"], polygon_areas(plots.geometry, ground.grid.crs), strict=True))
    rows = []
    for (site, species), own in colonies.groupby(["site", "species"], sort=False):
        names = [n for n in dict.fromkeys(own["plot"].tolist()) if n is not None]
        size = float(sum(areas[n] for n in names))
        listed = stock[(stock["species"] == species) & stock["genet"].isin(own["genet"]) & stock["usable"]]
        regions = sorted({str(r) for r in listed["source_region"] if r is not None})
        rows.append(
            {
                "site": site,
                "species": species,
                "plots": len(names),
                "plot_area_m2": size,
                "units": len(own),
                "fragments": int(own["fragments"].sum()),
                "genets": int(own["genet"].nunique()),
                "density_per_m2": float(own["fragments"].sum()) / size if size else 0.0,
                "size_min_cm": _or_none(listed["size_cm"].min()),
                "size_max_cm": _or_none(listed["size_cm"].max()),
                "regions": ", ".join(regions) or None,
            }
        )
    return rows


def _or_none(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)


def _figures(tables: dict[str, pd.DataFrame], items: list[Row], permitted: list[Row]) -> dict[str, Any]:
    areas = tables["work_areas"]
    return {
        "work_areas": len(areas),
        "corners": int(areas["corners"].sum()),
        "area_m2": round(float(areas["area_m2"].sum()), 1),
        "greatest_difference_m2": round(float(areas["difference_m2"].max()), 3) if len(areas) else 0.0,
        "caps_kept": sum(bool(r["kept"]) for r in permitted),
        "caps": len(permitted),
        "missing_facts": sum(r["kind"] == "missing fact" for r in items),
        "conflicts": sum(r["kind"] == "conflict" for r in items),
        "conflicts_told": [f"{r['item']} ({r['place']})" for r in items if r["kind"] == "conflict"],
        "amendments": len(tables["amendments"]),
    }
