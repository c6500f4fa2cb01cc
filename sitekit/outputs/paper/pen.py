"""Lines, outlines and text in black ink on one sheet, and a memory of where text stands so that none is overprinted."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from sitekit.outputs.paper.fonts import LINE_HEIGHT, Fitted, shown, tidy, width

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
_DASH_CODE = {name: f"[{' '.join(f'{v:g}' for v in lengths)}] 0 d" for name, lengths in DASHES.items()}
_ARC = 0.5523  # of the radius: control points of a quarter circle by one cubic curve, within 0.03 %


class Pen:
    """Draws on one sheet of a canvas.

    Operators are put together here: a set of sheets holds some hundred thousand lines of print, and the canvas's own
    calls format every number and every letter anew.

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
        self._taken = np.empty((0, 4))  # the same as an array, brought up to date when asked
        self.colours = False  # whether `inked` changes anything; hatches and dashes carry the meaning either way
        self._ink: Ink | None = None
        self.put("1 j 0 J")

    def put(self, code: str) -> None:
        """Write operators (ISO 32000-1, annex A) onto the sheet."""
        self.canvas.addLiteral(code)

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
        code = shown(self.canvas, line, box[0], y, size, bold)
        self.put(f"{grey:g} g {code} 0 g" if grey else code)
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
        off: Any = None,
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
        off : shapely geometry, optional
            Lines in points that the text must not touch: its halo would cut them.
        """
        line = tidy(value)
        for x, y, align in places:
            box = text_box(x, y, line, size, bold=bold, align=align)
            if inside is not None and not _within(box, inside):
                continue
            if self.free(box, pad) and not (off is not None and shapely.intersects(off, shapely.box(*box))):
                return self.text(x, y, value, size, bold=bold, align=align, halo=True)
        return None

    def free(self, box: Box, pad: float = 1.0) -> bool:
        """Whether no text stands in a box or within `pad` of it."""
        if len(self._taken) != len(self.taken):
            self._taken = np.array(self.taken)
        t = self._taken.T
        left, bottom, right, top = box[0] - pad, box[1] - pad, box[2] + pad, box[3] + pad
        return not ((left < t[2]) & (t[0] < right) & (bottom < t[3]) & (t[1] < top)).any()

    def keep_clear(self, box: Box) -> None:
        """Let no text of `try_text` come into a box."""
        self.taken.append(box)

    def clear(self, box: Box, pad: float = 0.6) -> None:
        """Make the paper white in a box."""
        wide, high = box[2] - box[0] + 2 * pad, box[3] - box[1] + 2 * pad
        self.put(f"1 g {box[0] - pad:.3f} {box[1] - pad:.3f} {wide:.3f} {high:.3f} re f 0 g")

    def line(self, points: ArrayLike, weight: float = 0.6, style: str = "full", grey: float = 0.0) -> None:
        """Draw a line through points (n, 2)."""
        xy = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        if len(xy) < 2:
            return
        self.put(self._stroke(weight, style, grey))
        self.canvas.drawPath(_Trace([_traced(xy)]), stroke=1, fill=0)

    def rules(self, ends: Iterable[Box], weight: float = 0.5) -> None:
        """Draw the straight lines of a table at once: x1, y1, x2, y2 of each."""
        course = " ".join([f"{a:.2f} {b:.2f} m {c:.2f} {d:.2f} l" for a, b, c, d in ends])
        self.put(f"{self._stroke(weight, 'full', 0.0)} {course} S")

    def strokes(self, ends: ArrayLike, weight: float = 0.4) -> None:
        """Draw many straight lines at once, ends of shape (n, 2, 2); lines without length are round dots."""
        xy = np.round(np.asarray(ends, dtype=np.float64).reshape(-1, 4), 2)
        if not len(xy):
            return
        self.put(self._stroke(weight, "full", 0.0))
        self.canvas.setLineCap(1)
        trace = _Trace([_traced(pair) for pair in xy.reshape(-1, 2, 2)])
        self.canvas.drawPath(trace, stroke=1, fill=0)
        self.canvas.setLineCap(0)

    def box(self, box: Box, weight: float = 0.6, *, fill: float | None = None, style: str = "full") -> None:
        """Draw a rectangle; `fill` is a grey from 0 (black) to 1."""
        frame = f"{box[0]:.3f} {box[1]:.3f} {box[2] - box[0]:.3f} {box[3] - box[1]:.3f} re"
        self._painted(frame, weight, style, 0.0, fill)

    def outline(
        self, shape: Any, weight: float = 0.6, style: str = "full", *, fill: float | None = None, grey: float = 0.0
    ) -> None:
        """Draw a polygon or multipolygon given in points, holes left open."""
        path = path_of(shape)
        if path is None:
            return
        self.put(self._stroke(weight, style, grey))
        if fill is not None:
            self.canvas.setFillGray(fill)
        self.canvas.drawPath(path, stroke=int(weight > 0), fill=int(fill is not None), fillMode=0)
        self.canvas.setFillGray(0)

    def circle(self, x: float, y: float, radius: float, weight: float = 0.6, *, fill: float | None = None) -> None:
        """Draw a circle."""
        reach = radius * _ARC
        quarters = " ".join(
            f"{x + radius * a - reach * b:.3f} {y + radius * b + reach * a:.3f} "
            f"{x - radius * b + reach * a:.3f} {y + radius * a + reach * b:.3f} "
            f"{x - radius * b:.3f} {y + radius * a:.3f} c"
            for a, b in ((1, 0), (0, 1), (-1, 0), (0, -1))
        )
        self._painted(f"{x + radius:.3f} {y:.3f} m {quarters} h", weight, "full", 0.0, fill)

    @contextmanager
    def clipped(self, shape: Any) -> Iterator[bool]:
        """Draw only inside a shape in the block; yields False where it is empty."""
        self.canvas.saveState()
        path = path_of(shape)
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

    def _stroke(self, weight: float, style: str, grey: float) -> str:
        """Operators for colour, weight and dashes of the next line."""
        ink = f"{grey:g} G"
        if self._ink is not None and grey == 0.0:
            ink = " ".join(f"{v:.4g}" for v in self._ink) + " RG"
        return f"{ink} {weight:g} w {_DASH_CODE[style]}"

    def _painted(self, path: str, weight: float, style: str, grey: float, fill: float | None) -> None:
        """Draw a closed path's line, its inside or both; holes by the even-odd rule."""
        if fill is None and weight <= 0:
            return
        paint = "S" if fill is None else "B*" if weight > 0 else "f*"
        inside = "" if fill is None else f"{fill:g} g "
        self.put(f"{self._stroke(weight, style, grey)} {inside}{path} {paint}" + (" 0 g" if inside else ""))


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


