"""The tape with its units, to scale, seen as the diver swims from pin A: shapes for left and right, numbers inside."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from sitekit.base.wording import say
from sitekit.outputs.dive_pdf.marks import side_mark
from sitekit.outputs.dive_pdf.scene import PlotPages, Unit, offset_text
from sitekit.outputs.paper.fonts import shown, shrunk, width
from sitekit.outputs.paper.pen import Box, Pen

_MARK_M = 0.8  # of the nearest two units, so that shapes never touch
At = Callable[[float, float], tuple[float, float]]
_LEAST_NUMBERED = 9.0  # pt; numbers in smaller shapes are below 5.6 pt: a smear on wet paper (looked at)
LEAST_SCALE = 11.0  # pt per metre; below it numbers inside shapes cannot be read


@dataclass(frozen=True)
class Extent:
    """What a diagram shows, in tape readings [m]."""

    left: float
    right: float
    low: float
    high: float


def place(plot: PlotPages, unit: Unit) -> tuple[float, float]:
    """Return where a unit stands on the diagram [m]: to the right of the tape, and ahead along it."""
    if plot.circle and unit.angle_deg is not None:
        turn = math.radians(unit.angle_deg)
        return unit.along_m * math.sin(turn), unit.along_m * math.cos(turn)
    return unit.offset_m, unit.along_m


class Diagram:
    """A plot's diagram: measured once, drawn on each of its pages.

    Parameters
    ----------
    plot : PlotPages
        Its units.
    """

    def __init__(self, plot: PlotPages) -> None:
        self.plot = plot
        self.tape = float(plot.facts["tape_m"])
        self.spots = [place(plot, u) for u in plot.units]
        # the side decides the shape; circles have none and take one shape
        self.sides = ["L" if plot.circle else offset_text(u.offset_m)[0] for u in plot.units]
        self.extent = self._extent()
        self.gap = _nearest(self.spots)

    def _extent(self) -> Extent:
        """The readings the diagram spans, with room for shapes."""
        if self.plot.circle:
            reach = max([self.tape, *(math.hypot(x, y) for x, y in self.spots)]) + 0.5
            return Extent(-reach, reach, -reach, reach)
        side = max([self.plot.width_m / 2, *(abs(x) for x, _ in self.spots)]) + 0.4
        low, high = min([0.0, *(y for _, y in self.spots)]), max([self.tape, *(y for _, y in self.spots)])
        return Extent(-side, side, low - 0.5, high + 0.5)

    def scale(self, box: Box) -> float:
        """Return the scale at which the plot fits a box with room for the tape's figures [pt per m]."""
        span = self.extent
        room = box[2] - box[0] - 4 - self._figures_room()
        return min(room / (span.right - span.left), (box[3] - box[1] - 36) / (span.high - span.low))

    def _figures_room(self) -> float:
        """Room left of a rectangle for the metres of the tape [pt]."""
        return 0.0 if self.plot.circle else 12.0

    def draw(self, pen: Pen, box: Box, here: Collection[int]) -> None:
        """Draw the diagram into a box.

        Parameters
        ----------
        pen : Pen
            Of the page.
        box : Box
            Where [pt].
        here : collection of int
            Sequence numbers of this page: drawn black, the others hollow.
        """
        scale, span = self.scale(box), self.extent
        middle = (box[0] + self._figures_room() + box[2]) / 2
        base = box[1] + 24 + ((box[3] - box[1] - 36) - (span.high - span.low) * scale) / 2

        def at(x: float, y: float) -> tuple[float, float]:
            return round(middle + x * scale, 2), round(base + (y - span.low) * scale, 2)

        size = max(4.0, min(18.0, _MARK_M * self.gap * scale))
        # everything but the black shapes is drawn once per plot and size, and stamped on each page
        name = f"diagram-{self.plot.name}-{round(scale * 1000)}-{round(box[3] - box[1])}-{round(box[2] - box[0])}"
        if not pen.canvas.hasForm(name):
            pen.canvas.beginForm(name, 0, 0, pen.width, pen.height)
            self._ground(pen, box, at, scale, size)
            pen.canvas.endForm()
        pen.canvas.doForm(name)
        for unit, spot, side in zip(self.plot.units, self.spots, self.sides, strict=True):
            x, y = at(*spot)
            dark = unit.number in here
            if dark:
                side_mark(pen, x, y, size, side, filled=True)
            _number(pen, str(unit.number), x, y, size, white=dark)

    def _ground(self, pen: Pen, box: Box, at: At, scale: float, size: float) -> None:
        """Tape, outline, pins, north and all units as hollow shapes."""
        plot, tape = self.plot, self.tape
        if plot.circle:
            pen.circle(*at(0, 0), tape * scale, 0.6)
        else:
            corners = [at(-plot.width_m / 2, 0), at(plot.width_m / 2, 0), at(plot.width_m / 2, tape)]
            pen.line([*corners, at(-plot.width_m / 2, tape), corners[0]], 0.4, "dashed")
        pen.line([at(0, 0), at(0, tape)], 1.6)
        self._ticks(pen, at, scale)
        self._pins(pen, at, box, size)
        for spot, side in zip(self.spots, self.sides, strict=True):
            side_mark(pen, *at(*spot), size, side, filled=False)
        _north(pen, plot, (box[2] - 12, box[1] + 13))

    def _ticks(self, pen: Pen, at: At, scale: float) -> None:
        last = math.floor(self.tape + 1e-6)
        for long, weight in ((2.0, 0.6), (4.0, 1.0)):
            metres = [m for m in range(last + 1) if (m % 5 == 0) == (long == 4.0)]
            points = [at(0, m) for m in metres]
            pen.rules([(x - long, y, x + long, y) for x, y in points], weight)
        if not self.plot.circle:
            for metre in range(0, last + 1, 5 if scale < 26 else 2):
                x, y = at(self.extent.left, metre)
                pen.line([(x - 1, y), (x + 2, y)], 0.6)
                pen.text(x - 2, y - 2.5, str(metre), 7.0, align="right")

    def _pins(self, pen: Pen, at: At, box: Box, size: float) -> None:
        ax, ay = at(0, 0)
        bx, by = at(0, self.tape)
        if self.plot.circle:
            side_mark(pen, ax, ay, 5, "", filled=True)
            # above the shape of a unit at the end of the radius line, which would hide it
            pen.text(bx, by + size / 2 + 2, f"{self.tape:.1f} m", 7.0, align="centre")
            return
        low, high = max(ay - 18, box[1]), min(by + 9, box[3] - 9)
        pen.text(ax, low + 1, "A", 10.0, bold=True, align="centre")
        pen.text(bx, high, "B", 10.0, bold=True, align="centre")


