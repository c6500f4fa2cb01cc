"""The tables of the packet over as many sheets as they need: areas, planting, caps, rules, what stays, what is open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from sitekit.outputs.paper.fonts import width
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.listing import TITLE_PT, Block, Column, Listing, Placed, Words
from sitekit.outputs.paper.pen import Pen
from sitekit.outputs.permit_pdf.packet import Packet, rows_of

CORNERS_IN_ONE = 40  # more stand two in a row, in smaller letters
ALL_CORNERS_TITLE = "Corners that are not listed, or not in degrees, on their own sheets"
AREAS_NOTE = (
    "Areas are those between the corners as printed in minutes. “Differs by”: the larger difference from the area between "
    "the corners as printed in degrees, and from that of the outline as drawn."
)


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
            blocks.append(Words("None.", room, 7.5, after=6.0))

    kind = "Areas to scout" if packet.scout else "Work areas"
    table(f"{kind}, areas on the ellipsoid, {packet.datum_name}", *_areas(packet))
    blocks.append(Words(AREAS_NOTE, room, 6.8, after=4.0))
    many = packet.corners[packet.corners["work_area"].isin(corners_of)]
    if len(many):
        table(ALL_CORNERS_TITLE, *_corners(many))
    if not packet.scout:
        table("Planting", *_planting(packet))
        for permit in dict.fromkeys(packet.permitted["permit"].tolist()):
            own = packet.permitted[packet.permitted["permit"] == permit]
            table(f"Planned and permitted: {permit}", *_permitted(own))
    table("Rules: what each area touches or must keep clear of", *_rules(packet))
    if len(packet.rules):
        table("Distance from each area to the nearest of each kind, on the ellipsoid", *_distances(packet))
    if not packet.scout:
        table("What is brought to the bottom, what stays, what is removed by when", *_materials(packet))
        if packet.counted:
            table("Counts of the day plan, spares included", [Column("item", 1.6), Column("number", 0.8, "right"),
                  Column("how counted", 4)], list(packet.counted))  # fmt: skip
        buoys = [m for m in packet.marks if m.kind == "buoy"]
        if buoys:
            table("Marker buoys", [Column("buoy", 1), Column("position", 2.4), Column("what", 3)],
                  [(m.name, m.position, m.note) for m in buoys])  # fmt: skip
        table("Monitoring", [Column("when", 1), Column("what", 3)], list(packet.monitoring))
    if packet.facts:
        table("Facts as the team states them", [Column("fact", 1), Column("statement", 4)], list(packet.facts))
    if packet.conditions:
        blocks.append(Words("Conditions of the permit", room, TITLE_PT, bold=True, after=2.0))
        blocks += [Words(f"{k}. {c}", room, 7.2, after=2.0) for k, c in enumerate(packet.conditions, start=1)]
    blocks.append(
        Words("Open items" + ("" if len(packet.open_items) else ": none"), room, TITLE_PT, bold=True, after=2.0)
    )
    if len(packet.open_items):
        rows = [(r.kind, r.item, r.place) for r in rows_of(packet.open_items)]
        blocks.append(
            Listing([Column("kind", 1), Column("item", 4.6), Column("where it belongs", 2)], rows, room, size=6.8)
        )
    blocks.append(Words("Cautions", room, TITLE_PT, bold=True, after=2.0))
    blocks += [Words(c, room, 7.2, after=1.5) for c in (*packet.cautions, *packet.notes)]
    return blocks


def draw_tables(pen: Pen, number: int, total: int, frame: Frame, title: str, placed: Sequence[Placed]) -> None:
    """Draw one sheet of tables."""
    frame.draw(pen, number, total, title)
    for block, start, stop, top in placed:
        block.draw(pen, frame.body[0], top, start, stop)


Table = tuple[list[Column], list[Any]]


def _number(value: Any, decimals: int, unit: str = "") -> str:
    return "—" if value is None or pd.isna(value) else f"{float(value):,.{decimals}f}{unit}"


def _span(low: Any, high: Any, decimals: int) -> str:
    return "—" if pd.isna(low) else f"{float(low):.{decimals}f}–{float(high):.{decimals}f}"


def _areas(packet: Packet) -> Table:
    columns = [
        Column("area", 1.2), Column("name", 2.2), Column("m²", 1.2, "right"), Column("ha", 1, "right"),
        Column("acres", 1, "right"), Column("differs by, m²", 1.2, "right"), Column("corners", 1.1, "right"),
        Column("plots", 0.8, "right"), Column("units", 0.8, "right"), Column("depth, m", 1.3, "right"),
        Column("to harbour, km", 1.3, "right"),
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
            _span(r.depth_min_m, r.depth_max_m, 1),
            _number(None if pd.isna(r.harbour_m) else r.harbour_m / 1000, 2),
        )
        for r in rows_of(packet.areas)
    ]
    total = packet.areas[["area_m2", "area_ha", "area_acre"]].sum()
    rows.append(
        ("all", "", _number(total["area_m2"], 0), _hectares(total["area_ha"]), _hectares(total["area_acre"]), "",
         int(packet.areas["corners"].sum()), int(packet.areas["plots"].sum()), int(packet.areas["units"].sum()), "", "")
    )  # fmt: skip
    empty = {"name"} if packet.areas["name"].isna().all() else set()
    if packet.scout:  # nothing is planted there yet
        empty |= {"plots", "units", "depth, m"}
    shown = [k for k, c in enumerate(columns) if c.title not in empty]
    return [columns[k] for k in shown], [tuple(row[k] for k in shown) for row in rows]


def _hectares(value: float) -> str:
    """Hectares or acres to a square metre or so where areas are small; five figures at most where they are large."""
    decimals = next((d for limit, d in ((10.0, 4), (100.0, 3), (1000.0, 2)) if value < limit), 1)
    return _number(value, decimals)


def _corners(many: pd.DataFrame) -> tuple[list[Column], list[Any], float]:
    """Columns as wide as what stands in them, rows and size of letters; many corners stand two in a row."""
    titles = ("area", "no.", "latitude", "longitude", "lat., deg.", "long., deg.")
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
        Column("site", 0.8), Column("species", 1), Column("plots", 0.7, "right"), Column("plots, m²", 0.9, "right"),
        Column("units", 0.7, "right"), Column("fragments", 1, "right"), Column("genets", 0.8, "right"),
        Column("per m²", 0.8, "right"), Column("size, cm", 1, "right"), Column("parent colonies from", 2.6),
    ]  # fmt: skip
    return columns, [
        (
            r.site, r.species, r.plots, _number(r.plot_area_m2, 0), r.units, r.fragments, r.genets,
            _number(r.density_per_m2, 2), _span(r.size_min_cm, r.size_max_cm, 0), r.regions,
        )
        for r in rows_of(packet.planting)
    ]  # fmt: skip


def _permitted(own: pd.DataFrame) -> Table:
    columns = [Column("what", 3), Column("planned", 2.2), Column("permitted", 2.6), Column("kept", 0.6)]
    return columns, [(r.what, r.planned, r.permitted, "yes" if r.kept else "NO") for r in rows_of(own)]


def _rules(packet: Packet) -> Table:
    columns = [Column("area", 0.75), Column("meets", 2.5), Column("rule", 1.25), Column("inside", 0.6),
               Column("overlap", 0.95, "right"), Column("%", 0.45, "right"), Column("verdict; permit", 3.6)]  # fmt: skip
    rows: list[Any] = []
    for name in packet.areas["work_area"]:
        own = packet.rules[packet.rules["work_area"] == name]
        touched = own[(own["distance_m"] == 0) | own["decides"]]
        for r in rows_of(touched):
            rule = r.rule if pd.isna(r.keep_clear_m) else f"keep clear {r.keep_clear_m:g} m"
            first = " (decides)" if r.decides and r.kind == "protected area" and len(touched) > 1 else ""
            rows.append(
                (name, f"{r.name}, {r.kind}", f"{rule}{first}", "yes" if r.inside else "no",
                 _number(r.overlap_m2, 0, " m²"), _number(r.overlap_pct, 0),
                 f"{r.verdict}" + (f"; {r.permit}" if r.permit else ""))
            )  # fmt: skip
    return columns, rows


def _distances(packet: Packet) -> Table:
    """One row per work area: how far the nearest of each kind is that it does not touch."""
    kinds = list(dict.fromkeys(packet.rules["kind"].tolist()))
    columns = [Column("area", 1), *(Column(str(k), 1.4, "right") for k in kinds)]
    rows = []
    for name in packet.areas["work_area"]:
        own = packet.rules[packet.rules["work_area"] == name]
        cells = []
        for kind in kinds:
            away = own.loc[own["kind"] == kind, "distance_m"]
            cells.append("—" if not len(away) else "touched" if away.min() == 0 else f"{away.min():,.0f} m")
        rows.append((name, *cells))
    return columns, rows


def _materials(packet: Packet) -> Table:
    columns = [Column("item", 2.6), Column("number", 0.8, "right"), Column("stays", 0.7), Column("removed by", 1.2),
               Column("note", 2)]  # fmt: skip
    return columns, list(packet.materials)
