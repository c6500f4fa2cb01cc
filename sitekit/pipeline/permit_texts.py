"""What the packet says in words: text blocks for forms, a text for each figure, and what is still open."""

from __future__ import annotations

from typing import Any

import pandas as pd

from sitekit.base.tables import build
from sitekit.base.wording import depth_texts, length_text, length_unit, say, way_unit
from sitekit.pipeline.fields import Ground
from sitekit.pipeline.permit_checks import Row
from sitekit.pipeline.project import Project
from sitekit.pipeline.tides import read_tides
from sitekit.season.settings_permit import Permit

_LIMITS = "permit[1].text_limits."
MISSING, CONFLICT, NOTE = "missing fact", "conflict", "note"
# Facts that an office asks for (trade rows TV-114 to TV-125, topic permit) and the keys that state them.
_FACTS = (
    ("file_number", "file or application number", ("file_number", "number")),
    ("applicant", "applicant", ("applicant",)),
    ("contact", "contact", ("contact",)),
    ("water_body", "water body", ("water_body",)),
    ("activity", "activity", ("activity",)),
    ("purpose", "purpose and need", ("purpose",)),
    ("valid_from, valid_to", "period of the permit", ("valid_from", "valid_to")),
    ("planting_from, planting_to", "period of planting", ("planting_from", "planting_to")),
    ("attachment", "how fragments are attached", ("attachment",)),
    ("stock_source", "source of the stock", ("stock_source",)),
    ("materials", "materials on the bottom: what stays, what is removed by when", ("materials",)),
    ("monitoring", "monitoring schedule", ("monitoring",)),
)


def open_rows(
    project: Project,
    ground: Ground,
    tables: dict[str, pd.DataFrame],
    rules: list[Row],
    permitted: list[Row],
    texts: list[Row],
) -> list[Row]:
    """Return the rows of `open_items`: facts nobody stated, and what does not fit."""
    settings = project.settings
    areas, sites = tables["work_areas"], tables["sites"]
    rows: list[Row] = []

    def add(item: str, place: str, kind: str = MISSING) -> None:
        rows.append({"item": item, "place": place, "kind": kind})

    if not settings.permit:
        add("no permit is described: authority, numbers, dates and all facts below", "[[permit]]")
    first = settings.permit[0] if settings.permit else None
    for key, what, names in _FACTS:
        lacking = first is None or _lacking(first, names)
        if lacking:
            add(what, f"permit[1].{key}")
    if first is not None and first.amends and first.revision == "A":
        add("the letter of this revision: it amends an earlier packet and still says A", "permit[1].revision")
    high, low, _ = water_levels(project)
    for level, key, name in ((high, "high_water_m", "high"), (low, "low_water_m", "low")):
        if level is None:
            add(f"{name} water above the depth datum: permit, or a tide for its predictions", f"permit[1].{key}, tide")
    for m in first.materials if first else []:
        if m.number is None:
            add(f"number of: {m.item}", "permit[1].materials")
        if not m.stays and m.removed_by is None:
            add(f"when it is removed: {m.item}", "permit[1].materials")
    tall = {h.species for h in first.heights} if first else set()
    for s in settings.species:
        if s.code not in tall and not ground.scout:
            add(f"height of a unit of {s.code} above the bottom, now and later", "permit[1].heights")
    for key, what in (
        ("coastline", "coastline for the vicinity sheet"),
        ("protected", "protected areas: nothing here says that work is allowed"),
    ):
        if getattr(settings.layers, key) is None:
            add(what, f"layers.{key}")
    if not settings.layers.constraints:
        add("seagrass, heritage, cables, anchorages, other teams' plots: no layer was given", "layers.constraints")
    if settings.harbour is None:
        add("harbour, for its distance", "harbour")
    if settings.layers.bathymetry.datum.strip().lower() in ("not stated", "unknown", "none"):
        add("datum of the depths", "layers.bathymetry.datum")
    if ground.scout:
        add(f"areas to scout, no plots: {ground.scout_reason}", "layers.substrate", CONFLICT)
    if settings.spacing.mode == "fill":
        add("mode fill is an estimate of capacity: its counts cannot be applied for", "spacing.mode", CONFLICT)
    for r in sites[sites["chosen"]].itertuples() if not ground.scout else ():
        if r.site not in set(areas["site"]):
            given = tables["allotment"]["site"].eq(str(r.site)).any()
            add(f"site {r.site} is chosen and holds no plot: it has no sheet", "sites", CONFLICT if given else NOTE)
    for r in areas.itertuples():
        if not r.whole:
            add(f"work area {r.work_area}: {r.note}", "permit.area_file, layers.protected", CONFLICT)
    for row in rules:
        if str(row["verdict"]).startswith(("FORBIDDEN", "PERMIT NEEDED", "permit said", "a unit stands")):
            add(f"work area {row['work_area']}, {row['name']}: {row['verdict']}", "work_rules", CONFLICT)
    for row in permitted:
        if not row["kept"]:
            add(
                f"{row['permit']}: {row['what']}: {row['planned']} planned, {row['permitted']} permitted",
                "permit",
                CONFLICT,
            )
    return rows + _too_long(texts)


