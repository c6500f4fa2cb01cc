"""What changed since an earlier packet, on one sheet: old and new outlines, old and new figures, the reason."""

from __future__ import annotations

from typing import Any

import shapely

from sitekit.errors import Fault, InputFault
from sitekit.outputs.paper.fonts import fitted
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.listing import Column, Listing
from sitekit.outputs.paper.pen import Pen
from sitekit.outputs.paper.scales import scale_text
from sitekit.outputs.permit_pdf import chart
from sitekit.outputs.permit_pdf import symbols as sign
from sitekit.outputs.permit_pdf.packet import Packet, rows_of
from sitekit.outputs.permit_pdf.window import window_on

MOST_MAPS = 4
# height of a map [pt], columns of the table, size of its letters [pt]: the first that fits is taken
_LAYOUTS = (
    (190.0, 1, 7.0), (150.0, 1, 6.5), (150.0, 2, 6.0), (120.0, 2, 5.8), (90.0, 2, 5.5), (0.0, 2, 5.5), (0.0, 2, 5.0),
)  # fmt: skip
_COLUMNS = (Column("area", 0.8), Column("what", 1), Column("in the earlier packet", 2), Column("in this packet", 2))


def amendment_sheet(pen: Pen, number: int, total: int, frame: Frame, packet: Packet) -> None:
    """Draw the amendment sheet; the table is set as small as it must to stay on one sheet.

    Raises
    ------
    InputFault
        If more changed than one sheet holds: then it is no amendment but another packet.
    """
    frame.draw(pen, number, total, f"Amendment, revision {packet.block.revision}", "as shown")
    left, bottom, right, top = frame.body
    fit = fitted(packet.amends, (right - left, 40), sizes=(8, 7, 6, 5.5), where="reason of the amendment")
    pen.lines(left, top - 2, fit)
    top -= fit.height + 8
    listed = [(r.work_area, r.what, r.old, r.new) for r in rows_of(packet.amendments)]
    shown = packet.changed[:MOST_MAPS]
    across = 1 if len(shown) == 1 else 2
    deep = (len(shown) + across - 1) // across
    for high, columns, size in _LAYOUTS:
        maps = deep * (high + 16) + 18 if shown and high else 0.0
        tables = _halves(listed, columns, right - left, size)
        if top - maps - max((t.height(0, t.pieces()) for t in tables), default=12.0) >= bottom:
            break
    else:
        raise InputFault(
            Fault("permit[1].amends", f"{len(listed)} facts changed", "what one sheet holds",
                  "Hand in a new packet instead of an amendment: take `amends` out.")
        )  # fmt: skip
    if maps:
        _maps(pen, (left, bottom, right, top), packet, across, high)
        top -= maps
    if not listed:
        pen.text(left, top - 10, "Nothing changed: corners, areas and counts are as in the earlier packet.", 8)
    for k, table in enumerate(tables):
        table.draw(pen, left + k * (table.room + 8), top, 0, table.pieces())


def _halves(listed: list[Any], columns: int, room: float, size: float) -> list[Listing]:
    """The table of changes in one or two columns."""
    if not listed:
        return []
    each = (len(listed) + columns - 1) // columns
    wide = (room - 8 * (columns - 1)) / columns
    return [Listing(_COLUMNS, listed[k : k + each], wide, size=size, after=0.0) for k in range(0, len(listed), each)]


def _maps(pen: Pen, box: Any, packet: Packet, across: int, high: float) -> None:
    """Old and new outlines of the work areas that changed, and their legend."""
    left, _, right, top = box
    wide = (right - left - 8 * (across - 1)) / across
    for k, (name, old, new) in enumerate(packet.changed[:MOST_MAPS]):
        x, y = left + (k % across) * (wide + 8), top - (k // across) * (high + 16)
        _overlay(pen, (x, y - high, x + wide, y - 10), name, old, new, packet)
    low = top - (len(packet.changed[:MOST_MAPS]) + across - 1) // across * (high + 16)
    items: list[Any] = [
        ("earlier outline", sign.line_swatch("dashed", 1.0)),
        ("outline now", sign.line_swatch("full", 1.6)),
    ]
    sign.legend(pen, (left, low - 12, right, low), items)


def _overlay(pen: Pen, box: Any, name: str, old: Any, new: Any, packet: Packet) -> None:
    both = shapely.union_all([g for g in (old, new) if g is not None])
    window = window_on(both.bounds, box, margin=0.15)
    with pen.clipped(shapely.box(*box)):
        lines = chart.graticule(pen, window, packet.crs, packet.datum)
        if old is not None:
            pen.outline(window.shape(old), 1.0, "dashed")
        if new is not None:
            pen.outline(window.shape(new), 1.6)
    own = packet.corners[packet.corners["work_area"] == name] if new is not None else packet.corners.iloc[:0]
    for c in rows_of(own):
        x, y = window.points([(c.easting_m, c.northing_m)])[0]
        sign.corner(pen, x, y)
        chart.numbered(pen, float(x), float(y), str(c.corner), 6.5, box)
    chart.label_graticule(pen, window, lines)
    pen.box(box, 0.8)
    word = "new" if old is None else "withdrawn" if new is None else "changed"
    pen.text(box[0], box[3] + 3, f"{name}, {word}, {scale_text(window.denominator)}", 7.5, bold=True)
