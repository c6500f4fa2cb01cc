"""The boat's pages: pins in visiting order with legs, shelter and QR codes; an overview of each site to scale."""

from __future__ import annotations

from typing import Any

import pandas as pd
import shapely

from sitekit.base.notation import angle_text
from sitekit.base.units import METRES_PER
from sitekit.base.wording import caution, depth_texts, retell, say, wording
from sitekit.outputs.dive_pdf.head import BOAT_DECIMALS, QR_SIDE
from sitekit.outputs.dive_pdf.marks import FOOT, MARGIN, foot, geo_uri, qr
from sitekit.outputs.dive_pdf.rows import Draw
from sitekit.outputs.dive_pdf.scene import DivePack, SiteView, degrees
from sitekit.outputs.paper.fonts import fitted, width
from sitekit.outputs.paper.pen import Pen, around
from sitekit.outputs.paper.scales import map_scale, points_per_metre, scale_bars, scale_text

LEGS = "Legs are straight lines: they do not see reefs. Names as in the boat's receiver."
_BLOCK = QR_SIDE + 2.0  # pt per waypoint


def waypoint_pages(pack: DivePack, paper: tuple[float, float]) -> list[Draw]:
    """Return the waypoint list: first pins in visiting order."""
    rows = [r for r in pack.waypoints.to_dict("records") if r["pin"] == 1]
    each = int((paper[1] - 2 * MARGIN - FOOT - 34) // _BLOCK)
    pages = [rows[k : k + each] for k in range(0, len(rows), each)]

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
            pen.text(left, top - 15, say("boat.title"), 14.0, bold=True)
            pen.text(right, top - 15, "WGS 84", 9.0, align="right")
            fit = fitted(caution(LEGS), (right - left, 13.5), sizes=(7.5, 7, 6.5, 6, 5.5, 5), where="legs")
            pen.lines(left, top - 18.5, fit)
            y = top - 32
            for row in pages[k]:
                _waypoint(pen, row, left, right, y)
                y -= _BLOCK
            foot(pen, pack.about, number, total)

        return draw

    return [page(k) for k in range(len(pages))]


def _waypoint(pen: Pen, row: dict[Any, Any], left: float, right: float, top: float) -> None:
    pen.line([(left, top), (right, top)], 0.8)
    qr(pen, (right - QR_SIDE, top - QR_SIDE - 1, right, top - 1), geo_uri(row["longitude_deg"], row["latitude_deg"]))
    room = right - left - QR_SIDE - 4
    pen.text(left, top - 17, f"{row['order']}.", 15.0, bold=True)
    name = str(row["name"])
    pen.text(left + 30, top - 17, name, 15.0, bold=True)
    at = left + 30 + width(name, 15.0, True) + 8
    role = row.get("role")
    unplanted = ""
    if isinstance(role, str) and role != "planted":
        unplanted = f" · {retell(f'{role.upper()}: NOTHING IS PLANTED')}"
    fit = fitted(
        say("boat.pin", plot=row["plot"]), (left + room - at, 20), sizes=(10, 9, 8, 7, 6, 5), where="plot name"
    )
    pen.lines(at, top - 5, fit)
    lat = angle_text(row["latitude_deg"], "lat", "DDM", BOAT_DECIMALS)
    lon = angle_text(row["longitude_deg"], "lon", "DDM", BOAT_DECIMALS)
    pen.text(left, top - 36, lat, 15.0, bold=True)
    pen.text(left, top - 54, lon, 15.0, bold=True)
    depth = ", ".join(depth_texts(row["depth_min_m"], row["depth_max_m"]))
    leg = say("boat.first")
    if not pd.isna(row["leg_m"]):
        leg = say(
            "boat.leg",
            place=row["leg_from"],
            distance=_distance(row["leg_m"]),
            true=degrees(row["leg_true_deg"]),
            magnetic=degrees(row["leg_magnetic_deg"]),
        )
    lee = retell(row["lee"]) if isinstance(row["lee"], str) else say("boat.lee_unknown")
    lines = (
        leg,
        say("boat.charted", depth=depth) + (f" · {say('boat.as_set')}" if row["as_set"] else "") + unplanted,
        say("boat.lee", lee=lee),
    )
    y = top - 58
    for line in lines:
        fit = fitted(line, (room, 10.5), sizes=(8, 7.5, 7, 6.5, 6, 5.5, 5, 4.5, 4), where=f"waypoint {name}")
        pen.lines(left, y, fit)
        y -= 10.2


def _distance(metres: float) -> str:
    if metres >= 1852:
        return f"{metres / 1852:.2f} nmi"
    return f"{metres / METRES_PER['ft']:.0f} ft" if wording().units == "ft" else f"{metres:.0f} m"


def overview(pack: DivePack, site: SiteView) -> Draw:
    """Return the page that shows where the plots of a site lie to one another."""

    def draw(pen: Pen, number: int, total: int) -> None:
        left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
        head = say("boat.site", site=site.site) + (f" · {site.name}" if site.name and site.name != site.site else "")
        fit = fitted(head, (right - left, 26), sizes=(18, 16, 14, 12, 10, 8), bold=True, where=f"site {site.site}")
        y = pen.lines(left, top, fit) - 2
        for line in site.facts:
            small = fitted(line, (right - left, 24), sizes=(9.5, 8.5, 7.5, 6.5, 6), where=f"site {site.site}")
            y = pen.lines(left, y, small)
        box = (left, MARGIN + FOOT + 44, right, y - 4)
        pen.box(box, 0.8)
        shapes = [shape for _, shape, _, _, _ in site.plots]
        west, south, east, north = shapely.union_all(shapes).bounds
        room = (box[2] - box[0] - 60, box[3] - box[1] - 50)
        denominator = map_scale(east - west, north - south, room)
        scale = points_per_metre(denominator)
        middle = (box[0] + box[2]) / 2 - (west + east) / 2 * scale, (box[1] + box[3]) / 2 - (south + north) / 2 * scale

        def at(x: float, y: float) -> tuple[float, float]:
            return middle[0] + x * scale, middle[1] + y * scale

        for _, shape, _, _, _ in site.plots:
            xy = shapely.get_coordinates(shape.exterior)
            pen.outline(shapely.Polygon([at(px, py) for px, py in xy]), 1.0)
        for _, _, first, second, _ in site.plots:
            if second is not None:
                pen.line([at(*first), at(*second)], 0.8, "dashed")
            pen.circle(*at(*first), 3.2, 0.8, fill=0.0)
        for _, shape, _, _, _ in site.plots:
            for px, py in shapely.get_coordinates(shapely.segmentize(shape.exterior, 6.0 / scale)):
                x, y = at(px, py)
                pen.keep_clear((x - 1, y - 1, x + 1, y + 1))
        for name, _, first, _, order in site.plots:
            x, y = at(*first)
            places = [p for gap in (6, 12, 20, 30) for p in around(x, y, gap, 10)]
            if pen.try_text(places, f"{order}. {name}", 10.0, bold=True, inside=box) is None:
                pen.text(x + 5, y + 4, f"{order}", 8.0, bold=True, halo=True)
        pen.line([(box[2] - 14, box[3] - 40), (box[2] - 14, box[3] - 16)], 1.4)
        pen.line([(box[2] - 18, box[3] - 23), (box[2] - 14, box[3] - 15), (box[2] - 10, box[3] - 23)], 1.4)
        pen.text(box[2] - 14, box[3] - 12, say("boat.grid_north"), 7.0, align="centre")
        scale_bars(pen, left, MARGIN + FOOT, denominator, min(right - left - 110, 220))
        pen.text(right, MARGIN + FOOT + 26, scale_text(denominator), 9.0, bold=True, align="right")
        pen.text(right, MARGIN + FOOT + 15, say("boat.order"), 7.0, align="right")
        pen.text(right, MARGIN + FOOT + 6, say("boat.dot"), 7.0, align="right")
        foot(pen, pack.about, number, total)

    return draw
