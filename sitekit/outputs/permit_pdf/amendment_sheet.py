"""What changed since an earlier packet, on one sheet: old and new outlines, old and new figures, the reason."""

from __future__ import annotations

from typing import Any

import shapely

from sitekit.base.wording import retell, say
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

MOST_MAPS = 4  # more outlines stand on one map together
# height of a map [pt], columns of the table, size of its letters [pt]: the first that fits is taken
_LAYOUTS = (
    (280.0, 1, 7.0), (190.0, 1, 7.0), (150.0, 1, 7.0), (190.0, 2, 6.5), (150.0, 2, 6.5), (120.0, 2, 6.5), (120.0, 2, 6.0),
    (90.0, 2, 6.0), (90.0, 2, 5.5), (0.0, 2, 5.5), (0.0, 2, 5.0),
)  # fmt: skip
Row = tuple[str, str, str]


def amendment_sheet(pen: Pen, number: int, total: int, frame: Frame, packet: Packet) -> None:
    """Draw the amendment sheet; the table is set as small as it must to stay on one sheet.

    Raises
    ------
    InputFault
        If more changed than one sheet holds: then it is no amendment but another packet.
    """
    frame.draw(pen, number, total, say("permit.amendment", revision=packet.block.revision), say("paper.as_shown"))
    left, bottom, right, top = frame.body
    fit = fitted(packet.amends, (right - left, 40), sizes=(8, 7, 6, 5.5), where="reason of the amendment")
    pen.lines(left, top - 2, fit)
    top -= fit.height + 8
    listed = _listed(packet)
    together = len(packet.changed) > MOST_MAPS
    across = 1 if len(packet.changed) == 1 or together else 2
    deep = 1 if together else (len(packet.changed) + across - 1) // across
    for high, columns, size in _LAYOUTS:
        maps = deep * (high + (4 if together else 16)) + 18 if packet.changed and high else 0.0
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
        _legend(pen, (left, top - maps, right, top - maps + 18))
        top -= maps
    if not listed:
        pen.text(left, top - 10, say("permit.unchanged"), 8)
    for k, table in enumerate(tables):
        table.draw(pen, left + k * (table.room + 8), top, 0, table.pieces())


Fact = tuple[str, str, str, str]  # heading, what, in the earlier packet, in this one


def _listed(packet: Packet) -> list[Fact]:
    """The changes by work area; one that is new or withdrawn is a heading alone, fragments stand where they are not units."""
    found: list[Fact] = []
    last: Any = None
    for r in rows_of(packet.amendments):
        name = retell(str(r.work_area), typed=True)
        if r.what == "work area":
            new = r.old == "none"
            said = (
                say("permit.area_new", name=name, area=r.new) if new else say("permit.area_gone", name=name, area=r.old)
            )
            found.append((said, "", "", ""))
        elif not (last is not None and str(r.what) == str(last.what).replace("units", "fragments")
                  and (r.work_area, r.old, r.new) == (last.work_area, last.old, last.new)):  # fmt: skip
            old, new = (retell(str(v), typed=True) for v in (r.old, r.new))
            found.append((name, retell(str(r.what)), old, new))
        last = r
    return found


def _halves(listed: list[Fact], columns: int, room: float, size: float) -> list[Listing]:
    """The table of changes in one or two columns, facts of a work area below its name."""
    if not listed:
        return []
    each = (sum(bool(r[1]) for r in listed) + len({r[0] for r in listed}) + columns - 1) // columns + 1
    wide = (room - 8 * (columns - 1)) / columns
    parts: list[list[Row]] = [[]]
    last = ""
    for name, what, old, new in listed:
        if len(parts[-1]) + (name != last) >= each and len(parts) < columns:
            parts.append([(say("paper.continued", title=name), "", "")] if name == last else [])
        if name != last:
            parts[-1].append((name, "", ""))
            last = name
        if what:
            parts[-1].append((what, old, new))
    titles = zip(("fact_of_area", "earlier_packet", "this_packet"), (1.2, 2.6, 2.6), strict=True)
    heads = [Column(say(f"permit.{name}"), share) for name, share in titles]
    return [Listing(heads, part, wide, size=size, after=0.0, lead=1.4, headings=True) for part in parts if part]


