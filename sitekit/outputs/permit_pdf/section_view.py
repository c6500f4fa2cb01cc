"""The charted depths along a cut: sea floor, datum and water lines, plots, heights of units, exaggeration stated."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from sitekit.outputs.paper.fonts import fitted
from sitekit.outputs.paper.hatches import hatch
from sitekit.outputs.paper.pen import Box, Pen
from sitekit.outputs.paper.scales import bar_step, map_scale, points_per_metre, scale_text
from sitekit.outputs.permit_pdf.packet import Packet, rows_of

# Heights over lengths, largest that fits first; beyond 10 a short reef looks like a wall (house choice).
LONG_CUT_M, LEAST_STEP_PT = 500.0, 9.0
_EXAGGERATIONS = (
    100.0,
    75.0,
    50.0,
    40.0,
    30.0,
    25.0,
    20.0,
    15.0,
    10.0,
    8.0,
    6.0,
    5.0,
    4.0,
    3.0,
    2.5,
    2.0,
    1.5,
    1.0,
)


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
    if not np.isfinite(depth).any():
        pen.text(
            box[0] + 4, box[3] - 10, f"Section {code}–{code}′, {area}: no charted depth along the cut.", 7.5, bold=True
        )
        pen.box(box, 0.5)
        return
    pen.box(box, 0.5)
    frame = (box[0] + 58, box[1] + 31, box[2] - 70, box[3] - 16)
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
    times = next((e for e in _EXAGGERATIONS if e <= most and span * wide * e <= room[1]), 1.0)
    high = wide * times
    left = frame[0] + (room[0] - length * wide) / 2

    def place(x: Any, d: Any) -> Any:
        return np.column_stack([left + np.asarray(x) * wide, frame[3] - (np.asarray(d) + top_m) * high])

    vertical = scale_text(max(1, round(scale / times)))
    shown = "not exaggerated" if times == 1 else f"{times:g} × exaggerated"
    title = (
        f"Section {code}–{code}′, {area}: horizontal {scale_text(scale)}, vertical {vertical} ({shown}), "
        f"depths below {water.datum} ± {water.error_m:g} m"
    )
    fit = fitted(title, (box[2] - box[0] - 8, 13), sizes=(7.5, 7, 6.5, 6, 5.5, 5), bold=True, where="section title")
    pen.lines(box[0] + 4, box[3] - 2, fit)
    right = left + length * wide
    _axes(pen, place, length, low_m, left, right, frame, code)
    _floor(pen, place, at, depth, frame)
    _plots(pen, packet, area, profile, place, frame)
    _waters(pen, packet, place, at, box)
    _explain(pen, packet, box)


def _explain(pen: Pen, packet: Packet, box: Box) -> None:
    """Say what the lines mean, in the lower left corner."""
    said = ["hatched: bottom"]
    if len(packet.plots):
        said.append("thick: plots crossed")
        if packet.heights:
            said.append("thin: units when planted")
        years = sorted({h.later_years for h in packet.heights if h.later_years is not None})
        if years:
            said.append("dashed: after " + ", ".join(f"{y:g}" for y in years) + " years")
    if packet.plots is not None and len(packet.plots) and not packet.heights:
        said.append("heights of units not stated")
    fit = fitted("; ".join(said), (box[2] - box[0] - 8, 8), sizes=(6.2, 5.8, 5.4, 5), where="signs of the section")
    pen.lines(box[0] + 4, box[1] + 8, fit)


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
    for start, stop in edges[1:-1].reshape(-1, 2):
        spot = place([(at[start - 1] + at[min(stop, len(at) - 1)]) / 2], [float(np.nanmean(depth))])[0]
        pen.try_text([(spot[0], spot[1], "centre")], "not sounded", 5.5, inside=frame)


def _plots(pen: Pen, packet: Packet, area: str, profile: Any, place: Any, frame: Box) -> None:
    """Mark where the cut crosses plots, and how high units stand there now and later."""
    xy = profile[["easting_m", "northing_m"]].to_numpy(float)
    if len(xy) < 2 or not len(packet.plots):
        return
    at, depth = profile["at_m"].to_numpy(float), profile["depth_m"].to_numpy(float)
    cut = shapely.LineString([xy[0], xy[-1]])
    for row in rows_of(packet.plots):
        for part in shapely.get_parts(cut.intersection(row.geometry)):
            if part.geom_type != "LineString" or part.length <= 0:
                continue
            ends = [cut.project(shapely.Point(xy)) for xy in shapely.get_coordinates(part)[[0, -1]]]
            inside = np.linspace(float(min(ends)), float(max(ends)), 12)
            floor = np.interp(inside, at, depth)
            if not np.isfinite(floor).all():
                continue
            pen.line(place(inside, floor), 2.6)
            species = _species(row)
            for height in packet.heights:
                if height.species not in species:
                    continue
                pen.line(place(inside, floor - height.now_cm / 100), 0.5)
                if height.later_cm is not None:
                    pen.line(place(inside, floor - height.later_cm / 100), 0.5, "dashed")
            middle = place([inside.mean()], [float(floor.min())])[0]
            top = max([h.later_cm or h.now_cm for h in packet.heights if h.species in species], default=0) / 100
            above = place([inside.mean()], [float(floor.min()) - top])[0]
            spots = [(middle[0], above[1] + 4 + k * 8, "centre") for k in range(3)]
            pen.try_text([(x, y, "centre") for x, y, _ in spots], row.plot, 6.0, inside=frame)


def _species(row: Any) -> set[str]:
    """Species of a plot, as its note says (`species APAL`)."""
    return set(str(row.note or "").replace(",", " ").split())


def _waters(pen: Pen, packet: Packet, place: Any, at: Any, box: Box) -> None:
    water = packet.water
    rows: list[tuple[float, str, str, float]] = [(0.0, f"{water.datum}, 0", "full", 0.5)]
    if water.high_m is not None:
        rows.append((water.high_m, f"high {water.levels} {water.high_m:+.2f} m", "dashed", 0.5))
    if water.low_m is not None and abs(water.low_m) > 1e-9:
        rows.append((water.low_m, f"low {water.levels} {water.low_m:+.2f} m", "dotted", 0.6))
    elif water.low_m is not None:
        rows[0] = (0.0, f"{water.datum} and low {water.levels}, 0", "full", 0.5)
    edge = place([at[-1]], [0.0])[0][0]
    for height, name, style, weight in sorted(rows, reverse=True):
        ends = place([at[0], at[-1]], [-height, -height])
        pen.line(ends, weight, style)
        fit = fitted(name, (max(box[2] - edge - 8, 60), 26), sizes=(6, 5.5, 5), where="water line")
        y = float(ends[1][1])
        for drop in (0, 4, 8, 12, 18, -4, -8):
            low = y - drop - fit.height / 2
            lines = (edge + 4, low, edge + 4 + fit.width, low + fit.height)
            if pen.free(lines, 0.3) and lines[3] < box[3] - 14:
                pen.lines(edge + 4, low + fit.height, fit)
                break


def _axes(pen: Pen, place: Any, length: float, low_m: float, left: float, right: float, frame: Box, code: str) -> None:
    pen.line([(left, frame[1]), (right, frame[1])], 0.4)
    pen.line([(left, frame[1]), (left, frame[3])], 0.4)
    pen.line([(right, frame[1]), (right, frame[3])], 0.4)
    pen.text(left - 4, frame[1] - 18, code, 8, bold=True, align="centre")
    pen.text(right + 4, frame[1] - 18, f"{code}′", 8, bold=True, align="centre")
    step = bar_step(max(length / 5, 1e-3))
    for k in range(math.floor(length / step + 1e-9) + 1):
        x = float(place([k * step], [0])[0][0])
        pen.line([(x, frame[1]), (x, frame[1] - 3)], 0.4)
        pen.text(x, frame[1] - 10, f"{k * step:g}", 6, align="centre")
    pen.text((left + right) / 2, frame[1] - 19, "m along the cut from its western end", 6, align="centre")
    step = bar_step(max(low_m / 3, 0.1))
    high = float(place([0], [0])[0][1] - place([0], [1])[0][1])
    while step * high < LEAST_STEP_PT:
        step *= 2
    for k in range(math.floor(low_m / step + 1e-9) + 1):
        y = float(place([0], [k * step])[0][1])
        pen.line([(left - 3, y), (left, y)], 0.4)
        pen.text(left - 5, y - 2, f"{k * step:g} m", 6, align="right")
