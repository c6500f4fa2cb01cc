"""Whether the plan stays within every permit: caps, areas, dates, genet regions, methods; and whether the work areas
are what their printed corners say.

Counts come from the written colonies, corners from the packet's own table of printed figures, outlines and distances
from the team's files; nothing is shared with the stage that drew them.
"""

from __future__ import annotations

import re
from collections import Counter
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS, Geod, Transformer

from sitekit.audit.inputs_again import outlines, ruled
from sitekit.audit.promises import Finding, asked, judged, not_looked_at
from sitekit.audit.written import Written
from sitekit.base.files import inside
from sitekit.season.settings import Settings
from sitekit.season.settings_layers import Area, File
from sitekit.season.settings_permit import DATUMS, Cap, Permit

CAPS = "no permit's cap is exceeded"
PERIOD = "planting falls within the dates of each permit"
REGIONS = "every planted genet comes from a region that each permit allows"
METHODS = "fragments are attached by a permitted method"
GROUND = "work areas cover no more than permitted, inside the permitted outlines"
CORNERS = "each work area's printed corners enclose its stated area"
UNITS = "every unit stands inside its work area, with room for the error of pins"
CLEAR = "no unit stands nearer than the plan keeps clear"
SEASON, TABLES = "out/season.gpkg", "out/permit_tables.csv"
_ROUNDING_M2 = 0.06  # areas are printed to 0.1 m²
_STEP_M = 0.002  # positions are written to 9 decimals of a degree


def audit_permits(project: Path, settings: Settings, written: Written) -> list[Finding]:
    """Return the findings on permits, work areas and what is kept clear of.

    Parameters
    ----------
    project : Path
        Folder with the team's files.
    settings : Settings
        The plan.
    written : Written
        What was read from `out/`.
    """
    areas, planned = written.table("work_areas"), written.planned()
    findings: list[Finding] = []
    real = (
        settings.spacing.mode != "fill"
    )  # an estimate of capacity: its counts are not applied for, its genets not known
    checks: list[tuple[str, Any, bool]] = [
        (CAPS, _caps, real and any(p.caps for p in settings.permit)),
        (PERIOD, _period, any(p.planting_from or p.valid_from or p.valid_to for p in settings.permit)),
        (REGIONS, _regions, real and any(p.genet_regions for p in settings.permit) and settings.stock is not None),
        (METHODS, _methods, any(p.methods and p.attachment for p in settings.permit)),
        (GROUND, _ground, any(p.most_area_m2 or p.area_file for p in settings.permit)),
        (CORNERS, _corners, areas is not None and len(areas) > 0),
        (UNITS, _units, areas is not None and len(areas) > 0 and planned is not None and len(planned) > 0),
        (CLEAR, _clear, any(c.keep_clear_m is not None for c in settings.layers.constraints.values())),
    ]
    for promise, check, due in checks:
        if not due:
            continue
        if areas is None or (planned is None and promise in (CAPS, REGIONS, CLEAR) and _has_colonies(written)):
            findings.append(not_looked_at(promise, "the season or the positions cannot be read", SEASON))
            continue
        findings += asked(promise, SEASON, partial(check, project, settings, written))
    return findings


def _has_colonies(written: Written) -> bool:
    colonies = written.table("colonies")
    return colonies is None or len(colonies) > 0


def _counted(planned: pd.DataFrame | None) -> pd.DataFrame:
    return planned if planned is not None else pd.DataFrame({"species": [], "genet": [], "fragments": []})


def _caps(project: Path, settings: Settings, written: Written) -> Finding:
    planned = _counted(written.planned())
    broken, said = [], []
    for permit in settings.permit:
        for cap in permit.caps:
            number = _planned(project, settings, written, planned, permit, cap)
            what = f"{cap.counts} of {cap.species or 'all species'}" + (f" in {cap.area}" if cap.area else "")
            said.append(f"{number} of {cap.most} {what}")
            if number > cap.most:
                broken.append(f"{permit.named()}: {number} {what} planned, {cap.most} permitted")
    where = f"out/colonies.geojson, plan.toml, {len(said)} caps"
    return judged(CAPS, broken, len(said), where, kept="; ".join(said), unit="caps")


