"""The head of a plot's page: plot, pin, bearings, depths; large on the first page, short on the following ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from sitekit.base.notation import angle_text
from sitekit.base.wording import depth_texts, length_text, retell, say
from sitekit.outputs.dive_pdf.marks import MARGIN, geo_uri, label, qr
from sitekit.outputs.dive_pdf.scene import PlotPages, degrees
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
    first = say("head.pin_a") if not plot.circle else say("head.pin_middle")
    known = [retell(p) for p in str(facts.get("pins_as_set") or "").split(", ") if p]
    set_pins = say("head.as_set", pins=", ".join(known)) if known else say("head.as_planned")
    pen.text(left, y - 9, f"{first} · WGS 84 · {set_pins}", 8.0)
    lat = angle_text(facts["latitude_deg"], "lat", "DDM", BOAT_DECIMALS)
    lon = angle_text(facts["longitude_deg"], "lon", "DDM", BOAT_DECIMALS)
    pen.text(left, y - 32, lat, 22.0, bold=True)
    pen.text(left, y - 57, lon, 22.0, bold=True)
    if _known(facts, "second_latitude_deg"):
        pen.text(left, y - 72, say("head.pin_b") if not plot.circle else say("head.radius_end"), 8.0)
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
    line = say("head.line") if not plot.circle else say("head.radius_line")
    magnetic, true = say("head.letter_magnetic"), say("head.letter_true")
    boxes = [
        (f"{say('head.magnetic')} {line}", degrees(facts.get("bearing_magnetic_deg"), magnetic)),
        (f"{say('head.true')} {line}", degrees(facts["bearing_true_deg"], true)),
        (say("head.tape"), f"{facts['tape_m']:.1f} m"),
        (say("head.numbers"), str(facts.get("numbers") or "—")),
    ]
    pen.box((left + 1, y - 39, left + wide - 1, y - 1), 2.0)  # the compass reads this one: a heavy frame, also when wet
    for k, (name, value) in enumerate(boxes):
        label(pen, (left + k * wide, y - 40, left + (k + 1) * wide, y), name, value, 24.0 if k < 2 else 17.0)
    note = retell(str(facts["bearing_note"]))
    if _known(facts, "declination_deg"):
        turn = facts["declination_deg"]
        note = say(
            "head.declination",
            note=note,
            date=facts["bearing_date"],
            value=f"{abs(turn):.1f}",
            side="E" if turn >= 0 else "W",
            error=f"{facts['declination_error_deg']:.1f}",
        )
    fit = fitted(note, (right - left, 10), sizes=(7.5, 7, 6.5, 6, 5.5), where="note on bearings")
    pen.lines(left, y - 41, fit)
    return y - 52


def _depths(pen: Pen, facts: Mapping[str, Any], y: float) -> float:
    left, right = MARGIN, pen.width - MARGIN
    middle = (left + right) / 2
    name = say("head.charted", datum=facts["datum"], error=length_text(facts["depth_error_m"]))
    label(pen, (left, y - 36, middle, y), name, _depth(facts["depth_min_m"], facts["depth_max_m"]), 14.0)
    if _known(facts, "tide_depth_max_m"):
        low, high = (length_text(facts[f"tide_{k}_m"], signed=True) for k in ("low", "high"))
        depth = _depth(facts["tide_depth_min_m"], facts["tide_depth_max_m"])
        label(pen, (middle, y - 36, right, y), say("head.at_tide", low=low, high=high), depth, 14.0)
        note = say("head.tide_note", note=retell(facts["tide_note"]))
    else:
        label(pen, (middle, y - 36, right, y), say("head.at_planned_tide"), say("head.tide_not_given"), 12.0)
        note = f"{retell(facts['tide_note'])}."
    if facts.get("dates"):
        note += say("head.planned", dates=facts["dates"])
    fit = fitted(note, (right - left, 10.0), sizes=(7.5, 7, 6.5, 6, 5.5, 5, 4.5), where="note on the tide")
    pen.lines(left, y - 37, fit)
    return y - 49


def _depth(least_m: float, most_m: float) -> str:
    return " · ".join(depth_texts(least_m, most_m))


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
    magnetic = degrees(facts.get("bearing_magnetic_deg"), say("head.letter_magnetic"))
    label(pen, (cuts[1], y - 36, cuts[2], y), say("head.magnetic"), magnetic, 20.0)
    pen.box((cuts[1] + 1, y - 35, cuts[2] - 1, y - 1), 2.0)
    true = degrees(facts["bearing_true_deg"], say("head.letter_true"))
    label(pen, (cuts[2], y - 36, cuts[3], y), say("head.true"), true, 20.0)
    if _known(facts, "tide_depth_max_m"):
        depths = depth_texts(facts["tide_depth_min_m"], facts["tide_depth_max_m"])
        name = say("head.depth_at_tide")
    else:
        depths = depth_texts(facts["depth_min_m"], facts["depth_max_m"])
        name = say("head.short_charted", datum=facts["datum"])
    pen.box((cuts[3], y - 36, right, y), 0.8)
    fit = fitted(name, (right - cuts[3] - 6, 9), sizes=(7.0, 6.5, 6, 5.5, 5, 4.5), where="datum on a sheet")
    pen.lines(cuts[3] + 3, y - 2, fit)
    for k, depth in enumerate(depths):
        pen.text(cuts[3] + 3, y - 21 - 12 * k, depth, 11.0, bold=True)
    return y - 40


def _known(facts: Mapping[str, Any], key: str) -> bool:
    value = facts.get(key)
    return value is not None and not (isinstance(value, float) and math.isnan(value))
