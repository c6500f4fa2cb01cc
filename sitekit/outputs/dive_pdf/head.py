"""The head of a plot's page: plot, pin, bearings, depths; large on the first page, short on the following ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from sitekit.base.notation import angle_text
from sitekit.outputs.dive_pdf.marks import MARGIN, geo_uri, label, qr
from sitekit.outputs.dive_pdf.scene import PlotPages, degrees, metres_and_feet
from sitekit.outputs.paper.fonts import fitted, shrunk, width
from sitekit.outputs.paper.pen import Pen

QR_SIDE = 88.0  # pt: over 2.6 pt a module, so that a phone reads a 72 dpi print
BOAT_DECIMALS = 3  # of a minute, as the boat's receiver shows (0.9 m)


def title(pen: Pen, plot: PlotPages, role: str, page: str, *, size: float = 26.0) -> float:
    """Draw plot name, role and page; return the lower edge [pt]."""
    left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
    wide = max(width(role, 13.0, True), width(page, 9.0)) + 10
    pen.box((right - wide, top - 28, right, top), 1.4)
    pen.text(right - wide / 2, top - 14, role, 13.0, bold=True, align="centre")
    pen.text(right - wide / 2, top - 25, page, 9.0, align="centre")
    room = right - left - wide - 6
    size = shrunk(plot.name, size, room, bold=True, least=12.0, step=1.0)
    box = pen.text(left, top - 0.80 * size, plot.name, size, bold=True)
    rest = room - (box[2] - left) - 8
    facts = plot.facts
    about = [plot.site_name] if plot.site_name and plot.site_name != facts["site"] else []
    about.append(str(facts["species"]))
    if rest > 60:
        fit = fitted(" · ".join(about), (rest, 26), sizes=(10, 9, 8, 7, 6, 5), where=f"head of sheet {plot.name}")
        pen.lines(box[2] + 8, top - 1, fit)
    return top - 31


def large_head(pen: Pen, plot: PlotPages, role: str, page: str) -> float:
    """Draw the full head of a plot's first page; return its lower edge [pt]."""
    facts = plot.facts
    left, right = MARGIN, pen.width - MARGIN
    y = title(pen, plot, role, page)
    qr(pen, (right - QR_SIDE, y - QR_SIDE, right, y), geo_uri(facts["longitude_deg"], facts["latitude_deg"]))
    first = "PIN A" if not plot.circle else "PIN (middle)"
    set_pins = f"   AS SET: {facts['pins_as_set']}" if facts.get("pins_as_set") else "   as planned"
    pen.text(left, y - 9, first + " · WGS 84 ·" + set_pins, 8.0)
    lat = angle_text(facts["latitude_deg"], "lat", "DDM", BOAT_DECIMALS)
    lon = angle_text(facts["longitude_deg"], "lon", "DDM", BOAT_DECIMALS)
    pen.text(left, y - 32, lat, 22.0, bold=True)
    pen.text(left, y - 57, lon, 22.0, bold=True)
    if _known(facts, "second_latitude_deg"):
        pen.text(left, y - 72, "PIN B" if not plot.circle else "END OF RADIUS LINE", 8.0)
        second = (
            angle_text(facts["second_latitude_deg"], "lat", "DDM", BOAT_DECIMALS)
            + ", "
            + angle_text(facts["second_longitude_deg"], "lon", "DDM", BOAT_DECIMALS)
        )
        pen.text(left, y - 84, second, 11.0, bold=True)
    y -= QR_SIDE + 3
    y = _bearings(pen, plot, y)
    return _depths(pen, facts, y)


def _bearings(pen: Pen, plot: PlotPages, y: float) -> float:
    facts = plot.facts
    left, right = MARGIN, pen.width - MARGIN
    wide = (right - left) / 4
    line = "A → B" if not plot.circle else "radius line"
    boxes = [
        (f"MAGNETIC {line}", degrees(facts.get("bearing_magnetic_deg"), "M")),
        (f"TRUE {line}", degrees(facts["bearing_true_deg"], "T")),
        ("TAPE", f"{facts['tape_m']:.1f} m"),
        ("NUMBERS", str(facts.get("numbers") or "—")),
    ]
    pen.box((left + 1, y - 39, left + wide - 1, y - 1), 2.0)  # the compass reads this one: a heavy frame, also when wet
    for k, (name, value) in enumerate(boxes):
        label(pen, (left + k * wide, y - 40, left + (k + 1) * wide, y), name, value, 24.0 if k < 2 else 17.0)
    note = str(facts["bearing_note"])
    if _known(facts, "declination_deg"):
        turn = facts["declination_deg"]
        note += (
            f" for {facts['bearing_date']}: declination {abs(turn):.1f}° {'E' if turn >= 0 else 'W'} "
            f"± {facts['declination_error_deg']:.1f}°; bearings to 5°"
        )
    fit = fitted(note, (right - left, 10), sizes=(7.5, 7, 6.5, 6, 5.5), where="note on bearings")
    pen.lines(left, y - 41, fit)
    return y - 52


