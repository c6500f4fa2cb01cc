"""The tables of the packet over as many sheets as they need: areas, planting, caps, rules, what stays, what is open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from sitekit.base.wording import caution, distance_text, length_text, length_unit, retell, say, way_unit
from sitekit.outputs.paper.fonts import width
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.listing import TITLE_PT, Block, Column, Listing, Placed, Words
from sitekit.outputs.paper.pen import Align, Pen
from sitekit.outputs.permit_pdf.packet import Packet, rows_of

CORNERS_IN_ONE = 40  # more stand two in a row, in smaller letters
Table = tuple[list[Column], list[Any]]


def table_blocks(packet: Packet, room: float, *, corners_of: Sequence[str]) -> list[Block]:
    """Return the tables and texts in reading order.

    Parameters
    ----------
    packet : Packet
        What to show.
    room : float
        Width [pt].
    corners_of : sequence of str
        Work areas whose corners do not fit on their own sheet.
    """
    blocks: list[Block] = []

    def table(title: str, columns: list[Column], rows: list[Any], size: float = 6.8) -> None:
        blocks.append(Words(title, room, TITLE_PT, bold=True, after=2.0))
        if rows:
            blocks.append(Listing(columns, rows, room, size=size, title=title))
        else:
            blocks.append(Words(say("permit.none"), room, 7.5, after=6.0))

    kind = say("permit.scout_areas_title" if packet.scout else "permit.work_areas_title")
    table(say("permit.areas_table", kind=kind, datum=packet.datum_name), *_areas(packet))
    blocks.append(Words(say("permit.areas_note"), room, 6.8, after=4.0))
    many = packet.corners[packet.corners["work_area"].isin(corners_of)]
    if len(many):
        table(say("permit.all_corners"), *_corners(many))
    if not packet.scout:
        table(say("permit.planting"), *_planting(packet))
        for permit in dict.fromkeys(packet.permitted["permit"].tolist()):
            own = packet.permitted[packet.permitted["permit"] == permit]
            table(say("permit.planned_permitted", permit=_named(permit)), *_permitted(own))
    table(say("permit.rules_title"), *_rules(packet))
    if len(packet.rules):
        table(say("permit.distances_title"), *_distances(packet))
    if not packet.scout:
        table(say("permit.materials_title"), *_materials(packet))
        if packet.counted:
            table(say("permit.counts_title"), [_col("item", 1.6), _col("number", 0.8, "right"), _col("counted", 4)],
                  [(retell(i), n, "; ".join(map(retell, how.split("; ")))) for i, n, how in packet.counted])  # fmt: skip
        buoys = [m for m in packet.marks if m.kind == "buoy"]
        if buoys:
            table(say("permit.buoys_title"), [_col("buoy", 1), _col("position", 2.4), _col("what", 3)],
                  [(m.name, m.position, retell(m.note, typed=True)) for m in buoys])  # fmt: skip
        table(say("permit.monitoring_title"), [_col("when", 1), _col("what", 3)], list(packet.monitoring))
    if packet.facts:
        facts = [(retell(name), _named(text) if name in _AUTHORITIES else retell(text, typed=True))
                 for name, text in packet.facts]  # fmt: skip
        table(say("permit.facts_title"), [_col("fact", 1), _col("statement", 4)], facts)
    if packet.conditions:
        blocks.append(Words(say("permit.conditions_title"), room, TITLE_PT, bold=True, after=2.0))
        blocks += [Words(f"{k}. {c}", room, 7.2, after=2.0) for k, c in enumerate(packet.conditions, start=1)]
    blocks.append(
        Words(say("permit.open_title" if len(packet.open_items) else "permit.open_none"), room, TITLE_PT, bold=True,
              after=2.0)
    )  # fmt: skip
    if len(packet.open_items):
        rows = [(retell(r.kind), retell(r.item, typed=True), r.place) for r in rows_of(packet.open_items)]
        blocks.append(Listing([_col("kind", 1), _col("open", 4.6), _col("place", 2)], rows, room, size=6.8))
    blocks.append(Words(say("permit.cautions_title"), room, TITLE_PT, bold=True, after=2.0))
    blocks += [Words(c, room, 7.2, after=1.5) for c in (*(caution(c) for c in packet.cautions), *packet.notes)]
    return blocks


def draw_tables(pen: Pen, number: int, total: int, frame: Frame, title: str, placed: Sequence[Placed]) -> None:
    """Draw one sheet of tables."""
    frame.draw(pen, number, total, title)
    for block, start, stop, top in placed:
        block.draw(pen, frame.body[0], top, start, stop)


_AUTHORITIES = ("authority", "further permit")


def _col(name: str, share: float, align: Align = "left", **values: object) -> Column:
    return Column(say(f"permit.col_{name}", **values), share, align)


def _named(permit: str) -> str:
    """Name of a permit; a number that nobody stated reads so in the language in force."""
    return permit.replace("not stated", say("told.not_stated"))


def _what(text: str) -> str:
    """What a permit limits; a period may follow the last comma."""
    head, _, span = text.rpartition(", ")
    return f"{retell(head)}, {retell(span)}" if head and " to " in span else retell(text)


def _number(value: Any, decimals: int, unit: str = "") -> str:
    return "—" if value is None or pd.isna(value) else f"{float(value):,.{decimals}f}{unit}"


def _span(low: Any, high: Any, decimals: int) -> str:
    return "—" if pd.isna(low) else f"{float(low):.{decimals}f}–{float(high):.{decimals}f}"


def _depths(least_m: Any, most_m: Any, per: float) -> str:
    """Depths to a tenth of a metre; in whole feet, the greatest never rounded down."""
    if pd.isna(least_m) or per == 1.0:
        return _span(least_m, most_m, 1)
    return f"{math.floor(least_m / per + 1e-6)}–{math.ceil(most_m / per - 1e-6)}"


def _areas(packet: Packet) -> Table:
    unit, per = length_unit()
    way, of_way = way_unit()
    depth = _col("depth", 1.3, "right", unit=unit)
    columns = [
        _col("area", 1.2), _col("name", 2.2), Column("m²", 1.2, "right"), Column("ha", 1, "right"),
        _col("acres", 1, "right"), _col("differs", 1.2, "right"), _col("corners", 1.1, "right"),
        _col("plots", 0.8, "right"), _col("units", 0.8, "right"), depth, _col("harbour", 1.3, "right", unit=way),
    ]  # fmt: skip
    rows = [
        (
            r.work_area,
            r.name,
            _number(r.area_m2, 0),
            _hectares(r.area_ha),
            _hectares(r.area_acre),
            _number(r.difference_m2, 1),
            r.corners,
            r.plots,
            r.units,
            _depths(r.depth_min_m, r.depth_max_m, per),
            _number(None if pd.isna(r.harbour_m) else r.harbour_m / of_way, 2),
        )
        for r in rows_of(packet.areas)
    ]
    total = packet.areas[["area_m2", "area_ha", "area_acre"]].sum()
    rows.append(
        (say("permit.col_all"), "", _number(total["area_m2"], 0), _hectares(total["area_ha"]), _hectares(total["area_acre"]), "",
         int(packet.areas["corners"].sum()), int(packet.areas["plots"].sum()), int(packet.areas["units"].sum()), "", "")
    )  # fmt: skip
    empty = {say("permit.col_name")} if packet.areas["name"].isna().all() else set()
    if packet.scout:  # nothing is planted there yet
        empty |= {say("permit.col_plots"), say("permit.col_units"), depth.title}
    shown = [k for k, c in enumerate(columns) if c.title not in empty]
    return [columns[k] for k in shown], [tuple(row[k] for k in shown) for row in rows]


def _hectares(value: float) -> str:
    """Hectares or acres to a square metre or so where areas are small; five figures at most where they are large."""
    decimals = next((d for limit, d in ((10.0, 4), (100.0, 3), (1000.0, 2)) if value < limit), 1)
    return _number(value, decimals)


def _corners(many: pd.DataFrame) -> tuple[list[Column], list[Any], float]:
    """Columns as wide as what stands in them, rows and size of letters; many corners stand two in a row."""
    keys = ("col_area", "col_corner_no", "latitude", "longitude", "latitude_deg", "longitude_deg")
    titles = [say(f"permit.{key}") for key in keys]
    rows = [
        (c.work_area, c.corner, c.latitude_minutes, c.longitude_minutes, c.latitude_degrees, c.longitude_degrees)
        for c in rows_of(many)
    ]
    size = 6.8 if len(rows) <= CORNERS_IN_ONE else 6.5
    wide = [max(width(str(row[k]), size) for row in rows) for k in range(len(titles))]
    one = [Column(t, max(w, width(t, size, True)) + 5.5) for t, w in zip(titles, wide, strict=True)]
    if len(rows) <= CORNERS_IN_ONE:
        return one, rows, size
    half = (len(rows) + 1) // 2
    none = ("",) * len(one)
    return [*one, *one], [(*rows[k], *(rows[k + half] if k + half < len(rows) else none)) for k in range(half)], size


def _planting(packet: Packet) -> Table:
    columns = [
        _col("site", 0.8), _col("species", 1), _col("plots", 0.7, "right"), _col("plots_m2", 0.9, "right"),
        _col("units", 0.7, "right"), _col("fragments", 1, "right"), _col("genets", 0.8, "right"),
        _col("density", 0.8, "right"), _col("size", 1, "right"), _col("regions", 2.6),
    ]  # fmt: skip
    return columns, [
        (
            r.site, r.species, r.plots, _number(r.plot_area_m2, 0), r.units, r.fragments, r.genets,
            _number(r.density_per_m2, 2), _span(r.size_min_cm, r.size_max_cm, 0), r.regions,
        )
        for r in rows_of(packet.planting)
    ]  # fmt: skip


def _permitted(own: pd.DataFrame) -> Table:
    columns = [_col("what", 3), _col("planned", 2.2), _col("permitted", 2.6), _col("kept", 0.6)]
    kept = {True: say("permit.yes"), False: say("permit.not_kept")}
    return columns, [
        (_what(r.what), retell(r.planned, typed=True), retell(r.permitted, typed=True), kept[bool(r.kept)])
        for r in rows_of(own)
    ]


def _rules(packet: Packet) -> Table:
    columns = [_col("area", 0.75), _col("meets", 2.5), _col("rule", 1.25), _col("inside", 0.6),
               _col("overlap", 0.95, "right"), Column("%", 0.45, "right"), _col("verdict", 3.6)]  # fmt: skip
    rows: list[Any] = []
    for name in packet.areas["work_area"]:
        own = packet.rules[packet.rules["work_area"] == name]
        touched = own[(own["distance_m"] == 0) | own["decides"]]
        for r in rows_of(touched):
            park = r.kind == "protected area"
            rule = say(f"permit.rule_{r.rule}") if park else retell(r.rule)
            if not pd.isna(r.keep_clear_m):
                rule = say("permit.keep_clear", distance=length_text(r.keep_clear_m))
            if r.decides and park and len(touched) > 1:
                rule = say("permit.decides", rule=rule)
            rows.append(
                (name, f"{r.name}, {retell(r.kind, typed=True)}", rule, say("permit.yes" if r.inside else "permit.no"),
                 _number(r.overlap_m2, 0, " m²"), _number(r.overlap_pct, 0),
                 retell(r.verdict) + (f"; {_named(r.permit)}" if r.permit else ""))
            )  # fmt: skip
    return columns, rows


def _distances(packet: Packet) -> Table:
    """One row per work area: how far the nearest of each kind is that it does not touch."""
    kinds = list(dict.fromkeys(packet.rules["kind"].tolist()))
    columns = [_col("area", 1), *(Column(retell(str(k), typed=True), 1.4, "right") for k in kinds)]
    rows = []
    for name in packet.areas["work_area"]:
        own = packet.rules[packet.rules["work_area"] == name]
        cells = []
        for kind in kinds:
            away = own.loc[own["kind"] == kind, "distance_m"]
            least = away.min() if len(away) else None
            cells.append("—" if least is None else say("permit.touched") if least == 0 else distance_text(float(least)))
        rows.append((name, *cells))
    return columns, rows


def _materials(packet: Packet) -> Table:
    columns = [_col("item", 2.6), _col("number", 0.8, "right"), _col("stays", 0.7), _col("removed", 1.2),
               _col("note", 2)]  # fmt: skip
    return columns, [(row[0], *(retell(cell, typed=True) for cell in row[1:])) for row in packet.materials]