def _planned(
    project: Path, settings: Settings, written: Written, planned: pd.DataFrame, permit: Permit, cap: Cap
) -> int:
    first, last = permit.planting_from, permit.planting_to
    if first and last and ((cap.valid_to and first > cap.valid_to) or (cap.valid_from and last < cap.valid_from)):
        return 0
    rows: Any = planned[planned["species"] == cap.species] if cap.species is not None else planned
    if cap.area is not None:
        layer = settings.layers.protected
        assert layer is not None
        assert written.crs is not None
        frame = ruled(project, layer, written.crs)
        shape = shapely.union_all(frame.geometry[frame["_name"] == cap.area].to_numpy())
        rows = rows[shapely.intersects(shapely.points(rows["x_m"], rows["y_m"]), shape)]
    if cap.counts == "fragments":
        return int(rows["fragments"].sum())
    return len(rows) if cap.counts == "units" else len(set(zip(rows["species"], rows["genet"], strict=True)))


def _period(_: Path, settings: Settings, written: Written) -> Finding:
    broken, looked = [], 0
    for permit in settings.permit:
        for day, side in ((permit.planting_from, "begins"), (permit.planting_to, "ends")):
            if day is None:
                continue
            looked += 1
            if (permit.valid_from and day < permit.valid_from) or (permit.valid_to and day > permit.valid_to):
                broken.append(
                    f"{permit.named()}: planting {side} {day}, valid {permit.valid_from or '…'} to {permit.valid_to or '…'}"
                )
    days = written.table("days")
    for permit in settings.permit:
        for day in days["date"].dropna() if days is not None else ():
            looked += 1
            if (permit.valid_from and str(day) < permit.valid_from.isoformat()) or (
                permit.valid_to and str(day) > permit.valid_to.isoformat()
            ):
                broken.append(f"{permit.named()}: dives are planned on {day}")
    kept = "first and last day of planting, and each day of the day plan"
    return judged(PERIOD, broken, looked, f"plan.toml, {SEASON}", kept=kept, unit="dates")


def _regions(_: Path, settings: Settings, written: Written) -> Finding:
    assert settings.stock is not None
    rows = written.tables["stock"]
    region = dict(zip(zip(rows["species"], rows["genet"], strict=True), rows["source_region"], strict=True))
    planted = Counter(zip(_counted(written.planned())["species"], _counted(written.planned())["genet"], strict=True))
    broken = [
        f"{permit.named()}: {s} {g}, {n} units, is from {region.get((s, g)) or 'an unknown region'}"
        for permit in settings.permit
        if permit.genet_regions
        for (s, g), n in sorted(planted.items())
        if region.get((s, g)) not in permit.genet_regions
    ]
    return judged(
        REGIONS,
        broken,
        len(planted),
        f"out/colonies.geojson, {settings.stock.file}",
        kept="region of each genet in the stock list",
        unit="genets",
    )


def _methods(_: Path, settings: Settings, __: Written) -> Finding:
    stated = [p for p in settings.permit if p.methods and p.attachment]
    broken = [
        f"{p.named()}: {p.attachment!r} is not among {', '.join(p.methods)}"
        for p in stated
        if p.attachment not in p.methods
    ]
    return judged(METHODS, broken, len(stated), "plan.toml", kept="as stated", unit="permits")


