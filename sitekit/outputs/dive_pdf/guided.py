"""Guided sheets: counts per genet and stretch of tape; the diver picks clean hard spots, the recorder notes where."""

from __future__ import annotations

from collections.abc import Sequence

from sitekit.base.wording import say
from sitekit.outputs.dive_pdf.diagram import Diagram
from sitekit.outputs.dive_pdf.head import large_head, short_head
from sitekit.outputs.dive_pdf.marks import BIG, FOOT, MARGIN, ROW, foot
from sitekit.outputs.dive_pdf.rows import (
    FIRST_HEAD,
    NEXT_HEAD,
    Draw,
    cell,
    column_edges,
    recorder_pages,
    table_frame,
)
from sitekit.outputs.dive_pdf.scene import About, PlotPages, Segment, Unit
from sitekit.outputs.paper.fonts import fitted, width
from sitekit.outputs.paper.pen import Box, Pen

_RULE = 30.0  # pt, room of the rule above the stretches
_TALLY = 11.0  # pt, side of a box to tick


def guided_planter_pages(plot: PlotPages, about: About, paper: tuple[float, float]) -> list[Draw]:
    """Return the planter's guided pages: the stretches with counts and boxes to tick, the diagram's tape beside."""
    side = max(88.0, 0.24 * paper[0])
    room = paper[0] - 2 * MARGIN - side - 4
    picture = Diagram(plot)
    pages: list[list[Segment]] = [[]]
    left = _room(paper, first=True)
    for segment in plot.segments:
        high = _height(segment, room)
        if high > left and pages[-1]:
            pages.append([])
            left = _room(paper, first=False)
        pages[-1].append(segment)
        left -= high

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            head = large_head if k == 0 else short_head
            top = head(pen, plot, say("head.planter"), say("part_of", number=k + 1, total=len(pages)))
            low = MARGIN + FOOT
            picture.draw(pen, (MARGIN, low, MARGIN + side, top), set())
            x, right = MARGIN + side + 4, pen.width - MARGIN
            stick = "" if plot.stick_m is None else say("guided.stick", stick=f"{plot.stick_m:.2f}")
            fit = fitted(
                say("guided.rule") + stick + say("guided.diagram"),
                (right - x, _RULE), sizes=(9, 8.5, 8, 7.5, 7, 6.5, 6), bold=True, where="rule of a guided sheet",
            )  # fmt: skip
            pen.lines(x, top, fit)
            y = top - _RULE
            for segment in pages[k]:
                y = _stretch(pen, segment, x, right, y)
            foot(pen, about, number, total)

        return draw

    return [page(k) for k in range(len(pages))]


def _room(paper: tuple[float, float], *, first: bool) -> float:
    return paper[1] - 2 * MARGIN - FOOT - _RULE - (FIRST_HEAD if first else NEXT_HEAD)


def _lines(segment: Segment, room: float) -> list[list[tuple[str, int]]]:
    """Genets of a stretch in lines: `A` with one box per unit each."""
    out: list[list[tuple[str, int]]] = [[]]
    used = 0.0
    for letter, number in segment.counts.items():
        wide = _wide(letter, number)
        if used + wide > room and out[-1]:
            out.append([])
            used = 0.0
        out[-1].append((letter, number))
        used += wide
    return out


def _wide(letter: str, number: int) -> float:
    return width(f"{number} {letter}", BIG, True) + 4 + number * (_TALLY + 2) + 8


def _height(segment: Segment, room: float) -> float:
    return 16.0 + len(_lines(segment, room)) * ROW


def _stretch(pen: Pen, segment: Segment, x: float, right: float, top: float) -> float:
    total = sum(segment.counts.values())
    pen.line([(x, top), (right, top)], 1.2)
    pen.text(x + 2, top - 13, f"{round(segment.from_m, 1):g}–{round(segment.to_m, 1):g} m", 12.0, bold=True)
    pen.text(right - 2, top - 13, say("guided.units", number=total), 10.0, align="right")
    y = top - 16
    for line in _lines(segment, right - x):
        at = x + 2
        for letter, number in line:
            text = f"{number} {letter}"
            pen.text(at, y - ROW / 2 - 0.36 * BIG, text, BIG, bold=True)
            at += width(text, BIG, True) + 4
            for _ in range(number):
                pen.box((at, y - ROW / 2 - _TALLY / 2, at + _TALLY, y - ROW / 2 + _TALLY / 2), 1.0)
                at += _TALLY + 2
            at += 8
        y -= ROW
    return y


def guided_recorder_pages(plot: PlotPages, about: About, paper: tuple[float, float]) -> list[Draw]:
    """Return the recorder's guided pages: a row per unit to write genet, readings, tag and photo in."""
    return recorder_pages(plot, about, paper, _table)


def _table(pen: Pen, _: PlotPages, units: Sequence[Unit], box: Box) -> None:
    names = [
        say("rows.number"),
        say("rows.genet"),
        say("rows.along"),
        say("rows.offset_side"),
        say("rows.tag_set"),
        say("rows.photo"),
        say("rows.notes"),
    ]
    edges = column_edges(box, [40, 34, 52, 60, 62, 42, 58])
    top = table_frame(pen, box, edges, names, len(units))
    for k, unit in enumerate(units):
        cell(pen, edges[0], edges[1], top - k * ROW, str(unit.number), bold=True)
