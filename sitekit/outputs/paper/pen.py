"""Lines, outlines and text in black ink on one sheet, and a memory of where text stands so that none is overprinted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike

from sitekit.outputs.paper.fonts import LINE_HEIGHT, Fitted, font_name, tidy, width

if TYPE_CHECKING:
    from collections.abc import Iterator

Box = tuple[float, float, float, float]  # left, bottom, right, top [pt]
Ink = tuple[float, float, float]  # red, green, blue, 0 to 1
Align = Literal["left", "centre", "right"]
DASHES: dict[str, tuple[float, ...]] = {
    "full": (),
    "dashed": (5, 2.5),
    "dotted": (0.8, 2),
    "dash-dot": (7, 2, 1, 2),
    "long": (11, 3),
    "dash-dot-dot": (8, 2, 1, 2, 1, 2),
}
_FALL, _RISE = 0.24, 0.93  # of the size, DejaVu Sans


class Pen:
    """Draws on one sheet of a canvas.

    Parameters
    ----------
    canvas : reportlab canvas
        Of the book.
    size : tuple of float
        Width and height of the sheet [pt].
    """

    def __init__(self, canvas: Any, size: tuple[float, float]) -> None:
        self.canvas = canvas
        self.width, self.height = size
        self.taken: list[Box] = []
        self.colours = False  # whether `inked` changes anything; hatches and dashes carry the meaning either way
        self._ink: Ink | None = None
        canvas.setLineJoin(1)
        canvas.setLineCap(0)

    def text(
        self,
        x: float,
        y: float,
        value: object,
        size: float = 8.0,
        *,
        bold: bool = False,
        align: Align = "left",
        halo: bool = False,
        grey: float = 0.0,
    ) -> Box:
        """Print one line whose baseline starts at (x, y); return the box it takes.

        `halo` clears the paper below it, for text on a map.
        """
        line = tidy(value)
        box = text_box(x, y, line, size, bold=bold, align=align)
        if not line:
            return box
        if halo:
            self.clear(box)
        if grey:
            self.canvas.setFillGray(grey)
        self.canvas.setFont(font_name(bold), size)
        self.canvas.drawString(box[0], y, line)
        if grey:
            self.canvas.setFillGray(0)
        self.taken.append(box)
        return box

    def lines(self, x: float, top: float, fit: Fitted, *, align: Align = "left") -> float:
        """Print fitted lines below `top`; return the lower edge [pt]."""
        step = fit.size * LINE_HEIGHT
        for i, line in enumerate(fit.lines):
            self.text(x, top - i * step - fit.size * _RISE, line, fit.size, bold=fit.bold, align=align)
        return top - len(fit.lines) * step

    def try_text(
        self,
        places: Iterable[tuple[float, float, Align]],
        value: object,
        size: float,
        *,
        bold: bool = False,
        inside: Box | None = None,
        pad: float = 1.0,
    ) -> Box | None:
        """Print a text with a halo at the first place where it overprints no other text; None where there is none.

        Parameters
        ----------
        places : iterable of (x, y, align)
            Baselines, best first.
        inside : Box, optional
            The text must stay in it.
        pad : float
            Least distance to other text [pt].
        """
        for x, y, align in places:
            box = text_box(x, y, tidy(value), size, bold=bold, align=align)
            if inside is not None and not _within(box, inside):
                continue
            if self.free(box, pad):
                return self.text(x, y, value, size, bold=bold, align=align, halo=True)
        return None

    def free(self, box: Box, pad: float = 1.0) -> bool:
        """Whether no text stands in a box or within `pad` of it."""
        left, bottom, right, top = box[0] - pad, box[1] - pad, box[2] + pad, box[3] + pad
        return not any(left < t[2] and t[0] < right and bottom < t[3] and t[1] < top for t in self.taken)

    def keep_clear(self, box: Box) -> None:
        """Let no text of `try_text` come into a box."""
        self.taken.append(box)

    def clear(self, box: Box, pad: float = 0.6) -> None:
        """Make the paper white in a box."""
        self.canvas.setFillGray(1)
        self.canvas.rect(
            box[0] - pad, box[1] - pad, box[2] - box[0] + 2 * pad, box[3] - box[1] + 2 * pad, stroke=0, fill=1
        )
        self.canvas.setFillGray(0)

    def line(self, points: ArrayLike, weight: float = 0.6, style: str = "full", grey: float = 0.0) -> None:
        """Draw a line through points (n, 2)."""
        xy = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        if len(xy) < 2:
            return
        self._stroke(weight, style, grey)
        path = self.canvas.beginPath()
        path.moveTo(*_short(xy[0]))
        for point in xy[1:]:
            path.lineTo(*_short(point))
        self.canvas.drawPath(path, stroke=1, fill=0)

    def strokes(self, ends: ArrayLike, weight: float = 0.4) -> None:
        """Draw many straight lines at once, ends of shape (n, 2, 2); lines without length are round dots."""
        xy = np.round(np.asarray(ends, dtype=np.float64).reshape(-1, 4), 2)
        if not len(xy):
            return
        self._stroke(weight, "full", 0.0)
        self.canvas.setLineCap(1)
        path = self.canvas.beginPath()
        for x1, y1, x2, y2 in xy.tolist():
            path.moveTo(x1, y1)
            path.lineTo(x2, y2)
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.setLineCap(0)

    def box(self, box: Box, weight: float = 0.6, *, fill: float | None = None, style: str = "full") -> None:
        """Draw a rectangle; `fill` is a grey from 0 (black) to 1."""
        self._stroke(weight, style, 0.0)
        if fill is not None:
            self.canvas.setFillGray(fill)
        self.canvas.rect(
            box[0], box[1], box[2] - box[0], box[3] - box[1], stroke=int(weight > 0), fill=int(fill is not None)
        )
        self.canvas.setFillGray(0)

    def outline(
        self, shape: Any, weight: float = 0.6, style: str = "full", *, fill: float | None = None, grey: float = 0.0
    ) -> None:
        """Draw a polygon or multipolygon given in points, holes left open."""
        path = path_of(self.canvas, shape)
        if path is None:
            return
        self._stroke(weight, style, grey)
        if fill is not None:
            self.canvas.setFillGray(fill)
        self.canvas.drawPath(path, stroke=int(weight > 0), fill=int(fill is not None), fillMode=0)
        self.canvas.setFillGray(0)

    def circle(self, x: float, y: float, radius: float, weight: float = 0.6, *, fill: float | None = None) -> None:
        """Draw a circle."""
        self._stroke(weight, "full", 0.0)
        if fill is not None:
            self.canvas.setFillGray(fill)
        self.canvas.circle(x, y, radius, stroke=int(weight > 0), fill=int(fill is not None))
        self.canvas.setFillGray(0)

    @contextmanager
    def clipped(self, shape: Any) -> Iterator[bool]:
        """Draw only inside a shape in the block; yields False where it is empty."""
        self.canvas.saveState()
        path = path_of(self.canvas, shape)
        if path is not None:
            self.canvas.clipPath(path, stroke=0, fill=0, fillMode=0)
        try:
            yield path is not None
        finally:
            self.canvas.restoreState()

    @contextmanager
    def inked(self, ink: Ink) -> Iterator[None]:
        """Draw black lines of the block in a colour, if this sheet is in colours."""
        before, self._ink = self._ink, ink if self.colours else None
        try:
            yield
        finally:
            self._ink = before

    def _stroke(self, weight: float, style: str, grey: float) -> None:
        if self._ink is not None and grey == 0.0:
            self.canvas.setStrokeColorRGB(*self._ink)
        else:
            self.canvas.setStrokeGray(grey)
        self.canvas.setLineWidth(weight)
        self.canvas.setDash(list(DASHES[style]))


def text_box(x: float, y: float, line: str, size: float, *, bold: bool = False, align: Align = "left") -> Box:
    """Return the box of a line whose baseline starts (ends, is centred) at (x, y) [pt]."""
    wide = width(line, size, bold)
    left = x - {"left": 0.0, "centre": wide / 2, "right": wide}[align]
    return left, y - _FALL * size, left + wide, y + _RISE * size


def around(x: float, y: float, gap: float, size: float) -> list[tuple[float, float, Align]]:
    """Return places for a label round a point, best first: right, left, above, below, then the corners."""
    middle = y - 0.35 * size
    places: list[tuple[float, float, Align]] = [
        (x + gap, middle, "left"),
        (x - gap, middle, "right"),
        (x, y + gap + 0.55 * size, "centre"),
        (x, y - gap - 1.15 * size, "centre"),
    ]
    for dx, dy in ((1, 1), (-1, 1), (1, -1), (-1, -1)):
        align: Align = "left" if dx > 0 else "right"
        places.append((x + 0.8 * dx * gap, y + (gap if dy > 0 else -gap - 0.7 * size), align))
    return places


def path_of(canvas: Any, shape: Any) -> Any:
    """Return a canvas path of all rings of polygons in points, None without any."""
    path, drawn = canvas.beginPath(), False
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        for ring in (part.exterior, *part.interiors):
            xy = shapely.get_coordinates(ring)
            path.moveTo(*_short(xy[0]))
            for point in xy[1:-1]:
                path.lineTo(*_short(point))
            path.close()
            drawn = True
    return path if drawn else None


def _short(point: Sequence[float] | Any) -> tuple[float, float]:
    """A thousandth of a point is 0.35 µm: short numbers keep the file small."""
    return round(float(point[0]), 3), round(float(point[1]), 3)


def _within(box: Box, room: Box) -> bool:
    return box[0] >= room[0] and box[1] >= room[1] and box[2] <= room[2] and box[3] <= room[3]
