"""Headings, paragraphs and tables that run over as many sheets as they need; a row is never cut in two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from sitekit.base.wording import say
from sitekit.errors import Fault, InputFault
from sitekit.outputs.paper.fonts import LINE_HEIGHT, Fitted, tidy, width, wrapped
from sitekit.outputs.paper.pen import Align, Box, Pen

TITLE_PT = 8.5  # letters of a table's title


class Block(Protocol):
    """Something that can be set over several sheets, in pieces."""

    def pieces(self) -> int:
        """How many pieces can stand on different sheets."""

    def height(self, start: int, stop: int) -> float:
        """Height of pieces `start` to `stop` [pt]."""

    def draw(self, pen: Pen, x: float, top: float, start: int, stop: int) -> None:
        """Draw pieces `start` to `stop` below `top`."""


@dataclass
class Words:
    """A heading or a paragraph in a given width, cut between lines.

    Parameters
    ----------
    text : str
        One paragraph.
    room : float
        Width [pt].
    size : float
        Of the letters [pt].
    bold : bool
        A heading; it stays with what follows.
    after : float
        Space below [pt].
    """

    text: str
    room: float
    size: float = 8.0
    bold: bool = False
    after: float = 3.0
    rows: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self.rows = wrapped(self.text, self.room, self.size, self.bold)

    def pieces(self) -> int:
        """Lines; a heading is one piece."""
        return 1 if self.bold else len(self.rows)

    def height(self, start: int, stop: int) -> float:
        """Height of lines [pt]."""
        lines = len(self.rows) if self.bold else stop - start
        return lines * self.size * LINE_HEIGHT + self.after + (4.0 if self.bold else 0.0)

    def draw(self, pen: Pen, x: float, top: float, start: int, stop: int) -> None:
        """Draw lines."""
        lines = self.rows if self.bold else self.rows[start:stop]
        pen.lines(x, top - (4.0 if self.bold else 0.0), Fitted(tuple(lines), self.size, self.bold))


@dataclass(frozen=True)
class Column:
    """One column of a printed table: heading, share of the width, side on which cells stand."""

    title: str
    share: float
    align: Align = "left"


@dataclass
class Listing:
    """A table; its heading is repeated on every sheet.

    Parameters
    ----------
    columns : sequence of Column
        Left to right.
    rows : sequence of sequence
        Cells, one per column; each is wrapped in its column.
    room : float
        Width [pt].
    size : float
        Of the letters [pt].
    after : float
        Space below [pt].
    lead : float
        Space between rows [pt].
    title : str
        Repeated, with "continued", where the table runs on to another sheet.
    headings : bool
        A row with only its first cell is a heading of what follows: bold, over the whole width.
    """

    columns: Sequence[Column]
    rows: Sequence[Sequence[object]]
    room: float
    size: float = 7.0
    after: float = 8.0
    lead: float = 3.0
    title: str = ""
    headings: bool = False
    cells: list[list[list[str]]] = field(init=False)
    head: list[list[str]] = field(init=False)
    high: list[float] = field(init=False)

    def __post_init__(self) -> None:
        total = sum(c.share for c in self.columns)
        self.wide = self._widths([c.share / total * self.room for c in self.columns])
        self.head = [wrapped(c.title, w - 5, self.size, True) for c, w in zip(self.columns, self.wide, strict=True)]
        self.cells = [self._wrapped(row) for row in self.rows]
        self.high = [self._row(c) for c in self.cells]

    def _widths(self, wide: list[float]) -> list[float]:
        """Widths by the shares [pt]; a column narrower than a word of its heading takes what it lacks from the others."""
        least = [max((width(w, self.size, True) for w in tidy(c.title).split()), default=0.0) + 5 for c in self.columns]
        lacking = sum(max(n - w, 0.0) for n, w in zip(least, wide, strict=True))
        spare = sum(max(w - n, 0.0) for n, w in zip(least, wide, strict=True))
        if lacking <= 0.0 or lacking > spare:
            return wide
        return [n if w < n else w - (w - n) * lacking / spare for n, w in zip(least, wide, strict=True)]

    def _wrapped(self, row: Sequence[object]) -> list[list[str]]:
        if self._heads(row):
            return [wrapped(tidy(row[0]), self.room - 5, self.size, True), *([""] for _ in self.wide[1:])]
        return [wrapped(tidy(v), w - 5, self.size) for v, w in zip(row, self.wide, strict=True)]

    def _heads(self, row: Sequence[object]) -> bool:
        return self.headings and not any(tidy(v) for v in row[1:])

    def pieces(self) -> int:
        """Rows; an empty table still shows its heading."""
        return max(len(self.cells), 1)

    def _row(self, cells: list[list[str]]) -> float:
        return max(len(lines) for lines in cells) * self.size * LINE_HEIGHT + self.lead

    def height(self, start: int, stop: int) -> float:
        """Height of the heading and rows [pt]."""
        return self._again(start) + self._row(self.head) + sum(self.high[start:stop]) + self.after

    def _again(self, start: int) -> float:
        """Height of the repeated title [pt]."""
        return TITLE_PT * LINE_HEIGHT + 6.0 if self.title and start else 0.0

    def draw(self, pen: Pen, x: float, top: float, start: int, stop: int) -> None:
        """Draw the heading and rows."""
        if self._again(start):
            line = wrapped(say("paper.continued", title=self.title), self.room, TITLE_PT, True)[0]
            pen.lines(x, top - 4.0, Fitted((line,), TITLE_PT, True))
            top -= self._again(start)
        y = top
        bold = [True, *(self._heads(row) for row in self.rows[start:stop])]
        for k, cells in enumerate([self.head, *self.cells[start:stop]]):
            high = self._row(cells)
            left = x
            for column, wide, lines in zip(self.columns, self.wide, cells, strict=True):
                at = {"left": left + 2.5, "centre": left + wide / 2, "right": left + wide - 2.5}[column.align]
                pen.lines(at, y - self.lead / 2, Fitted(tuple(lines), self.size, bold[k]), align=column.align)
                left += wide
            y -= high
            pen.line([(x, y), (x + self.room, y)], 0.9 if k == 0 else 0.25)
        pen.line([(x, top), (x + self.room, top)], 0.9)


Placed = tuple[Block, int, int, float]  # block, first piece, piece after the last, top [pt]


def paginate(blocks: Sequence[Block], body: Box) -> list[list[Placed]]:
    """Return for each sheet which pieces of which block stand where.

    Parameters
    ----------
    blocks : sequence of Block
        In reading order.
    body : Box
        Room on each sheet [pt].

    Raises
    ------
    InputFault
        If one piece alone is higher than a sheet.
    """
    sheets: list[list[Placed]] = [[]]
    top = body[3]
    for k, block in enumerate(blocks):
        start = 0
        while start < block.pieces():
            stop = start
            while stop < block.pieces() and block.height(start, stop + 1) <= top - body[1]:
                stop += 1
            heading = isinstance(block, Words) and block.bold
            if heading and stop > start and k + 1 < len(blocks):
                follows = blocks[k + 1]
                need = block.height(0, 1) + follows.height(0, min(2, follows.pieces()))
                if need > top - body[1] and sheets[-1]:
                    stop = start
            if stop == start:
                if not sheets[-1]:
                    raise InputFault(
                        Fault("a table or text of the sheets", "one row is higher than a sheet", "shorter texts",
                              "Shorten it; no sheet was written.")
                    )  # fmt: skip
                sheets.append([])
                top = body[3]
                continue
            sheets[-1].append((block, start, stop, top))
            top -= block.height(start, stop)
            start = stop
    return sheets