def _depths(pen: Pen, facts: Mapping[str, Any], y: float) -> float:
    left, right = MARGIN, pen.width - MARGIN
    middle = (left + right) / 2
    metres, feet = metres_and_feet(facts["depth_min_m"], facts["depth_max_m"])
    label(pen, (left, y - 36, middle, y), f"CHARTED DEPTH below {facts['datum']}, ± {facts['depth_error_m']:g} m",
          f"{metres} · {feet}", 14.0)  # fmt: skip
    if _known(facts, "tide_depth_max_m"):
        metres, feet = metres_and_feet(facts["tide_depth_min_m"], facts["tide_depth_max_m"])
        name = f"AT TIDE {facts['tide_low_m']:+.1f} to {facts['tide_high_m']:+.1f} m"
        label(pen, (middle, y - 36, right, y), name, f"{metres} · {feet}", 14.0)
        note = f"Tide: {facts['tide_note']}."
    else:
        label(pen, (middle, y - 36, right, y), "AT PLANNED TIDE", "TIDE NOT GIVEN", 12.0)
        note = f"{facts['tide_note']}."
    if facts.get("dates"):
        note += f" Planned: {facts['dates']}."
    fit = fitted(note, (right - left, 10.0), sizes=(7.5, 7, 6.5, 6, 5.5, 5, 4.5), where="note on the tide")
    pen.lines(left, y - 37, fit)
    return y - 49


def short_head(pen: Pen, plot: PlotPages, role: str, page: str) -> float:
    """Draw the short head of a following page: pin, bearings and depth still there; return its lower edge [pt]."""
    facts = plot.facts
    left, right = MARGIN, pen.width - MARGIN
    y = title(pen, plot, role, page)
    lat = angle_text(facts["latitude_deg"], "lat", "DDM", BOAT_DECIMALS)
    lon = angle_text(facts["longitude_deg"], "lon", "DDM", BOAT_DECIMALS)
    wide = right - left
    cuts = [left, left + 0.33 * wide, left + 0.545 * wide, left + 0.75 * wide, right]
    pen.box((cuts[0], y - 36, cuts[1], y), 0.8)
    pen.text(cuts[0] + 3, y - 14, lat, 12.0, bold=True)
    pen.text(cuts[0] + 3, y - 30, lon, 12.0, bold=True)
    label(pen, (cuts[1], y - 36, cuts[2], y), "MAGNETIC", degrees(facts.get("bearing_magnetic_deg"), "M"), 20.0)
    pen.box((cuts[1] + 1, y - 35, cuts[2] - 1, y - 1), 2.0)
    label(pen, (cuts[2], y - 36, cuts[3], y), "TRUE", degrees(facts["bearing_true_deg"], "T"), 20.0)
    if _known(facts, "tide_depth_max_m"):
        metres, feet = metres_and_feet(facts["tide_depth_min_m"], facts["tide_depth_max_m"])
        name = "DEPTH AT TIDE"
    else:
        metres, feet = metres_and_feet(facts["depth_min_m"], facts["depth_max_m"])
        name = f"CHARTED, {facts['datum']}"
    pen.box((cuts[3], y - 36, right, y), 0.8)
    fit = fitted(name, (right - cuts[3] - 6, 9), sizes=(7.0, 6.5, 6, 5.5, 5, 4.5), where="datum on a sheet")
    pen.lines(cuts[3] + 3, y - 2, fit)
    pen.text(cuts[3] + 3, y - 21, metres, 11.0, bold=True)
    pen.text(cuts[3] + 3, y - 33, feet, 11.0, bold=True)
    return y - 40


def _known(facts: Mapping[str, Any], key: str) -> bool:
    value = facts.get(key)
    return value is not None and not (isinstance(value, float) and math.isnan(value))