class _Trace:
    """A path whose code is put together at once: one call of the canvas's own path for each point takes ten times as long."""

    def __init__(self, pieces: list[str]) -> None:
        self.pieces = pieces

    def getCode(self) -> str:  # noqa: N802 (the name by which a canvas asks for it)
        """Return the operators that build the path."""
        return "n " + " ".join(self.pieces)


def _traced(xy: NDArray[np.float64], end: str = "") -> str:
    """Operators of a line through points: a thousandth of a point is 0.35 µm, and short numbers keep the file small."""
    points = np.round(xy, 3).tolist()
    form = "%.6g %.6g" if np.abs(xy).max() < 1e5 else "%.3f %.3f"
    return " l ".join([form % (x, y) for x, y in points]).replace(" l ", " m ", 1) + f" l{end}"


def path_of(shape: Any) -> _Trace | None:
    """Return a path of all rings of polygons in points, None without any."""
    pieces = [
        _traced(shapely.get_coordinates(ring)[:-1], " h")
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and not part.is_empty
        for ring in (part.exterior, *part.interiors)
    ]
    return _Trace(pieces) if pieces else None


def _within(box: Box, room: Box) -> bool:
    return box[0] >= room[0] and box[1] >= room[1] and box[2] <= room[2] and box[3] <= room[3]
