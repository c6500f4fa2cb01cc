"""All sheets of the packet into one file: vicinity, sites, amendment, tables; whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

from sitekit.base.files import write_bytes
from sitekit.base.wording import say
from sitekit.outputs.paper.book import PAPERS, Draw, book_bytes
from sitekit.outputs.paper.fonts import check_scripts
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.listing import paginate
from sitekit.outputs.permit_pdf.amendment_sheet import amendment_sheet
from sitekit.outputs.permit_pdf.packet import Packet
from sitekit.outputs.permit_pdf.site_sheet import CORNERS_SHOWN, site_groups, site_sheet
from sitekit.outputs.permit_pdf.table_sheets import draw_tables, table_blocks
from sitekit.outputs.permit_pdf.vicinity_sheet import vicinity_sheet


def write_packet(path: Path, packet: Packet) -> int:
    """Write the packet as PDF; return how many sheets it has.

    Raises
    ------
    InputFault
        If a text does not fit its box or is in a script the font lacks; nothing is written then.
    FileFault
        If the file cannot be written.
    """
    data, sheets = packet_bytes(packet)
    write_bytes(path, data)
    return sheets


def packet_bytes(packet: Packet) -> tuple[bytes, int]:
    """Return the PDF and the number of its sheets; the same packet gives the same bytes."""
    check_scripts(_texts(packet))
    frame = Frame(PAPERS[packet.paper], packet.block, packet.stamps, packet.small_print)
    groups = site_groups(packet) if len(packet.areas) else []
    long = [g for g in groups if int(packet.corners["work_area"].isin(g).sum()) > CORNERS_SHOWN]
    body = frame.body
    blocks = table_blocks(packet, body[2] - body[0], corners_of=[n for g in long for n in g])
    pages = paginate(blocks, body)
    before = (1 if len(packet.areas) else 0) + len(groups) + (1 if packet.amends else 0)
    corners_on = say("permit.on_sheet", number=before + 1)
    sheets: list[Draw] = []
    if len(packet.areas):
        sheets.append(partial(vicinity_sheet, frame=frame, packet=packet))
    sheets += [partial(site_sheet, frame=frame, packet=packet, names=g, corners_on=corners_on) for g in groups]
    if packet.amends:
        sheets.append(partial(amendment_sheet, frame=frame, packet=packet))
    for k, placed in enumerate(pages, start=1):
        title = say("permit.tables") if len(pages) == 1 else say("permit.tables_of", number=k, total=len(pages))
        sheets.append(partial(draw_tables, frame=frame, title=title, placed=placed))
    data = book_bytes(
        sheets,
        frame.size,
        title=say("permit.title", activity=packet.block.activity or say("told.not_stated")),
        subject=packet.block.water_body,
    )
    return data, len(sheets)


def _texts(packet: Packet) -> Iterator[tuple[str, object]]:
    """Every text that is printed, with the place it comes from."""
    block = packet.block
    for name in ("applicant", "file_number", "water_body", "activity", "revision"):
        yield f"title block, {name}", getattr(block, name)
    for where, frame, columns in (
        ("work area", packet.areas, ("work_area", "name", "note")),
        ("work_rules", packet.rules, ("name", "kind", "permit", "verdict")),
        ("permitted", packet.permitted, ("permit", "what", "planned", "permitted")),
        ("planting", packet.planting, ("site", "species", "regions")),
        ("open_items", packet.open_items, ("item",)),
        ("amendments", packet.amendments, ("work_area", "old", "new")),
        ("plots", packet.plots, ("plot",)),
    ):
        for column in columns:
            for value in dict.fromkeys(frame[column].tolist()) if len(frame) else ():
                yield f"{where}, {column}", value
    for kind, rows in (
        ("materials", packet.materials),
        ("materials", packet.counted),
        ("monitoring", packet.monitoring),
        ("facts", packet.facts),
    ):
        yield from ((kind, cell) for row in rows for cell in row)
    yield from (("conditions", c) for c in (*packet.conditions, *packet.notes, *packet.small_print, packet.amends))
    yield from ((m.kind, m.name) for m in packet.marks)
    for frame in (packet.protected, packet.constraints):
        if frame is not None:
            yield from (
                (f"layer, {column}", v) for column in ("name", "label") if column in frame for v in _all(frame[column])
            )


def _all(values: Any) -> list[Any]:
    return list(dict.fromkeys(values.tolist()))