def _ground(project: Path, settings: Settings, written: Written) -> Finding:
    areas: Any = written.tables["work_areas"]
    assert written.crs is not None
    total = sum(_ellipsoid(written, g) for g in areas.geometry)
    broken = []
    for permit in settings.permit:
        if permit.most_area_m2 is not None and total > permit.most_area_m2 + _ROUNDING_M2:
            broken.append(f"{permit.named()}: {total:,.0f} m² of work areas, {permit.most_area_m2:,.0f} m² permitted")
        if permit.area_file is not None:
            frame = outlines(project, Area(file=permit.area_file, crs=permit.area_crs), written.crs)
            shape = shapely.union_all(frame.geometry.to_numpy()).buffer(1e-3)
            broken += [
                f"{name} reaches {shapely.difference(g, shape).area:.1f} m² beyond {permit.area_file}"
                for name, g in zip(areas["work_area"], areas.geometry, strict=True)
                if not shape.covers(g)
            ]
    return judged(
        GROUND, broken, len(areas), SEASON, kept=f"{total:,.0f} m² on the ellipsoid in all", unit="work areas"
    )


def _ellipsoid(written: Written, shape: Any) -> float:
    """Area by geodesics between the corners [m²]; straight lines of the grid bend off them by less than 1 mm here."""
    back = Transformer.from_crs(written.crs, "EPSG:4326", always_xy=True)
    total = 0.0
    for part in shapely.get_parts(shape):
        for k, ring in enumerate((part.exterior, *part.interiors)):
            lon, lat = back.transform(*shapely.get_coordinates(shapely.segmentize(ring, 100.0)).T)
            size = abs(Geod(ellps="WGS84").polygon_area_perimeter(lon, lat)[0])
            total += -size if k else size
    return float(total)


def _corners(_: Path, settings: Settings, written: Written) -> Finding:
    """The corners as printed, read back by their own rule, against the areas as printed."""
    path = written.out / "permit_tables.csv"
    if not path.is_file():
        return not_looked_at(CORNERS, "permit_tables.csv is missing", TABLES)
    listed = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    areas: Any = written.tables["work_areas"]
    datum = CRS.from_user_input(
        DATUMS.get(settings.permit[0].datum, settings.permit[0].datum) if settings.permit else 4326
    )
    geod = datum.get_geod() or Geod(ellps="WGS84")
    broken, worst = [], 0.0
    table = listed[listed["table"] == "corners"]
    for row in areas.itertuples():
        stated = listed[
            (listed["table"] == "work_areas") & (listed["about"] == row.work_area) & (listed["item"] == "area_m2")
        ]
        if settings.outputs.public and not len(stated) and not row.units:
            continue  # a public copy leaves out work areas that hold reference plots only
        if len(stated) != 1:
            broken.append(f"{row.work_area}: no area is printed")
            continue
        rings: dict[str, list[tuple[float, float]]] = {}
        for k in range(1, int(row.corners) + 1):
            own = table[table["about"] == f"{row.work_area}, {k}"].set_index("item")["value"]
            rings.setdefault(own["ring"], []).append(
                (_angle(own["longitude_minutes"]), _angle(own["latitude_minutes"]))
            )
        sizes = [abs(geod.polygon_area_perimeter(*np.array(r).T)[0]) for r in rings.values()]
        signs = [1 if k == 0 else -1 for p in shapely.get_parts(row.geometry) for k in range(1 + len(p.interiors))]
        total = sum(sign * size for sign, size in zip(signs, sizes, strict=True))
        away = abs(total - float(stated["value"].iloc[0]))
        worst = max(worst, away)
        if away > _ROUNDING_M2:
            broken.append(f"{row.work_area}: {total:,.1f} m² from its corners, {stated['value'].iloc[0]} m² printed")
    return judged(
        CORNERS,
        broken,
        len(areas),
        f"{SEASON}, {TABLES}",
        kept=f"they differ by {worst:.2f} m² at most",
        unit="work areas",
    )


def _angle(text: str) -> float:
    match = re.fullmatch(r"(\d+)° (\d+\.\d+)′ ([NSEW])", text)
    if match is None:
        raise ValueError(f"{text!r} is no printed corner")
    value = int(match[1]) + float(match[2]) / 60
    return -value if match[3] in "SW" else value