def _nearest(spots: Sequence[tuple[float, float]]) -> float:
    """Least distance of units that follow each other closely in swimming order [m], at most 1.2."""
    gap = 1.2
    for i, (ax, ay) in enumerate(spots):
        for bx, by in spots[max(0, i - 12) : i]:
            gap = min(gap, math.hypot(ax - bx, ay - by))
    return gap


def _number(pen: Pen, text: str, x: float, y: float, size: float, *, white: bool) -> None:
    if size < _LEAST_NUMBERED:
        return
    letters = shrunk(text, min(9.0, 0.62 * size), 0.92 * size, bold=True, least=3.0, step=0.25)
    code = shown(pen.canvas, text, x - width(text, letters, True) / 2, y - 0.36 * letters, letters, True)
    pen.put(f"1 g {code} 0 g" if white else code)


def _north(pen: Pen, plot: PlotPages, where: tuple[float, float]) -> None:
    """A compass arrow: where magnetic (or true) north lies when the tape runs up the page."""
    bearing, word = plot.facts.get("bearing_magnetic_deg"), say("diagram.magnetic")
    if bearing is None:
        bearing, word = plot.facts["bearing_true_deg"], say("diagram.true")
    turn = math.radians(-float(bearing))
    dx, dy = math.sin(turn), math.cos(turn)
    x, y = where
    pen.line([(x - 7 * dx, y - 7 * dy), (x + 7 * dx, y + 7 * dy)], 1.1)
    for side in (-1, 1):
        ex, ey = x + 7 * dx - 4 * dx + side * 2.6 * dy, y + 7 * dy - 4 * dy - side * 2.6 * dx
        pen.line([(x + 7 * dx, y + 7 * dy), (ex, ey)], 1.1)
    pen.text(x, y - 13, word, 5.5, align="centre")
