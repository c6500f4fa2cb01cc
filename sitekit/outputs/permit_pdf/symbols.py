"""How each thing is drawn, told apart by hatch, line and shape alone; and the legend of what a map shows."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import shapely

from sitekit.base.wording import say
from sitekit.outputs.paper.fonts import Fitted, width
from sitekit.outputs.paper.hatches import hatch
from sitekit.outputs.paper.pen import Box, Ink, Pen

BAND_PT = 7.0  # hatched band inside the border of an area that covers whole maps
# rule -> hatch, line, weight; areas that forbid are hatched whole, others along their border
PROTECTED: dict[str, tuple[str | None, str, float]] = {
    "forbidden": ("crossed", "full", 1.4),
    "permit": ("rising", "long", 0.9),
    "preferred": ("dots", "dashed", 0.8),
    "none": (None, "dotted", 0.8),
}
CONSTRAINTS: tuple[tuple[str, str], ...] = (
    ("coarse dots", "dotted"),
    ("squares", "dash-dot"),
    ("level", "long"),
    ("upright", "dash-dot-dot"),
    ("wide", "dashed"),
    ("falling", "full"),
)
# Dark inks of the colour option, apart in lightness too; hatches and dashes stay as they are.
INKS: dict[str, Ink] = {
    "forbidden": (0.70, 0.0, 0.0),
    "permit": (0.55, 0.33, 0.0),
    "preferred": (0.0, 0.40, 0.15),
    "none": (0.30, 0.30, 0.45),
}
CONSTRAINT_INKS: tuple[Ink, ...] = ((0.0, 0.35, 0.60), (0.45, 0.0, 0.45), (0.0, 0.20, 0.65), (0.40, 0.25, 0.10))
LAND = "falling"
PLOTS: dict[str, tuple[str, float]] = {
    "planted": ("full", 0.9),
    "control": ("dashed", 0.8),
    "reference": ("dotted", 0.9),
}
Draw = Callable[[Pen, Box], None]


def protected_area(pen: Pen, shape: Any, border: Any, rule: str) -> None:
    """Draw a protected area cut at the map's edge; `border` is the part of its border inside the map."""
    name, style, weight = PROTECTED[rule]
    with pen.inked(INKS[rule]):
        if name is not None:
            hatch(pen, shape if rule == "forbidden" else shape.intersection(border.buffer(BAND_PT)), name)
        lines(pen, border, weight, style)


def constraint(pen: Pen, shape: Any, border: Any, place: int) -> None:
    """Draw something to keep clear of; `place` is its layer's place in the plan."""
    name, style = CONSTRAINTS[place % len(CONSTRAINTS)]
    areas = shapely.MultiPolygon([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])
    with pen.inked(constraint_ink(place)):
        if not areas.is_empty:
            hatch(pen, areas, name)
            lines(pen, border, 0.6, style)
        for part in shapely.get_parts(shape):
            if part.geom_type == "LineString":
                pen.line(shapely.get_coordinates(part), 1.1, style)
            elif part.geom_type == "Point":
                square(pen, part.x, part.y, 2.2)


def constraint_ink(place: int) -> Ink:
    """Return the ink of a layer of constraints by its place in the plan."""
    return CONSTRAINT_INKS[place % len(CONSTRAINT_INKS)]


def lines(pen: Pen, shape: Any, weight: float, style: str) -> None:
    """Draw every line of a shape."""
    for part in shapely.get_parts(shape):
        if part.geom_type in ("LineString", "LinearRing"):
            pen.line(shapely.get_coordinates(part), weight, style)


def pin(pen: Pen, x: float, y: float, first: bool) -> None:
    """Draw a pin: the first one filled, the second one open."""
    pen.circle(x, y, 1.7, 0.6, fill=0.0 if first else 1.0)


def colony(pen: Pen, x: float, y: float, wild: bool) -> None:
    """Draw a living colony: a cross for a wild one, a plus for an earlier outplant."""
    r = 1.5
    ends = (
        [((-r, -r), (r, r)), ((-r, r), (r, -r))]
        if wild
        else [((-r * 1.2, 0), (r * 1.2, 0)), ((0, -r * 1.2), (0, r * 1.2))]
    )
    for a, b in ends:
        pen.line([(x + a[0], y + a[1]), (x + b[0], y + b[1])], 0.5)


