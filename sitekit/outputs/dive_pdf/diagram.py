"""The tape with its units, to scale, seen as the diver swims from pin A: shapes for left and right, numbers inside."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass

from sitekit.outputs.dive_pdf.marks import side_mark
from sitekit.outputs.dive_pdf.scene import PlotPages, Unit, offset_text
from sitekit.outputs.paper.fonts import font_name, width
from sitekit.outputs.paper.pen import Box, Pen

_MARK_M = 0.8  # of the nearest two units, so that shapes never touch
At = Callable[[float, float], tuple[float, float]]
_LEAST_NUMBERED = 7.0  # pt; numbers in smaller shapes are a smear on wet paper
LEAST_SCALE = 11.0  # pt per metre; below it numbers inside shapes cannot be read


@dataclass(frozen=True)
class Extent:
    """What a diagram shows, in tape readings [m]."""

    left: float
    right: float
    low: float
    high: float


def extent(plot: PlotPages) -> Extent:
    """Return the readings a plot's diagram spans, with room for shapes."""
    points = [place(plot, u) for u in plot.units]
    tape = float(plot.facts["tape_m"])
    if plot.circle:
        reach = max([tape, *(math.hypot(x, y) for x, y in points)]) + 0.5
        return Extent(-reach, reach, -reach, reach)
    side = max([plot.width_m / 2, *(abs(x) for x, _ in points)]) + 0.4
    low, high = min([0.0, *(y for _, y in points)]), max([tape, *(y for _, y in points)])
    return Extent(-side, side, low - 0.5, high + 0.5)


def place(plot: PlotPages, unit: Unit) -> tuple[float, float]:
    """Return where a unit stands on the diagram [m]: to the right of the tape, and ahead along it."""
    if plot.circle and unit.angle_deg is not None:
        turn = math.radians(unit.angle_deg)
        return unit.along_m * math.sin(turn), unit.along_m * math.cos(turn)
    return unit.offset_m, unit.along_m


def scale_of(plot: PlotPages, box: Box) -> float:
    """Return the scale at which a plot fits a box with room for the tape's figures [pt per m]."""
    span = extent(plot)
    room = box[2] - box[0] - 4 - _figures_room(plot)
    return min(room / (span.right - span.left), (box[3] - box[1] - 36) / (span.high - span.low))


def _figures_room(plot: PlotPages) -> float:
    """Room left of a rectangle for the metres of the tape [pt]."""
    return 0.0 if plot.circle else 12.0


def diagram(pen: Pen, box: Box, plot: PlotPages, here: Collection[int]) -> None:
    """Draw a plot's diagram into a box.

    Parameters
    ----------
    pen : Pen
        Of the page.
    box : Box
        Where [pt].
    plot : PlotPages
        Its units.
    here : collection of int
        Sequence numbers of this page: drawn black, the others hollow.
    """
    scale, span = scale_of(plot, box), extent(plot)
    middle = (box[0] + _figures_room(plot) + box[2]) / 2
    base = box[1] + 24 + ((box[3] - box[1] - 36) - (span.high - span.low) * scale) / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return round(middle + x * scale, 2), round(base + (y - span.low) * scale, 2)

    size = _mark_size(plot, scale)
    # everything but the black shapes is drawn once per plot and size, and stamped on each page
    name = f"diagram-{plot.name}-{round(scale * 1000)}-{round(box[3] - box[1])}-{round(box[2] - box[0])}"
    if not pen.canvas.hasForm(name):
        pen.canvas.beginForm(name, 0, 0, pen.width, pen.height)
        _ground(pen, box, plot, at, scale, size)
        pen.canvas.endForm()
    pen.canvas.doForm(name)
    for unit in plot.units:
        x, y = at(*place(plot, unit))
        dark = unit.number in here
        if dark:
            side_mark(pen.canvas, x, y, size, _side(plot, unit), filled=True)
        _number(pen, str(unit.number), x, y, size, white=dark)