def _units(project: Path, settings: Settings, written: Written) -> Finding:
    planned, areas = written.planned(), written.tables["work_areas"]
    assert planned is not None
    shapes: Any = areas
    points = np.asarray(shapely.points(planned["x_m"], planned["y_m"]))
    room = settings.spacing.pin_error_m + settings.spacing.lay_tolerance_m
    best = np.full(len(planned), -np.inf)
    for shape in shapes.geometry:
        away = shapely.distance(points, shape.boundary) * np.where(shapely.intersects(points, shape), 1.0, -1.0)
        best = np.maximum(best, away)
    # near ground where no work is allowed an outline is cut back, in straight lines: there it must hold the unit only
    wide = max(float(np.sqrt(g.area)) for g in shapes.geometry)
    free = _to_shut(project, settings, written, points) > room + 2 * wide / 15
    names = [f"{s}-{n}" for s, n in zip(planned["site"], planned["sequence"], strict=True)]
    least = np.where(free, room, 0.0) - _STEP_M
    broken = [f"{n} is {b:.2f} m inside" for n, b, due in zip(names, best, least, strict=True) if b < due]
    kept = f"at least {best.min():.2f} m inside; {room:g} m due but near ground where no work is allowed"
    return judged(UNITS, broken, len(planned), f"out/colonies.geojson, {SEASON}", kept=kept, unit="units")


def _to_shut(project: Path, settings: Settings, written: Written, points: Any) -> Any:
    """Distance of points to ground where no work is allowed [m]."""
    assert written.crs is not None
    away = np.full(len(points), np.inf)
    layer = settings.layers.protected
    if layer is not None:
        frame = ruled(project, layer, written.crs)
        for rule, shape in zip(frame["_rule"], frame.geometry, strict=True):
            if rule == "forbidden":
                away = np.minimum(away, shapely.distance(points, shape))
    for permit in settings.permit:
        if permit.area_file is not None:
            own = outlines(project, Area(file=permit.area_file, crs=permit.area_crs), written.crs)
            edge = shapely.union_all(own.geometry.to_numpy())
            away = np.where(
                shapely.intersects(points, edge), np.minimum(away, shapely.distance(points, edge.boundary)), 0
            )
    return away


def _clear(project: Path, settings: Settings, written: Written) -> Finding:
    planned = written.planned()
    if planned is None or not len(planned):
        return judged(CLEAR, [], 0, SEASON, kept="no unit is planned", unit="units")
    assert written.crs is not None
    points = np.asarray(shapely.points(planned["x_m"], planned["y_m"]))
    names = np.array([f"{s}-{n}" for s, n in zip(planned["site"], planned["sequence"], strict=True)], dtype=object)
    broken, said, files = [], [], []
    for layer in settings.layers.constraints.values():
        if layer.keep_clear_m is None:
            continue
        files.append(layer.file)
        shape = shapely.union_all(_shapes(project, layer, written.crs))
        away = shapely.distance(points, shape)
        said.append(f"{layer.label} {away.min():.1f} m (due {layer.keep_clear_m:g})")
        near = (away < layer.keep_clear_m - _STEP_M) | (shapely.intersects(points, shape) & (layer.keep_clear_m == 0))
        broken += [f"{n} is {a:.2f} m from {layer.label}" for n, a in zip(names[near], away[near], strict=True)]
    where = f"out/colonies.geojson, {', '.join(files)}"
    return judged(CLEAR, broken, len(planned), where, kept="nearest: " + "; ".join(said), unit="units")


def _shapes(project: Path, layer: File, crs: CRS) -> Any:
    frame: Any = pyogrio.read_dataframe(inside(project, layer.file))
    if layer.crs is not None:
        frame = frame.set_crs(layer.crs, allow_override=True)
    shapes = frame.geometry[frame.geometry.notna()].to_crs(crs).to_numpy()
    return shapely.make_valid(shapes)
