"""Where the work is: the coast and the harbour on one map, all work areas on another, each to scale."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from sitekit.base.wording import say, way_unit
from sitekit.outputs.paper.fonts import fitted
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.norths import draw_norths
from sitekit.outputs.paper.pen import Box, Pen
from sitekit.outputs.paper.scales import scale_bars, scale_text
from sitekit.outputs.permit_pdf import chart
from sitekit.outputs.permit_pdf import symbols as sign
from sitekit.outputs.permit_pdf.packet import Packet
from sitekit.outputs.permit_pdf.site_sheet import land
from sitekit.outputs.permit_pdf.window import Window, window_on

PANEL, CAPTION = 88.0, 11.0  # heights [pt]
LEGENDS = (13.0, 35.0)  # of the upper and the lower map
WIDE_SHARE = 0.4  # of the height goes to the upper map
LEAST_SYMBOL_PT = 5.0  # smaller outlines are drawn as marks


def vicinity_sheet(pen: Pen, number: int, total: int, frame: Frame, packet: Packet) -> None:
    """Draw the vicinity sheet: wide map above, close map below, norths and scale bars."""
    body = frame.body
    pen.colours = packet.colour
    title = say("permit.vicinity_scout" if packet.scout else "permit.vicinity")
    frame.draw(pen, number, total, title, say("paper.as_shown"))
    room = body[3] - body[1] - PANEL - 2 * CAPTION - LEGENDS[0] - LEGENDS[1]
    wide_box = (body[0], body[3] - CAPTION - WIDE_SHARE * room, body[2], body[3] - CAPTION)
    top = wide_box[1] - LEGENDS[0] - CAPTION
    close_box = (body[0], top - (1 - WIDE_SHARE) * room, body[2], top)
    extent = tuple(packet.areas.total_bounds)
    close = window_on(extent, close_box, margin=0.12)
    wide = window_on(_wide_bounds(packet, close), wide_box, margin=0.1)
    maps = [(say("permit.upper_map"), wide), (say("permit.lower_map"), close)]
    if _says_nothing(packet, wide):
        close = window_on(extent, (body[0], close_box[1], body[2], body[3] - CAPTION), margin=0.3)
        maps = [(say("permit.only_map"), close)]
    else:
        items = _map(pen, wide, packet, close)
        _caption(pen, wide, body, f"{say('permit.vicinity')}, {scale_text(wide.denominator)}{_harbour_text(packet)}")
        sign.legend(pen, (body[0], wide_box[1] - LEGENDS[0], body[2], wide_box[1] - 1), items)
    items = _map(pen, close, packet, None)
    named = say("permit.scout_areas_title" if packet.scout else "permit.work_areas_title")
    alone = "" if len(maps) > 1 else say("permit.nothing_near")
    _caption(pen, close, body, f"{named}, {scale_text(close.denominator)}{alone}")
    sign.legend(pen, (body[0], close_box[1] - LEGENDS[1], body[2], close_box[1] - 1), items)
    draw_norths(pen, body[0], body[1], packet.norths[""], (210.0, PANEL - 6))
    for k, (name, window) in enumerate(maps):
        x = body[0] + 222 + k * (body[2] - body[0] - 222) / 2
        scale_bars(pen, x, body[1] + 20, window.denominator, (body[2] - body[0] - 222) / 2 - 6)
        pen.text(x + 4, body[1] + 66, f"{name}, {scale_text(window.denominator)}", 6.5)


def _says_nothing(packet: Packet, wide: Window) -> bool:
    """Whether the wide map would be an empty box: no coast, harbour or nursery in it."""
    ground = shapely.box(*wide.ground)
    coast = packet.coast is not None and any(g.intersects(ground) for g in packet.coast.geometry)
    return not coast and not any(m.kind in ("harbour", "nursery") for m in packet.marks)


def _wide_bounds(packet: Packet, close: Window) -> Box:
    """Extent of the wide map: the close map, the harbour, the nursery, the nearest coast."""
    west, south, east, north = (float(v) for v in packet.areas.total_bounds)
    for mark in packet.marks:
        if mark.kind in ("harbour", "nursery"):
            west, east = min(west, mark.easting_m), max(east, mark.easting_m)
            south, north = min(south, mark.northing_m), max(north, mark.northing_m)
    a, b, c, d = close.ground
    west, south, east, north = min(west, a), min(south, b), max(east, c), max(north, d)
    if packet.coast is not None:
        reach = shapely.box(west, south, east, north)
        if not any(g.intersects(reach) for g in packet.coast.geometry):
            away = [float(g.distance(reach)) for g in packet.coast.geometry]
            if min(away) < 3 * max(east - west, north - south):
                near = shapely.shortest_line(reach, packet.coast.geometry.iloc[int(np.argmin(away))])
                a, b, c, d = near.bounds
                west, south, east, north = min(west, a), min(south, b), max(east, c), max(north, d)
    return west, south, east, north


def _map(pen: Pen, window: Window, packet: Packet, close: Window | None) -> chart.Legend:
    """Draw one of the two maps; the wide one shows the close one's edge."""
    areas: chart.Legend = []
    labels: list[tuple[Any, str]] = []
    with pen.clipped(shapely.box(*window.box)):
        if close is None:
            areas, names = chart.protected(pen, window, packet.protected)
            more, labels = chart.constraints(pen, window, packet.constraints)
            labels, areas = [*labels, *names], [*areas, *more]
        shown = packet.coast is not None and land(pen, window, packet.coast)
        lines = chart.graticule(pen, window, packet.crs, packet.datum)
        if close is not None:
            edge = window.shape(shapely.box(*close.ground))
            pen.outline(edge, 0.9, "dashed")
        else:
            for shape in packet.areas.geometry:
                pen.outline(window.shape(shape, clip=False), 1.2)
    edges: chart.Off = ()
    if close is None:
        shapes = shapely.transform(packet.areas.geometry.to_numpy(), window.points)
        edges = [shapely.union_all(shapely.boundary(shapes))]
        shapely.prepare(edges)
    _names(pen, window, packet, close, edges)
    for mark in packet.marks:
        if window.holds(mark.easting_m, mark.northing_m) and (mark.kind != "buoy" or close is None):
            x, y = window.points([(mark.easting_m, mark.northing_m)])[0]
            sign.MARKS[mark.kind](pen, x, y, 2.8)
            chart.numbered(pen, float(x), float(y), mark.name, 7.0, window.box, bold=False, off=edges)
    chart.name_areas(pen, window, labels, edges)
    chart.label_graticule(pen, window, lines)
    pen.box(window.box, 1.0)
    items: chart.Legend = []
    if close is None:
        named = say("permit.scout_area" if packet.scout else "permit.work_area")
        items.append((named, sign.line_swatch("full", 1.2)))
    else:
        items.append((say("permit.edge"), sign.area_swatch(None, "dashed", 0.9)))
    if shown:
        items.append((say("permit.land"), sign.area_swatch(sign.LAND, "full", 0.9)))
    kinds = dict.fromkeys(m.kind for m in packet.marks if window.holds(m.easting_m, m.northing_m))
    items += [
        (say(f"permit.mark_{k}"), sign.mark_swatch(sign.MARKS[k], 2.4)) for k in kinds if k != "buoy" or close is None
    ]
    return [*items, *areas]


