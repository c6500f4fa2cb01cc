"""The permit packet, gathered from the season's tables, the layers and the facts of the plan."""

from __future__ import annotations

import datetime
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from pyproj import CRS
from rasterio.windows import Window

from sitekit.base.crs import WGS84, datum_note, transform_points
from sitekit.base.north import convergence, declination
from sitekit.base.notation import position_text
from sitekit.base.positions import read_position
from sitekit.base.wording import length_text, retell, say, wording
from sitekit.layers.grid import Grid
from sitekit.outputs.paper.frame import TitleBlock
from sitekit.outputs.paper.norths import Norths
from sitekit.outputs.permit_pdf.packet import Height, Mark, Packet, Sea, Water
from sitekit.pipeline.amendments import changed_outlines, earlier_areas, earlier_season
from sitekit.pipeline.bottoms import read_colonies
from sitekit.pipeline.fields import Ground, raster
from sitekit.pipeline.keep_clear import COASTLINE, CONSTRAINTS, read_drawn
from sitekit.pipeline.permit_texts import retold_texts, water_levels
from sitekit.pipeline.project import Project
from sitekit.pipeline.work_outlines import office_datum
from sitekit.season.settings_permit import Permit

MODEL = "World Magnetic Model 2025"
SEA_ROOM = 3.2  # depths are read this many times the work area's larger side round its middle
LEAST_ROOM_M = 60.0
NO_DATUM = ("not stated", "unknown", "none")


def packet_of(
    project: Project, ground: Ground, tables: dict[str, pd.DataFrame], run_id: str, cautions: tuple[str, ...]
) -> Packet:
    """Return everything the packet shows."""
    settings = project.settings
    permit = settings.permit[0] if settings.permit else None
    datum_name = permit.datum if permit else "WGS 84"
    crs = ground.grid.crs
    public = settings.outputs.public
    if wording().language != "en" or wording().units == "ft":  # the season's own are in English and metres
        tables = retold_texts(project, ground, tables)
    if public:
        tables = public_tables(tables)
    areas = gpd.GeoDataFrame(tables["work_areas"])
    items = tables["open_items"]
    draft = bool(items["kind"].isin(["missing fact", "conflict"]).any())
    stamps = [
        say(key)
        for key, there in (
            ("permit.stamp_scout", ground.scout),
            ("permit.stamp_public", public),
            ("permit.stamp_draft", draft),
            ("fictional", settings.plan.fictional),
        )
        if there
    ]
    earlier = None if public else earlier_season(project)
    bathymetry = settings.layers.bathymetry
    high, low, levels = water_levels(project)
    return Packet(
        paper=settings.outputs.paper,
        block=_block(permit, settings.plan.date),
        stamps=tuple(stamps),
        small_print=_small_print(project, ground, office_datum(datum_name), datum_name, run_id, cautions, draft),
        crs=crs,
        datum=office_datum(datum_name),
        datum_name=datum_name,
        crs_name=crs.name,
        areas=areas,
        corners=tables["corners"],
        rules=tables["work_rules"],
        permitted=tables["permitted"],
        planting=tables["planting"],
        sections=tables["sections"],
        open_items=items,
        amendments=tables["amendments"],
        texts=tables["packet_texts"],
        plots=gpd.GeoDataFrame(tables["plots"]),
        existing=None if public else read_colonies(project),
        protected=read_drawn(project, "protected"),
        constraints=read_drawn(project, CONSTRAINTS),
        coast=read_drawn(project, COASTLINE),
        sea=_seas(project, ground, areas),
        norths=norths_of(areas, crs, settings.plan.date),
        water=Water(_datum(bathymetry.datum), bathymetry.depth_error_m, high, low, levels),
        marks=_marks(project, crs, public),
        heights=tuple(Height(h.species, h.now_cm, h.later_cm, h.later_years) for h in permit.heights) if permit else (),
        facts=_facts(project, permit),
        materials=_materials(permit),
        counted=_counted(tables["materials"]),
        monitoring=tuple((m.when, m.what) for m in permit.monitoring) if permit else (),
        conditions=tuple(permit.conditions) if permit else (),
        cautions=cautions,
        notes=_notes(project, ground, public),
        changed=tuple(changed_outlines(earlier, areas, crs)) if earlier else (),
        amends="" if public else _amends(permit, earlier_areas(earlier, crs) if earlier else None),
        scout=ground.scout,
        colour=settings.outputs.packet_colour,
    )