def _too_long(texts: list[Row]) -> list[Row]:
    return [
        {
            "item": say(
                "permit.text_too_long",
                name=row["name"],
                characters=row["characters"],
                most=row["most_characters"],
            ),
            "place": f"{_LIMITS}{row['name']}",
            "kind": CONFLICT,
        }
        for row in texts
        if not row["fits"]
    ]


def retold_texts(project: Project, ground: Ground, tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return the tables with the texts in the language and units in force, and open items that count their letters."""
    texts = text_rows(project, ground, tables)
    items = tables["open_items"]
    kept: list[Any] = items[~items["place"].astype(str).str.startswith(_LIMITS)].to_dict("records")
    return {
        **tables,
        "packet_texts": build("packet_texts", texts),
        "open_items": build("open_items", [*kept, *_too_long(texts)]),
    }


def water_levels(project: Project) -> tuple[float | None, float | None, str]:
    """Return high and low water above the depth datum [m], as the permit states them or as the tides reach, and which."""
    permit = project.settings.permit[0] if project.settings.permit else None
    high, low = (permit.high_water_m, permit.low_water_m) if permit else (None, None)
    if high is not None and low is not None:
        return high, low, "water"
    tides = read_tides(project)
    if tides.highest_m is None:
        return high, low, "water"
    return tides.highest_m if high is None else high, tides.lowest_m if low is None else low, "tide of the plan"


def _lacking(permit: Permit, names: tuple[str, ...]) -> bool:
    values = [getattr(permit, n) for n in names]
    given = [v is not None and v != [] for v in values]
    return not any(given) if names == ("file_number", "number") else not all(given)


def text_rows(project: Project, ground: Ground, tables: dict[str, pd.DataFrame]) -> list[Row]:
    """Return the rows of `packet_texts`: abstract, methods, and a text for each figure."""
    permit = project.settings.permit[0] if project.settings.permit else None
    limits: dict[str, Any] = {str(k): n for k, n in permit.text_limits.items()} if permit else {}
    blocks = {"abstract": _abstract(project, permit, tables), "methods": _methods(project, permit, tables)}
    blocks["figure: vicinity"] = _vicinity_text(project, tables)
    for row in tables["work_areas"].itertuples():
        blocks[f"figure: {row.work_area}"] = _figure_text(project, row, tables)
    return [
        {
            "name": name,
            "text": text,
            "characters": len(text),
            "most_characters": limits.get(name),
            "fits": name not in limits or len(text) <= limits[name],
        }
        for name, text in blocks.items()
    ]


def _abstract(project: Project, permit: Permit | None, tables: dict[str, pd.DataFrame]) -> str:
    areas, planting = tables["work_areas"], tables["planting"]
    names = {s.code: s.name for s in project.settings.species}
    total = float(areas["area_m2"].sum())
    where = say("permit.text_where", water_body=permit.water_body) if permit and permit.water_body else ""
    parts = []
    if permit and permit.purpose:
        parts.append(permit.purpose)
    if len(planting):
        counts = planting.groupby("species")[["units", "fragments"]].sum()
        each = "; ".join(
            say(
                "permit.text_each",
                species=names.get(str(s), str(s)),
                fragments=int(r.fragments),
                units=int(r.units),
            )
            for s, r in counts.iterrows()
        )
        parts.append(
            say(
                "permit.text_planted",
                fragments=int(planting["fragments"].sum()),
                sites=planting["site"].nunique(),
                where=where,
                each=each,
            )
        )
    scout = len(areas) and areas["kind"].iloc[0] == "area to scout"
    key = "permit.text_cover_scout" if scout else "permit.text_cover"
    parts.append(say(key, number=len(areas), m2=f"{total:,.0f}", ha=f"{total / 10_000:.2f}"))
    if permit and permit.planting_from and permit.planting_to:
        parts.append(say("permit.text_period", first=permit.planting_from, last=permit.planting_to))
    return " ".join(parts)


def _methods(project: Project, permit: Permit | None, tables: dict[str, pd.DataFrame]) -> str:
    spacing = project.settings.spacing
    if not len(tables["plots"]):
        return say("permit.text_no_plots")
    plot, shape = spacing.plot, ""
    if spacing.mode == "plots" and plot.shape == "rectangle":
        sides = (
            (f"{plot.length_m:g}" if length_unit()[0] == "m" else length_text(plot.length_m)),
            length_text(plot.width_m),
        )
        shape = say("permit.text_rectangles", length=sides[0], width=sides[1])
    elif spacing.mode == "plots":
        shape = say("permit.text_circles", radius=length_text(plot.radius_m))
    parts = [
        say("permit.text_tapes", number=len(tables["plots"]), shape=shape),
        say(
            "permit.text_apart",
            separation=length_text(spacing.separation_m),
            tolerance=length_text(spacing.lay_tolerance_m),
            clearance=length_text(spacing.clearance_m),
        ),
        say("permit.text_widened", reach=length_text(spacing.pin_error_m + spacing.lay_tolerance_m)),
    ]
    if permit and permit.attachment:
        parts.append(say("permit.text_attached", attachment=permit.attachment))
    if permit and permit.stock_source:
        parts.append(say("permit.text_stock", source=permit.stock_source))
    if len(tables["planting"]):
        parts.append(say("permit.text_genets"))
    if permit and permit.monitoring:
        parts.append(say("permit.text_monitoring", visits="; ".join(f"{m.when}: {m.what}" for m in permit.monitoring)))
    return " ".join(parts)


def _vicinity_text(project: Project, tables: dict[str, pd.DataFrame]) -> str:
    areas = tables["work_areas"]
    named = ", ".join(areas["work_area"].astype(str).head(30)) or say("permit.text_no_areas")
    text = say("permit.text_vicinity", named=named)
    if project.settings.layers.coastline:
        text += say("permit.text_coast")
    if project.settings.harbour and len(areas):
        unit, per = way_unit()
        low, high = (f"{float(v) / per:.1f}" for v in (areas["harbour_m"].min(), areas["harbour_m"].max()))
        span = say("permit.span", low=low, high=high, unit=unit)
        text += say("permit.text_harbour", harbour=project.settings.harbour.name, span=span)
    return text + say("permit.text_up")


def _figure_text(project: Project, row: Any, tables: dict[str, pd.DataFrame]) -> str:
    planting = tables["planting"]
    own = planting[planting["site"] == row.site]
    kind = say("permit.scout_area" if row.kind == "area to scout" else "permit.work_area")
    text = say("permit.text_figure", kind=kind, area=row.work_area, corners=int(row.corners), m2=f"{row.area_m2:,.0f}")
    if int(row.plots):
        text += say("permit.text_plots", plots=int(row.plots), units=int(row.units))
        text += f" ({', '.join(sorted(set(own['species'].astype(str))))})" if len(own) else ""
        text += say("permit.text_depth", depth=_charted(row.depth_min_m, row.depth_max_m), datum=_datum(project))
    return text + say("permit.text_section")


def _charted(least_m: float, most_m: float) -> str:
    unit = length_unit()[0]
    if unit == "m":
        return say("permit.span", low=f"{least_m:.1f}", high=f"{most_m:.1f}", unit=unit)
    return depth_texts(least_m, most_m)[0]


def _datum(project: Project) -> str:
    return project.settings.layers.bathymetry.datum