def _names(pen: Pen, window: Window, packet: Packet, close: Window | None, edges: chart.Off) -> None:
    if close is not None:
        west, south, east, north = window.shape(shapely.box(*close.ground)).bounds
        label = say("permit.scout_areas" if packet.scout else "permit.work_areas")
        middle = ((west + east) / 2, (south + north) / 2)
        gap = max(north - south, 4) / 2
        places: list[Any] = [(middle[0], north + 4, "centre"), (middle[0], south - 10, "centre"),
                             (middle[0], middle[1] + gap + 12, "centre")]  # fmt: skip
        if pen.try_text(places, label, 7.0, bold=True, inside=window.box) is None:
            chart.numbered(pen, middle[0], middle[1], label, 7.0, window.box)
        return
    for name, shape in zip(packet.areas["work_area"], packet.areas.geometry, strict=True):
        spot = shape.representative_point()
        x, y = window.points([(spot.x, spot.y)])[0]
        west, south, east, north = shape.bounds
        across = max(east - west, north - south) * window.per_metre
        if across < LEAST_SYMBOL_PT:
            sign.diamond(pen, x, y, 2.4, fill=1.0)
        if min(east - west, north - south) * window.per_metre > 24 and pen.try_text(
            [(float(x), float(y) - 2.5, "centre")], str(name), 7.0, bold=True, inside=window.box, off=edges[-1]
        ):
            continue
        chart.numbered(pen, float(x), float(y), str(name), 7.0, window.box, off=edges, clear=min(across / 2, 14.0))


def _harbour_text(packet: Packet) -> str:
    away = packet.areas["harbour_m"].dropna()
    harbour = next((m.name for m in packet.marks if m.kind == "harbour"), "")
    if not len(away) or not harbour:
        return ""
    return say("permit.to_harbour", span=way_span(float(away.min()), float(away.max())), harbour=harbour)


def way_span(least_m: float, most_m: float) -> str:
    """Return a range of ways [m] in kilometres or nautical miles to a tenth."""
    unit, per = way_unit()
    low, high = f"{least_m / per:.1f}", f"{most_m / per:.1f}"
    return f"{low} {unit}" if low == high else say("permit.span", low=low, high=high, unit=unit)


def _caption(pen: Pen, window: Window, body: Box, text: str) -> None:
    fit = fitted(
        text, (body[2] - body[0], CAPTION), sizes=(8, 7, 6.5, 6, 5.5, 5), bold=True, where="caption of the vicinity"
    )
    pen.lines(body[0], window.box[3] + CAPTION, fit)
