"""The charted depths along a cut: sea floor, datum and water lines, plots, heights of units, exaggeration stated."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from sitekit.base.wording import distance_text, length_text, length_unit, retell, say
from sitekit.outputs.paper.fonts import fitted, width
from sitekit.outputs.paper.hatches import hatch
from sitekit.outputs.paper.pen import Box, Pen
from sitekit.outputs.paper.scales import bar_step, map_scale, points_per_metre, scale_text
from sitekit.outputs.permit_pdf.packet import Packet

# Heights over lengths, largest that fits first; beyond 10 a short reef looks like a wall (house choice).
LONG_CUT_M, LEAST_STEP_PT = 500.0, 9.0
_EXAGGERATIONS = (
    100.0, 75.0, 50.0, 40.0, 30.0, 25.0, 20.0, 15.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.5, 1.0,
)  # fmt: skip
LETTERS = 6.5  # [pt]


def section(pen: Pen, box: Box, packet: Packet, area: str, code: str) -> None:
    """Draw the section view of a work area in a box.

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    box : tuple of float
        [pt].
    packet : Packet
        With the profile and the plots.
    area : str
        Work area.
    code : str
        Letter of its ends, `X` for X–X′.
    """
    profile = packet.sections[packet.sections["work_area"] == area]
    at = profile["at_m"].to_numpy(float)
    depth = profile["depth_m"].to_numpy(float)
    named = say("permit.section", ends=f"{code}–{code}′", area=area)
    if not np.isfinite(depth).any():
        pen.text(box[0] + 4, box[3] - 10, say("permit.no_depth", section=named), 7.5, bold=True)
        pen.box(box, 0.5)
        return
    pen.box(box, 0.5)
    frame = (box[0] + 46, box[1] + 32, box[2] - 128, box[3] - 16)
    room = (frame[2] - frame[0], frame[3] - frame[1])
    length = float(at[-1])
    water = packet.water
    later = max([h.later_cm or h.now_cm for h in packet.heights], default=0.0) / 100
    low_m = float(np.nanmax(depth))
    top_m = max(0.0, water.high_m or 0.0, later - float(np.nanmin(depth)) if later else 0.0)
    span = (top_m + low_m) * 1.06 + 0.2
    # never flattened: a deep, short cut is drawn at a smaller scale instead
    scale = map_scale(length, span, room)
    wide = points_per_metre(scale)
    most = 10.0 if length <= LONG_CUT_M else _EXAGGERATIONS[0]
    times = next((e for e in _EXAGGERATIONS if e <= most and span * wide * e <= room[1] and _round(scale / e)), 1.0)
    high = wide * times
    left = frame[0] + (room[0] - length * wide) / 2

    def place(x: Any, d: Any) -> Any:
        return np.column_stack([left + np.asarray(x) * wide, frame[3] - (np.asarray(d) + top_m) * high])

    vertical = scale_text(max(1, round(scale / times)))
    shown = say("permit.not_exaggerated") if times == 1 else say("permit.exaggerated", times=f"{times:g}")
    title = say(
        "permit.section_title",
        section=named,
        across=scale_text(scale),
        up=vertical,
        times=shown,
        datum=water.datum,
        error=length_text(water.error_m),
    )
    fit = fitted(title, (box[2] - box[0] - 8, 13), sizes=(7.5, 7, 6.5, 6, 5.5, 5), bold=True, where="section title")
    pen.lines(box[0] + 4, box[3] - 2, fit)
    right = left + length * wide
    _axes(pen, place, length, low_m, left, right, frame, code)
    _floor(pen, place, at, depth, frame)
    crossed = _plots(pen, packet, profile, place, frame)
    _waters(pen, packet, place, at, box)
    known = np.isfinite(depth)
    _explain(pen, packet, box, crossed, length * (1 - known.mean()) if not known.all() else 0.0)


def _round(denominator: float) -> bool:
    """Whether a scale can be read off a ruler: whole, and a multiple of 25, 250 and so on."""
    step = 10.0 ** math.floor(math.log10(denominator)) / 4
    return denominator % 1 == 0 and denominator % step == 0


def _explain(pen: Pen, packet: Packet, box: Box, crossed: list[Any], blank_m: float) -> None:
    """Say what the lines mean, in the lower left corner: only of what this cut shows."""
    said = [say("permit.hatched")]
    if blank_m:
        said.append(say("permit.blank", length=distance_text(blank_m)))
    if crossed:
        said.append(say("permit.thick"))
        planted = set().union(*(_species(row) for row in crossed if row.role == "planted"))
        heights = [h for h in packet.heights if h.species in planted]
        if heights:
            said.append(say("permit.thin"))
        years = sorted({h.later_years for h in heights if h.later_years is not None})
        if years:
            said.append(say("permit.dashed", years=", ".join(f"{y:g}" for y in years)))
        if planted and not heights:
            said.append(say("permit.no_heights"))
    fit = fitted("; ".join(said), (box[2] - box[0] - 8, 9), sizes=(LETTERS, 6, 5.4, 5), where="signs of the section")
    pen.lines(box[0] + 4, box[1] + 9, fit)


def _floor(pen: Pen, place: Any, at: Any, depth: Any, frame: Box) -> None:
    known = np.isfinite(depth)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(int), [0]])))
    for start, stop in edges.reshape(-1, 2):
        if stop - start < 2:
            continue
        top = place(at[start:stop], depth[start:stop])
        below = np.column_stack([top[::-1, 0], np.full(len(top), frame[1])])
        solid = shapely.Polygon(np.vstack([top, below]))
        if solid.is_valid and solid.area > 0:
            hatch(pen, solid, "rising")
        pen.line(top, 1.3)
    gaps = np.concatenate([[0], edges, [len(at)]]).reshape(-1, 2)
    for start, stop in gaps:
        if stop - start < 2:
            continue
        ends = place(at[[start, stop - 1]], np.full(2, float(np.nanmean(depth))))
        blank = say("permit.not_charted")
        if ends[1, 0] - ends[0, 0] > width(blank, LETTERS):
            pen.try_text([(ends[:, 0].mean(), ends[0, 1], "centre")], blank, LETTERS, inside=frame)


def _plots(pen: Pen, packet: Packet, profile: Any, place: Any, frame: Box) -> list[Any]:
    """Mark where the cut crosses plots, and how high units stand there now and later; return the plots."""
    xy = profile[["easting_m", "northing_m"]].to_numpy(float)
    crossed: list[Any] = []
    if len(xy) < 2:
        return crossed
    at, depth = profile["at_m"].to_numpy(float), profile["depth_m"].to_numpy(float)
    cut = shapely.LineString([xy[0], xy[-1]])
    surface = [place(at[[0, -1]], np.full(2, -h)) for h, _, _, _ in _levels(packet)]
    off = shapely.MultiLineString(surface)
    for row in packet.plots_at(cut):
        for part in shapely.get_parts(cut.intersection(row.geometry)):
            if part.geom_type != "LineString" or part.length <= 0:
                continue
            ends = [cut.project(shapely.Point(xy)) for xy in shapely.get_coordinates(part)[[0, -1]]]
            inside = np.linspace(float(min(ends)), float(max(ends)), 12)
            floor = np.interp(inside, at, depth)
            if not np.isfinite(floor).all():
                continue
            pen.line(place(inside, floor), 2.6)
            crossed.append(row)
            species = _species(row) if row.role == "planted" else set()
            for height in packet.heights:
                if height.species not in species:
                    continue
                pen.line(place(inside, floor - height.now_cm / 100), 0.5)
                if height.later_cm is not None:
                    pen.line(place(inside, floor - height.later_cm / 100), 0.5, "dashed")
            middle = place([inside.mean()], [float(floor.min())])[0]
            top = max([h.later_cm or h.now_cm for h in packet.heights if h.species in species], default=0) / 100
            above = place([inside.mean()], [float(floor.min()) - top])[0]
            ups = [above[1] + 4 + k * 8 for k in range(3)] + [middle[1] - 12 - k * 8 for k in range(3)]
            pen.try_text([(middle[0], y, "centre") for y in ups], row.plot, LETTERS, inside=frame, off=off)
    return crossed


def _species(row: Any) -> set[str]:
    """Species of a plot, as its note says (`species APAL`)."""
    return set(str(row.note or "").replace(",", " ").split())


def _levels(packet: Packet) -> list[tuple[float, str, str, float]]:
    """Height above the datum [m], name, style and weight of each water line, highest first."""
    water = packet.water
    unit, per = length_unit()
    zero = say("permit.level_zero", unit=unit, datum=water.datum)
    rows: list[tuple[float, str, str, float]] = [(0.0, zero, "full", 0.5)]
    for height, name, style, weight in ((water.high_m, "high", "dashed", 0.5), (water.low_m, "low", "dotted", 0.6)):
        if height is None:
            continue
        level = retell(f"{name} {water.levels}")
        if abs(height) < 1e-9:
            rows[0] = (0.0, say("permit.level_also", zero=rows[0][1], level=level), "full", 0.5)
        else:  # in words: a plus looks like a minus in a poor copy
            side = "above" if height > 0 else "below"
            high = f"{abs(height) / per:.{2 if unit == 'm' else 1}f} {unit}"
            rows.append((height, say(f"permit.level_{side}", level=level, height=high), style, weight))
    return sorted(rows, reverse=True)


def _waters(pen: Pen, packet: Packet, place: Any, at: Any, box: Box) -> None:
    """Draw the water lines; names stand beside them, one below another, with a leader where they had to move."""
    edge = float(place([at[-1]], [0.0])[0][0])
    top = box[3] - 13.0
    for height, name, style, weight in _levels(packet):
        ends = place([at[0], at[-1]], [-height, -height])
        pen.line(ends, weight, style)
        fit = fitted(name, (box[2] - edge - 14, 30), sizes=(LETTERS, 6, 5.5, 5), where="water line")
        y = float(ends[1][1])
        top = min(y + fit.height / 2, top)
        pen.line([(edge, y), (edge + 8, top - fit.height / 2)], 0.3)
        top = pen.lines(edge + 10, top, fit) - 1.0


def _axes(pen: Pen, place: Any, length: float, low_m: float, left: float, right: float, frame: Box, code: str) -> None:
    pen.line([(left, frame[1]), (right, frame[1])], 0.4)
    pen.line([(left, frame[1]), (left, frame[3])], 0.4)
    pen.line([(right, frame[1]), (right, frame[3])], 0.4)
    pen.text(left - 4, frame[1] - 18, code, 8, bold=True, align="centre")
    pen.text(right + 4, frame[1] - 18, f"{code}′", 8, bold=True, align="centre")
    unit, per = length_unit()
    step = bar_step(max(length / per / 5, 1e-3))
    for k in range(math.floor(length / per / step + 1e-9) + 1):
        x = float(place([k * step * per], [0])[0][0])
        pen.line([(x, frame[1]), (x, frame[1] - 3)], 0.4)
        pen.text(x, frame[1] - 10, f"{k * step:g}", LETTERS, align="centre")
    pen.text((left + right) / 2, frame[1] - 19, say("permit.along", unit=unit), LETTERS, align="centre")
    step = bar_step(max(low_m / per / 3, 0.1))
    high = float(place([0], [0])[0][1] - place([0], [per])[0][1])
    while step * high < LEAST_STEP_PT:
        step *= 2
    for k in range(math.floor(low_m / per / step + 1e-9) + 1):
        y = float(place([0], [k * step * per])[0][1])
        pen.line([(left - 3, y), (left, y)], 0.4)
        pen.text(left - 5, y - 2.3, f"{k * step:g} {unit}", LETTERS, align="right")