def corner(pen: Pen, x: float, y: float) -> None:
    """Draw a corner of a work area."""
    pen.circle(x, y, 2.0, 0.8, fill=1.0)


def square(pen: Pen, x: float, y: float, half: float, *, fill: float | None = 0.0) -> None:
    """Draw a square mark."""
    pen.box((x - half, y - half, x + half, y + half), 0.6, fill=fill)


def diamond(pen: Pen, x: float, y: float, half: float, *, fill: float | None = 0.0) -> None:
    """Draw a diamond mark."""
    pen.outline(shapely.Polygon([(x, y + half), (x + half, y), (x, y - half), (x - half, y)]), 0.6, fill=fill)


def triangle(pen: Pen, x: float, y: float, half: float, *, fill: float | None = 0.0) -> None:
    """Draw a triangular mark."""
    base = half * math.sqrt(3) / 2
    pen.outline(shapely.Polygon([(x, y + half), (x + base, y - half / 2), (x - base, y - half / 2)]), 0.6, fill=fill)


MARKS: dict[str, Callable[..., None]] = {"harbour": square, "nursery": triangle, "buoy": diamond}


def area_swatch(name: str | None, style: str, weight: float, ink: Ink = (0.0, 0.0, 0.0)) -> Draw:
    """Return how an area looks in a legend."""

    def draw(pen: Pen, box: Box) -> None:
        with pen.inked(ink):
            if name:
                hatch(pen, shapely.box(*box), name)
            pen.box(box, weight, style=style)

    return draw


def line_swatch(style: str, weight: float, ink: Ink = (0.0, 0.0, 0.0)) -> Draw:
    """Return how a line looks in a legend."""

    def draw(pen: Pen, box: Box) -> None:
        middle = (box[1] + box[3]) / 2
        with pen.inked(ink):
            pen.line([(box[0], middle), (box[2], middle)], weight, style)

    return draw


def mark_swatch(mark: Callable[..., None], *more: Any) -> Draw:
    """Return how a mark looks in a legend."""

    def draw(pen: Pen, box: Box) -> None:
        mark(pen, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2, *more)

    return draw


def legend(pen: Pen, box: Box, items: Sequence[tuple[str, Draw]], *, size: float = 6.5) -> float:
    """Draw the legend in rows from the top of a box; return the lower edge of the last row [pt].

    It is set smaller where it must; what does not fit even then is counted in the last place. A text too wide for a row
    ends in an ellipsis: full names stand in the tables.
    """
    swatch = 18.0
    for trial in (size, 6.0, 5.5):
        high = trial * 1.35 + 2
        spots = _spots(box, [_short(name, box[2] - box[0] - swatch - 4, trial) for name, _ in items], high)
        if len(spots) == len(items):
            break
    if len(spots) < len(items):
        left = len(items) - len(spots) + 1
        x, y, text = spots[-1]
        said = _short(say("permit.legend_more", number=left), box[2] - x, text.size)
        pen.text(x, y + 2.2, said.lines[0], said.size)
        spots = spots[:-1]
    for (x, y, text), (_, draw) in zip(spots, items, strict=False):
        draw(pen, (x, y + 1, x + swatch, y + high - 2))
        pen.text(x + swatch + 4, y + 2.2, text.lines[0], text.size)
    return spots[-1][1] if spots else box[3]


def _spots(box: Box, texts: Sequence[Fitted], high: float) -> list[tuple[float, float, Fitted]]:
    """Left edge, lower edge and text of each entry that fits in a box."""
    swatch, gap = 18.0, 9.0
    x, y = box[0], box[3] - high
    found: list[tuple[float, float, Fitted]] = []
    for text in texts:
        need = swatch + 4 + text.width
        if x > box[0] and x + need > box[2]:
            x, y = box[0], y - high
        if y < box[1] - 1e-6:
            break
        found.append((x, y, text))
        x += need + gap
    return found


def _short(name: str, room: float, size: float) -> Fitted:
    text = name
    while width(text, size) > room and len(text) > 4:
        text = text[:-2].rstrip("… ") + "…"
    return Fitted((text,), size)