def _ground(pen: Pen, box: Box, plot: PlotPages, at: At, scale: float, size: float) -> None:
    """Tape, outline, pins, north and all units as hollow shapes."""
    tape = float(plot.facts["tape_m"])
    if plot.circle:
        pen.circle(*at(0, 0), tape * scale, 0.6)
    else:
        corners = [at(-plot.width_m / 2, 0), at(plot.width_m / 2, 0), at(plot.width_m / 2, tape)]
        pen.line([*corners, at(-plot.width_m / 2, tape), corners[0]], 0.4, "dashed")
    pen.line([at(0, 0), at(0, tape)], 1.6)
    _ticks(pen, plot, at, scale, tape)
    _pins(pen, plot, at, tape, box)
    for unit in plot.units:
        side_mark(pen.canvas, *at(*place(plot, unit)), size, _side(plot, unit), filled=False)
    _north(pen, plot, (box[2] - 12, box[1] + 13))


def _side(plot: PlotPages, unit: Unit) -> str:
    """Side that decides the shape; circles have none and take one shape."""
    return "L" if plot.circle else offset_text(unit.offset_m)[0]


def _mark_size(plot: PlotPages, scale: float) -> float:
    points = [place(plot, u) for u in plot.units]
    gap = 1.2
    for i, (ax, ay) in enumerate(points):
        for bx, by in points[max(0, i - 12) : i]:
            gap = min(gap, math.hypot(ax - bx, ay - by))
    return max(4.0, min(18.0, _MARK_M * gap * scale))


def _number(pen: Pen, text: str, x: float, y: float, size: float, *, white: bool) -> None:
    if size < _LEAST_NUMBERED:
        return
    letters = min(9.0, 0.62 * size)
    while letters > 3.0 and width(text, letters, True) > 0.92 * size:
        letters -= 0.25
    canvas = pen.canvas
    canvas.setFillGray(1 if white else 0)
    canvas.setFont(font_name(True), letters)
    canvas.drawCentredString(x, y - 0.36 * letters, text)
    canvas.setFillGray(0)


def _ticks(pen: Pen, plot: PlotPages, at: At, scale: float, tape: float) -> None:
    for metre in range(math.floor(tape + 1e-6) + 1):
        x, y = at(0, metre)
        long = metre % 5 == 0
        pen.line([(x - (4 if long else 2), y), (x + (4 if long else 2), y)], 1.0 if long else 0.6)
    if not plot.circle:
        step = 5 if scale < 26 else 2
        for metre in range(0, math.floor(tape + 1e-6) + 1, step):
            x, y = at(extent(plot).left, metre)
            pen.line([(x - 1, y), (x + 2, y)], 0.6)
            pen.text(x - 2, y - 2.5, str(metre), 7.0, align="right")


def _pins(pen: Pen, plot: PlotPages, at: At, tape: float, box: Box) -> None:
    ax, ay = at(0, 0)
    bx, by = at(0, tape)
    if plot.circle:
        side_mark(pen.canvas, ax, ay, 5, "", filled=True)
        pen.text(bx + 3, by + 3, f"{tape:.1f} m", 7.0)
        return
    low, high = max(ay - 18, box[1]), min(by + 9, box[3] - 9)
    pen.text(ax, low + 1, "A", 10.0, bold=True, align="centre")
    pen.text(bx, high, "B", 10.0, bold=True, align="centre")


def _north(pen: Pen, plot: PlotPages, where: tuple[float, float]) -> None:
    """A compass arrow: where magnetic (or true) north lies when the tape runs up the page."""
    bearing, word = plot.facts.get("bearing_magnetic_deg"), "N mag"
    if bearing is None:
        bearing, word = plot.facts["bearing_true_deg"], "N true"
    turn = math.radians(-float(bearing))
    dx, dy = math.sin(turn), math.cos(turn)
    x, y = where
    pen.line([(x - 7 * dx, y - 7 * dy), (x + 7 * dx, y + 7 * dy)], 1.1)
    for side in (-1, 1):
        ex, ey = x + 7 * dx - 4 * dx + side * 2.6 * dy, y + 7 * dy - 4 * dy - side * 2.6 * dx
        pen.line([(x + 7 * dx, y + 7 * dy), (ex, ey)], 1.1)
    pen.text(x, y - 13, word, 5.5, align="centre")
