"""One site on one sheet: plan view to scale, legend, numbered corners, norths, scale bars, section view."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sitekit.base.wording import length_unit, say
from sitekit.outputs.paper.fonts import fitted, width
from sitekit.outputs.paper.frame import Frame
from sitekit.outputs.paper.hatches import hatch
from sitekit.outputs.paper.listing import Column, Listing
from sitekit.outputs.paper.norths import draw_norths
from sitekit.outputs.paper.pen import Box, Pen
from sitekit.outputs.paper.scales import scale_bars, scale_text
from sitekit.outputs.permit_pdf import chart
from sitekit.outputs.permit_pdf import symbols as sign
from sitekit.outputs.permit_pdf.packet import Packet, rows_of
from sitekit.outputs.permit_pdf.section_view import section
from sitekit.outputs.permit_pdf.window import Window, window_on

CUT = "X"  # letter of the ends of the section; work areas have A, B, C
PANEL, LEGEND, SECTION = 121.0, 34.0, 128.0  # heights [pt]
LIST_WIDTH = 336.0  # of the list of corners [pt]
LIST_PT, LIST_LEAD = (
    7.0,
    1.6,
)  # its letters, and the room between its rows: 8 and 5 of smaller ones look alike in a copy
PLOT_WIDTHS_PT = (4.0, 3.0, 2.0, 1.4)  # least width of a plot on its sheet: the first that keeps the sheets few
MOST_SITE_SHEETS = 10  # 14 sheets in all, with the vicinity and three of tables (issue: reach)
COLONY_PT = 1.6  # half the width of a colony's mark
LEADER_PT = 7.0  # a name farther from its plot is joined to it by a line
CORNERS_SHOWN, MINUTES_SHOWN = 8, 18  # in both notations, and in minutes only, in two columns


def site_groups(packet: Packet) -> list[list[str]]:
    """Return the work areas of each site sheet: as many of a site together as leave its plots wide enough to see."""
    groups: list[list[str]] = []
    for least in PLOT_WIDTHS_PT:
        groups = [g for site in dict.fromkeys(packet.areas["site"].tolist()) for g in _together(packet, site, least)]
        if len(groups) <= max(MOST_SITE_SHEETS, packet.areas["site"].nunique()):
            break
    return groups


def _together(packet: Packet, site: str, least: float) -> list[list[str]]:
    rows = packet.areas[packet.areas["site"] == site]
    own = packet.plots[packet.plots["site"] == site]
    narrow = float(own["width_m"].min()) if len(own) else float("inf")
    box = (0.0, 0.0, 523.0, 280.0)
    names, shapes = [str(n) for n in rows["work_area"]], list(rows.geometry)
    left, groups = list(range(len(names))), []
    while left:
        group = [left.pop(0)]
        away = dict(zip(left, shapely.distance(shapes[group[0]], [shapes[k] for k in left]), strict=True))
        while left:
            near = min(left, key=lambda k: (away[k], k))
            west, south, east, north = shapely.total_bounds([shapes[k] for k in (*group, near)])
            if narrow * window_on((west, south, east, north), box).per_metre < least:
                break
            group.append(near)
            left.remove(near)
            away = {k: min(away[k], shapes[near].distance(shapes[k])) for k in left}
        groups.append([names[k] for k in sorted(group)])
    return groups


def site_sheet(
    pen: Pen, number: int, total: int, frame: Frame, packet: Packet, names: Sequence[str], corners_on: str
) -> None:
    """Draw the sheet of a site.

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    number, total : int
        Sheet n of N.
    frame : Frame
        Of the packet.
    packet : Packet
        What to show.
    names : sequence of str
        Work areas on this sheet, all of one site.
    corners_on : str
        Where corners stand that do not fit here, e.g. `"sheet 12"`.
    """
    rows = packet.areas[packet.areas["work_area"].isin(names)]
    body = frame.body
    pen.colours = packet.colour
    box = (body[0], body[1] + SECTION + PANEL + LEGEND + 12, body[2], body[3] - 2)
    window = window_on(tuple(rows.total_bounds), box)
    first = rows.iloc[int(rows["units"].to_numpy().argmax())]
    everything = packet.areas[packet.areas["site"] == first["site"]]
    what = (
        str(first["site"]) if len(names) == len(everything) else ", ".join(names[:4]) + (" …" if len(names) > 4 else "")
    )
    heading = say("permit.area_to_scout" if packet.scout else "permit.plan_and_section", what=what)
    title = heading + (f", {first['name']}" if first["name"] else "")
    frame.draw(pen, number, total, title, scale_text(window.denominator))
    items = plan_view(pen, window, packet, rows)
    bottom = box[1] - 4
    sign.legend(pen, (body[0], bottom - LEGEND, body[2], bottom), items)
    panel = (body[0], body[1] + SECTION + 4, body[2], body[1] + SECTION + 4 + PANEL)
    _corner_list(pen, (panel[0], panel[1], panel[0] + LIST_WIDTH, panel[3]), packet, rows, corners_on)
    _norths(pen, (panel[0] + LIST_WIDTH + 6, panel[1], panel[2], panel[3]), packet, str(first["work_area"]), window)
    section(pen, (body[0], body[1], body[2], body[1] + SECTION), packet, str(first["work_area"]), CUT)


def plan_view(pen: Pen, window: Window, packet: Packet, rows: Any) -> chart.Legend:
    """Draw the map; return its legend."""
    depths: list[tuple[float, Any]] = []
    interval = 0.0
    ground = shapely.box(*window.ground)
    plots = packet.plots_at(ground)
    edges = _edges(window, rows, plots, packet.existing)
    with pen.clipped(shapely.box(*window.box)):
        areas, names = chart.protected(pen, window, packet.protected)
        more, labels = chart.constraints(pen, window, packet.constraints)
        if packet.coast is not None:
            land(pen, window, packet.coast)
        for name in rows["work_area"]:
            if not interval:
                interval, depths = chart.contours(pen, window, packet.sea.get(str(name)))
        lines = chart.graticule(pen, window, packet.crs, packet.datum)
        _existing(pen, window, packet)
        for shape in rows.geometry:
            pen.outline(window.shape(shape, clip=False), 1.7)
        _plots(pen, window, plots)
    _corners(pen, window, packet, rows, edges)
    cut = _cut_line(pen, window, packet, rows, edges)
    _plot_names(pen, window, plots, edges)
    _marks(pen, window, packet, edges)
    chart.name_areas(pen, window, [*labels, *names], edges)
    chart.label_contours(pen, window, depths, edges)
    chart.label_graticule(pen, window, lines)
    pen.box(window.box, 1.0)
    items: chart.Legend = [
        (say("permit.area_corners", area=say("permit.scout_area" if packet.scout else "permit.work_area")),
         sign.line_swatch("full", 1.7)),
    ]  # fmt: skip
    roles = {r.role for r in plots}
    for role in ("planted", "control", "reference"):
        if role in roles:
            style, weight = sign.PLOTS[role]
            items.append((say(f"permit.plot_{role}"), sign.area_swatch(None, style, weight)))
    if cut:
        items.append((say("permit.cut", ends=f"{CUT}–{CUT}′"), sign.line_swatch("dash-dot", 0.7)))
    if roles:
        items += [
            (say("permit.first_pin"), sign.mark_swatch(sign.pin, True)),
            (say("permit.second_pin"), sign.mark_swatch(sign.pin, False)),
        ]
    if packet.existing is not None and len(packet.existing):
        origins = set(packet.existing["origin"][packet.existing.geometry.intersects(ground)].astype(str))
        if "wild" in origins:
            items.append((say("permit.wild"), sign.mark_swatch(sign.colony, True)))
        if origins - {"wild"}:
            items.append((say("permit.outplant"), sign.mark_swatch(sign.colony, False)))
    for kind in dict.fromkeys(m.kind for m in packet.marks if window.holds(m.easting_m, m.northing_m)):
        items.append((say(f"permit.mark_{kind}"), sign.mark_swatch(sign.MARKS[kind], 2.4)))
    if interval:
        unit = length_unit()[0]
        said = say("permit.contours", interval=f"{interval:g}", unit=unit, datum=packet.water.datum)
        items.append((said, sign.line_swatch("full", 0.4)))
    return [*items, *areas, *more]


def land(pen: Pen, window: Window, coast: Any) -> bool:
    """Draw land or shore lines; return whether any is in the map."""
    ground, seen = shapely.box(*window.ground), False
    for shape in coast.geometry:
        if not shape.intersects(ground):
            continue
        seen = True
        inside = window.shape(shape)
        polygons = shapely.MultiPolygon([p for p in shapely.get_parts(inside) if p.geom_type == "Polygon"])
        if not polygons.is_empty:
            hatch(pen, polygons, sign.LAND)
            border = shape.boundary.intersection(ground)
        else:
            border = shape.intersection(ground)
        sign.lines(pen, window.shape(border, clip=False), 0.9, "full")
    return seen


def _existing(pen: Pen, window: Window, packet: Packet) -> None:
    if packet.existing is None:
        return
    wild = packet.existing["origin"].to_numpy() == "wild"
    west, south, east, north = window.ground
    x, y = packet.existing.geometry.x.to_numpy(), packet.existing.geometry.y.to_numpy()
    seen = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    spots = np.round(window.points(np.column_stack([x[seen], y[seen]])), 1).tolist()
    # colonies of one survey site share its position: one mark for all of them
    for (px, py), origin in dict.fromkeys(zip(map(tuple, spots), wild[seen].tolist(), strict=True)):
        sign.colony(pen, px, py, origin)


def _edges(window: Window, rows: Any, plots: Sequence[Any], existing: Any) -> chart.Off:
    """What names should not cut, on the sheet: outlines of work areas and of plots, and living colonies too if possible."""
    shapes = [*rows.geometry, *(r.geometry for r in plots)]
    lines = shapely.union_all(shapely.boundary(shapely.transform(np.array(shapes), window.points)))
    found = [lines]
    if existing is not None and len(existing):
        seen = existing.geometry[existing.geometry.intersects(shapely.box(*window.ground))].to_numpy()
        spots = shapely.buffer(shapely.transform(seen, window.points), COLONY_PT, quad_segs=1)
        found.insert(0, shapely.union_all([lines, *spots]))
    shapely.prepare(found)
    return found


def _plots(pen: Pen, window: Window, plots: Sequence[Any]) -> None:
    for row in plots:
        shape = window.shape(row.geometry)
        if shape.is_empty:
            continue
        style, weight = sign.PLOTS.get(row.role, ("full", 0.9))
        pen.outline(shape, weight, style)
        ends = [(row.pin_x_m, row.pin_y_m), (row.second_pin_x_m, row.second_pin_y_m)]
        if not pd.isna(ends[1][0]):
            pen.line(window.points(ends), 0.3, "dotted")
        for k, (x, y) in enumerate(ends):
            if not pd.isna(x) and window.holds(x, y):
                spot = window.points([(x, y)])[0]
                sign.pin(pen, float(spot[0]), float(spot[1]), k == 0)


def _corners(pen: Pen, window: Window, packet: Packet, rows: Any, edges: chart.Off) -> None:
    several = len(rows) > 1
    own = rows_of(packet.corners[packet.corners["work_area"].isin(rows["work_area"])])
    spots = window.points([(c.easting_m, c.northing_m) for c in own]).tolist()
    for x, y in spots:
        sign.corner(pen, x, y)
        pen.keep_clear((x - 2.2, y - 2.2, x + 2.2, y + 2.2))
    for c, (x, y) in zip(own, spots, strict=True):
        chart.numbered(pen, x, y, _corner_name(c, several), 7.5, window.box, off=edges)


def _corner_name(corner: Any, several: bool) -> str:
    """Number of a corner, after the letter of its work area where a sheet shows several."""
    return (str(corner.work_area).rsplit("-", 1)[-1] if several else "") + str(corner.corner)


def _cut_line(pen: Pen, window: Window, packet: Packet, rows: Any, edges: chart.Off) -> bool:
    """Draw where the section runs; return whether it is drawn."""
    first = rows.iloc[int(rows["units"].to_numpy().argmax())]["work_area"]
    own = packet.sections[packet.sections["work_area"] == first]
    if len(own) < 2:
        return False
    ends = own[["easting_m", "northing_m"]].to_numpy(float)[[0, -1]]
    xy = window.points(ends)
    line = shapely.LineString(xy).intersection(shapely.box(*window.box))
    if line.is_empty or line.geom_type != "LineString":
        return False
    xy = shapely.get_coordinates(line)
    pen.line(xy, 0.7, "dash-dot")
    for (x, y), text in zip(xy[[0, -1]] if xy[0][0] <= xy[-1][0] else xy[[-1, 0]], (CUT, f"{CUT}′"), strict=True):
        chart.numbered(pen, float(x), float(y), text, 8.5, window.box, off=edges)
    return True


def _plot_names(pen: Pen, window: Window, plots: Sequence[Any], edges: chart.Off) -> None:
    for row in plots:
        middle = row.geometry.centroid
        if window.holds(middle.x, middle.y):
            x, y = window.points([(middle.x, middle.y)])[0]
            wide = float(row.width_m) * window.per_metre / 2
            role = "" if row.role == "planted" else f" ({say(f'permit.role_{row.role}')})"
            high = row.geometry.bounds
            tall = (high[3] - high[1]) * window.per_metre / 2
            over = min(float(row.width_m), high[3] - high[1]) * window.per_metre > 16
            places: list[Any] = [(x, y - 2.3, "centre")] if over else []
            places += _beside(x, y, (high[2] - high[0]) * window.per_metre / 2 + 4, tall + 4)
            places += _beside(x, y, wide + 3, wide + 3)
            for off in (*edges, None):
                box = pen.try_text(places, f"{row.plot}{role}", 6.5, inside=window.box, off=off)
                if box is not None:
                    leader = shapely.shortest_line(shapely.box(*box), window.shape(row.geometry))
                    if leader.length > LEADER_PT:
                        pen.line(shapely.get_coordinates(leader), 0.3)
                    break


def _beside(x: float, y: float, across: float, up: float) -> list[Any]:
    """Return places for a name beside a box round (x, y), half of which is `across` wide and `up` high [pt]."""
    return [
        spot
        for k in (1.0, 1.5, 2.2)
        for spot in (
            (x, y + up * k, "centre"),
            (x, y - up * k - 5, "centre"),
            (x + across * k, y - 2.3, "left"),
            (x - across * k, y - 2.3, "right"),
        )
    ]


def _marks(pen: Pen, window: Window, packet: Packet, edges: chart.Off) -> None:
    for mark in packet.marks:
        if window.holds(mark.easting_m, mark.northing_m):
            x, y = window.points([(mark.easting_m, mark.northing_m)])[0]
            sign.MARKS[mark.kind](pen, x, y, 2.4)
            chart.numbered(pen, float(x), float(y), mark.name, chart.NAME_PT, window.box, bold=False, off=edges)


def _corner_list(pen: Pen, box: Box, packet: Packet, rows: Any, corners_on: str) -> None:
    own = packet.corners[packet.corners["work_area"].isin(rows["work_area"])]
    several = len(rows) > 1
    area = float(rows["area_m2"].sum())
    units = int(rows["units"].sum())
    acres = f"{float(rows['area_acre'].sum()):,.3f}"
    head = say(
        "permit.figures", m2=f"{area:,.0f}", ha=f"{area / 10_000:,.3f}", acres=acres, datum=packet.datum_name
    ) + ("" if packet.scout else say("permit.figures_units", units=units, plots=int(rows["plots"].sum())))
    one_line = next((s for s in (LIST_PT, 6.8, 6.5) if width(head, s) <= box[2] - box[0]), 6.5)
    fit = fitted(head, (box[2] - box[0], 18), sizes=(one_line, 6, 5.5, 5), where="areas of a site sheet")
    pen.lines(box[0], box[3], fit)
    top = box[3] - fit.height - 2
    if len(own) > MINUTES_SHOWN:
        said = fitted(
            say("permit.corners_elsewhere", number=len(own), where=corners_on), (box[2] - box[0], 20), sizes=(7.5, 6),
            where="corner list",
        )  # fmt: skip
        pen.lines(box[0], top - 4, said)
        return
    if len(own) > CORNERS_SHOWN:
        _minutes_only(pen, (box[0], box[1], box[2], top), rows_of(own), several, corners_on)
        return
    shares = {"corner": 1.1, "latitude": 2.4, "longitude": 2.5, "latitude_degrees": 2.3, "longitude_degrees": 2.4}
    columns = [Column(say(f"permit.{name}"), share) for name, share in shares.items()]
    table = Listing(
        columns,
        [
            (_corner_name(c, several), c.latitude_minutes, c.longitude_minutes, c.latitude_degrees, c.longitude_degrees)
            for c in rows_of(own)
        ],
        box[2] - box[0],
        size=LIST_PT,
        after=0.0,
        lead=LIST_LEAD,
    )
    if top - table.height(0, len(own)) >= box[1] - 0.5:
        table.draw(pen, box[0], top, 0, len(own))


def _minutes_only(pen: Pen, box: Box, own: list[Any], several: bool, corners_on: str) -> None:
    """List many corners in two columns, in minutes; degrees stand in the tables."""
    shares = {"corner": 1.35, "latitude": 2.35, "longitude": 2.5}
    columns = [Column(say(f"permit.{name}"), share) for name, share in shares.items()]
    half = (len(own) + 1) // 2
    wide = (box[2] - box[0] - 8) / 2
    low = box[3]
    for k in range(2):
        cells = [
            (_corner_name(c, several), c.latitude_minutes, c.longitude_minutes) for c in own[k * half : (k + 1) * half]
        ]
        table = Listing(columns, cells, wide, size=LIST_PT, after=0.0, lead=LIST_LEAD)
        table.draw(pen, box[0] + k * (wide + 8), box[3], 0, len(cells))
        low = min(low, box[3] - table.height(0, len(cells)))
    note = fitted(
        say("permit.degrees_elsewhere", where=corners_on), (box[2] - box[0], 8), sizes=(6.5,), where="corner list"
    )
    pen.lines(box[0], low - 1, note)


def _norths(pen: Pen, box: Box, packet: Packet, area: str, window: Window) -> None:
    draw_norths(pen, box[0], box[1] + 42, packet.norths[area], (box[2] - box[0], box[3] - box[1] - 42))
    scale_bars(pen, box[0], box[1] - 2, window.denominator, box[2] - box[0])