def public_tables(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return the tables without what leads to corals: plots, and work areas of reference plots, which stand among wild ones."""
    plots, areas = gpd.GeoDataFrame(tables["plots"]), tables["work_areas"]
    hidden: list[str] = []
    if len(plots) and len(areas):
        open_plots = shapely.union_all(plots.geometry[plots["role"] != "reference"].to_numpy())
        hidden = areas["work_area"][~shapely.intersects(areas.geometry.to_numpy(), open_plots)].tolist()
    found = {
        name: frame[~frame["work_area"].isin(hidden)].reset_index(drop=True)
        for name, frame in tables.items()
        if name in ("work_areas", "corners", "work_rules", "sections")
    }
    told = tables["packet_texts"]
    figures = [f"figure: {name}" for name in hidden]
    found["packet_texts"] = told[~told["name"].isin(figures)].reset_index(drop=True)
    return {**tables, **found, "plots": tables["plots"].iloc[:0], "amendments": tables["amendments"].iloc[:0]}


def _block(permit: Permit | None, date: datetime.date) -> TitleBlock:
    return TitleBlock(
        applicant=(permit.applicant or "") if permit else "",
        file_number=(permit.file_number or permit.number or "") if permit else "",
        water_body=(permit.water_body or "") if permit else "",
        activity=(permit.activity or "") if permit else "",
        date=date.isoformat(),
        revision=permit.revision if permit else "A",
    )


def _small_print(
    project: Project, ground: Ground, datum: CRS, datum_name: str, run_id: str, cautions: tuple[str, ...], draft: bool
) -> tuple[str, ...]:
    bathymetry = project.settings.layers.bathymetry
    crs, (west, south, east, north) = ground.grid.crs, ground.grid.bounds
    shift = datum_note(crs, datum, [west, east], [south, north])
    return (
        *([say("permit.draft")] if draft else []),
        *([say("permit.public")] if project.settings.outputs.public else []),
        *_warnings(cautions),
        say("permit.corners_in", datum=datum_name, grid=crs.name)
        + (f" {shift[0].upper()}{shift[1:]}." if shift else ""),
        say(
            "permit.depths_of",
            datum=_datum(bathymetry.datum),
            error=length_text(bathymetry.depth_error_m),
            file=bathymetry.file,
        )
        + ("." if ground.scout else say("permit.plots_error", error=length_text(project.settings.spacing.pin_error_m))),
        say("permit.plan_run", name=project.settings.plan.name, run=run_id),
    )


def _warnings(cautions: tuple[str, ...]) -> list[str]:
    """Cautions for the small print: where the translation is unreviewed it says so, and the first one is told in English too."""
    told = [retell(c) for c in cautions]
    if wording().reviewed or told == list(cautions):
        return told
    return [f"{say('unreviewed').capitalize()}.", f"{told[0]} [{cautions[0]}]", *told[1:]]


def _datum(text: str) -> str:
    """Name of a vertical datum as it reads in a sentence."""
    return say("permit.a_datum", text=text) if text.strip().lower() in NO_DATUM else text


def _seas(project: Project, ground: Ground, areas: gpd.GeoDataFrame) -> dict[str, Sea]:
    """Depths round each site, for all of its work areas: they may share a sheet."""
    found: dict[str, Sea] = {}
    for site in dict.fromkeys(areas["site"].tolist()):
        own = areas[areas["site"] == site]
        west, south, east, north = (float(v) for v in own.total_bounds)
        sea = _sea(project, ground, (west, south, east, north))
        found |= {str(name): sea for name in own["work_area"]}
    return found


def _sea(project: Project, ground: Ground, bounds: tuple[float, float, float, float]) -> Sea:
    west, south, east, north = bounds
    reach = max((east - west) * SEA_ROOM / 2, (north - south) * SEA_ROOM / 2, LEAST_ROOM_M)
    grid = ground.grid
    x, y = (west + east) / 2, (south + north) / 2
    row, col = grid.cell_of(np.array([x - reach, x + reach]), np.array([y + reach, y - reach]))
    top, bottom = int(np.clip(row[0], 0, grid.shape[0] - 1)), int(np.clip(row[1], 0, grid.shape[0] - 1))
    left, right = int(np.clip(col[0], 0, grid.shape[1] - 1)), int(np.clip(col[1], 0, grid.shape[1] - 1))
    shape = (bottom - top + 1, right - left + 1)
    with rasterio.open(raster(project, "depth")) as file:
        depth = file.read(1, window=Window(left, top, shape[1], shape[0]))
    return Sea(depth, Grid(grid.crs, grid.west + left * grid.cell, grid.north - top * grid.cell, grid.cell, shape))


def norths_of(areas: gpd.GeoDataFrame, crs: CRS, date: datetime.date) -> dict[str, Norths]:
    """Return the three norths of each work area, and under "" those of the vicinity map."""
    found = {}
    spots = [(str(n), g.representative_point()) for n, g in zip(areas["work_area"], areas.geometry, strict=True)]
    if len(areas):
        spots.append(("", areas.geometry.iloc[0].representative_point()))
    for name, spot in spots:
        lon, lat = transform_points([spot.x], [spot.y], crs, WGS84)
        needle = declination(float(lon[0]), float(lat[0]), date)
        usable = needle is not None and needle.usable
        found[name] = Norths(
            float(convergence(crs, lon, lat)[0]),
            needle.declination_deg if needle is not None and usable else None,
            needle.change_deg_per_year if needle is not None and usable else 0.0,
            needle.uncertainty_deg if needle is not None and usable else 0.0,
            MODEL,
            date.isoformat(),
            crs.name,
        )
    return found


def _marks(project: Project, crs: CRS, public: bool) -> tuple[Mark, ...]:
    settings = project.settings
    permit = settings.permit[0] if settings.permit else None
    wanted = [("harbour", settings.harbour.name, settings.harbour.at, "")] if settings.harbour else []
    if settings.nursery and not public:
        wanted.append(("nursery", settings.nursery.name, settings.nursery.at, ""))
    for b in permit.buoys if permit else []:
        removed = f"; removed by {b.removed_by}" if b.removed_by else ""
        wanted.append(("buoy", b.name, b.at, f"{b.kind or 'not stated'}{removed}"))
    found = []
    for kind, name, at, note in wanted:
        position = read_position(at, f"{kind} {name}")
        x, y = transform_points([position.lon], [position.lat], WGS84, crs)
        if np.isfinite(x[0]) and np.isfinite(y[0]):
            text = position_text(position.lon, position.lat, "DDM") + ", WGS 84"
            found.append(Mark(name, kind, float(x[0]), float(y[0]), text, note))
    return tuple(found)


def _facts(project: Project, permit: Permit | None) -> tuple[tuple[str, str], ...]:
    if permit is None:
        return ()
    rows: list[tuple[str, Any]] = [
        ("authority", permit.named()),
        ("contact", permit.contact),
        ("purpose", permit.purpose),
        ("permit valid", _period(permit.valid_from, permit.valid_to)),
        ("planting", _period(permit.planting_from, permit.planting_to)),
        ("attachment", permit.attachment),
        ("source of stock", permit.stock_source),
        ("reports due", ", ".join(d.isoformat() for d in permit.reports_due)),
    ]
    names = {s.code: s.name for s in project.settings.species}
    rows += [
        (
            f"height of {names.get(h.species, h.species)}",
            f"{h.now_cm:g} cm when planted"
            + (f", {h.later_cm:g} cm after {h.later_years:g} years" if h.later_cm is not None else "")
            + (f" ({h.source})" if h.source else ""),
        )
        for h in permit.heights
    ]
    rows += [("further permit", p.named()) for p in project.settings.permit[1:]]
    return tuple((name, str(text) if text else "not stated") for name, text in rows)


def _period(first: datetime.date | None, last: datetime.date | None) -> str:
    return f"{first or 'not stated'} to {last or 'not stated'}" if first or last else ""


def _materials(permit: Permit | None) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (
            m.item,
            "not stated" if m.number is None else str(m.number),
            "yes" if m.stays else "no",
            "—" if m.stays else m.removed_by.isoformat() if m.removed_by else "not stated",
            m.note or "",
        )
        for m in (permit.materials if permit else [])
    )


def _counted(materials: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    """Totals of the day plan: the rows without a day."""
    rows = materials[materials["day"].isna()].to_dict("records")
    return tuple(
        (str(r["item"]), f"{r['number']:,.0f}" + (f" {r['unit']}" if r["unit"] else ""), str(r["note"] or ""))
        for r in rows
    )


def _notes(project: Project, ground: Ground, public: bool) -> tuple[str, ...]:
    notes = []
    if public:
        notes.append(say("permit.public"))
    if project.settings.layers.protected is None:
        notes.append(say("permit.no_protected"))
    if project.settings.layers.coastline is None:
        notes.append(say("permit.no_coast"))
    if ground.scout:
        notes.append(say("permit.scout_reason", reason=retell(ground.scout_reason)))
    return tuple(notes)


def _amends(permit: Permit | None, earlier: gpd.GeoDataFrame | None) -> str:
    if permit is None or earlier is None:
        return ""
    return say(
        "permit.amends",
        revision=permit.revision,
        file=permit.amends,
        areas=len(earlier),
        area=f"{float(earlier['area_m2'].sum()):,.0f}",
        units=int(earlier["units"].sum()),
        reason=permit.amendment_reason,
    )