def _maps(pen: Pen, box: Any, packet: Packet, across: int, high: float) -> None:
    """Old and new outlines of the work areas that changed: each on a map of its own, or all on one."""
    left, _, right, top = box
    wide = (right - left - 8 * (across - 1)) / across
    if len(packet.changed) > MOST_MAPS:
        _all_changes(pen, (left, top - high, right, top - 10), packet)
        return
    for k, (name, old, new) in enumerate(packet.changed):
        x, y = left + (k % across) * (wide + 8), top - (k // across) * (high + 16)
        _overlay(pen, (x, y - high, x + wide, y - 10), name, old, new, packet)


def _all_changes(pen: Pen, box: Any, packet: Packet) -> None:
    """All changed outlines on one map, with their names."""
    pairs: list[tuple[str, list[Any]]] = [
        (name, [g for g in (old, new) if g is not None]) for name, old, new in packet.changed
    ]
    west, south, east, north = shapely.total_bounds([g for _, both in pairs for g in both]).tolist()
    window = window_on((west, south, east, north), box, margin=0.08)
    with pen.clipped(shapely.box(*box)):
        lines = chart.graticule(pen, window, packet.crs, packet.datum)
        for _, old, new in packet.changed:
            _both(pen, window, old, new, 0.6)
    borders = [shapely.union_all([window.shape(g, clip=False).boundary for _, both in pairs for g in both])]
    shapely.prepare(borders)
    for name, both in pairs:
        x, y = window.points([both[-1].representative_point().coords[0]])[0]
        west, south, east, north = both[-1].bounds
        clear = min(max(east - west, north - south) * window.per_metre / 2, 14.0)
        chart.numbered(pen, float(x), float(y), str(name), 7.0, box, off=borders, clear=clear)
    chart.label_graticule(pen, window, lines)
    pen.box(box, 0.8)
    word = say("permit.areas_changed", number=len(packet.changed), scale=scale_text(window.denominator))
    pen.text(box[0], box[3] + 3, word, 7.5, bold=True)


def _both(pen: Pen, window: Any, old: Any, new: Any, weight: float = 1.0) -> None:
    if old is not None:
        pen.outline(window.shape(old), weight, "dashed")
    if new is not None:
        pen.outline(window.shape(new), 1.6 * weight)


def _legend(pen: Pen, box: Any) -> None:
    items: list[Any] = [
        (say("permit.earlier_outline"), sign.line_swatch("dashed", 1.0)),
        (say("permit.outline_now"), sign.line_swatch("full", 1.6)),
    ]
    sign.legend(pen, box, items)


def _overlay(pen: Pen, box: Any, name: str, old: Any, new: Any, packet: Packet) -> None:
    both = shapely.union_all([g for g in (old, new) if g is not None])
    window = window_on(both.bounds, box, margin=0.15)
    with pen.clipped(shapely.box(*box)):
        lines = chart.graticule(pen, window, packet.crs, packet.datum)
        _both(pen, window, old, new)
    own = packet.corners[packet.corners["work_area"] == name] if new is not None else packet.corners.iloc[:0]
    borders = [shapely.boundary(window.shape(both, clip=False))]
    for c in rows_of(own):
        x, y = window.points([(c.easting_m, c.northing_m)])[0]
        sign.corner(pen, x, y)
        chart.numbered(pen, float(x), float(y), str(c.corner), 7.0, box, off=borders)
    chart.label_graticule(pen, window, lines)
    pen.box(box, 0.8)
    word = "new" if old is None else "withdrawn" if new is None else "changed"
    said = say(f"permit.map_{word}", name=name, scale=scale_text(window.denominator))
    pen.text(box[0], box[3] + 3, said, 7.5, bold=True)
