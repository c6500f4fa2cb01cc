"""What every drawing carries: margins, a title block, stamps, cautions, and a line to check the printed scale with."""

from __future__ import annotations

from dataclasses import dataclass

from sitekit.base.wording import say
from sitekit.outputs.paper.fonts import fitted, tidy, width
from sitekit.outputs.paper.pen import Box, Pen

# "1 inch margin at the top, 1/2 inch on the other three sides" (trade row TV-117); title block "about 1 x 4 inches,
# lower left or right" with file no., applicant, waterbody, activity, sheet n of N, date (TV-119). 72 pt are one inch.
TOP_MARGIN, OTHER_MARGIN = 72.0, 36.0
BLOCK_WIDTH, BLOCK_HEIGHT = 290.0, 88.0
HEAD_HEIGHT, STRIP_HEIGHT = 22.0, 16.0
LABEL = 6.0  # size of the names of facts [pt]: smaller letters run together in a copy at 100 dpi (looked at)
CHECK_LINE_MM = 100.0
MM = 72.0 / 25.4  # points


@dataclass(frozen=True)
class TitleBlock:
    """What the title block says on every sheet; empty facts read "not stated" and are open items elsewhere."""

    applicant: str
    file_number: str
    water_body: str
    activity: str
    date: str
    revision: str


@dataclass(frozen=True)
class Frame:
    """Page frame of one kind of packet.

    Parameters
    ----------
    size : tuple of float
        Width and height of the sheet [pt].
    block : TitleBlock
        On every sheet.
    stamps : tuple of str
        In the head of every sheet, e.g. `DRAFT`, `FICTIONAL`.
    small_print : tuple of str
        Sentences beside the title block: cautions, datum, source, run.
    """

    size: tuple[float, float]
    block: TitleBlock
    stamps: tuple[str, ...]
    small_print: tuple[str, ...]

    @property
    def inner(self) -> Box:
        """The printable box inside the margins [pt]."""
        return OTHER_MARGIN, OTHER_MARGIN, self.size[0] - OTHER_MARGIN, self.size[1] - TOP_MARGIN

    @property
    def body(self) -> Box:
        """The box that is free for the sheet's own matter [pt]."""
        left, bottom, right, top = self.inner
        return left, bottom + BLOCK_HEIGHT + STRIP_HEIGHT, right, top - HEAD_HEIGHT

    def draw(self, pen: Pen, number: int, total: int, title: str, scale: str | None = None) -> None:
        """Draw everything but the body.

        Parameters
        ----------
        pen : Pen
            Of the sheet.
        number, total : int
            Sheet n of N.
        title : str
            Of the sheet.
        scale : str or None
            E.g. `"1 : 500"`; None where nothing is to scale.

        Raises
        ------
        InputFault
            If a text of the title block is too long for its box.
        """
        left, bottom, right, top = self.inner
        self._head(pen, title)
        pen.line([(left, top - HEAD_HEIGHT + 2), (right, top - HEAD_HEIGHT + 2)], 0.9)
        check_line(pen, left, bottom + BLOCK_HEIGHT + 5, right - left)
        self._block(pen, number, total, title, say("paper.no_scale") if scale is None else scale)
        box = (left, bottom, right - BLOCK_WIDTH - 5, bottom + BLOCK_HEIGHT)
        pen.box(box, 0.6)
        fit = fitted(
            "  ".join(self.small_print),
            (box[2] - box[0] - 8, BLOCK_HEIGHT - 6),
            sizes=(6.5, 6.0, 5.5, 5.0),
            where="small print of the sheets",
        )
        pen.lines(left + 4, bottom + BLOCK_HEIGHT - 3, fit)

    def _head(self, pen: Pen, title: str) -> None:
        left, _, right, top = self.inner
        edge = right
        for stamp in reversed(self.stamps):
            wide = width(stamp, 9, True) + 8
            pen.box((edge - wide, top - 15, edge, top - 1), 1.2)
            pen.text(edge - wide + 4, top - 11, stamp, 9, bold=True)
            edge -= wide + 5
        fit = fitted(
            title,
            (edge - left - 6, HEAD_HEIGHT - 3),
            sizes=(12, 10.5, 9, 8, 7, 6, 5.5, 5),
            bold=True,
            where="title of a sheet",
        )
        pen.lines(left, top - (2 if len(fit.lines) == 1 else 0), fit)

    def _block(self, pen: Pen, number: int, total: int, title: str, scale: str) -> None:
        _, bottom, right, _ = self.inner
        left, top = right - BLOCK_WIDTH, bottom + BLOCK_HEIGHT
        block = self.block
        pen.box((left, bottom, right, top), 1.2)
        rows = [
            [("drawing", title, BLOCK_WIDTH)],
            [("applicant", block.applicant, BLOCK_WIDTH)],
            [("activity", block.activity, BLOCK_WIDTH)],
            [("water_body", block.water_body, 178.0), ("file_number", block.file_number, BLOCK_WIDTH - 178.0)],
            [
                ("date", block.date, 80.0),
                ("revision", block.revision, 52.0),
                ("scale", scale, 78.0),
                ("sheet", say("part_of", number=number, total=total), BLOCK_WIDTH - 210.0),
            ],
        ]
        high = BLOCK_HEIGHT / len(rows)
        for k, row in enumerate(rows):
            y, x = top - k * high, left
            if k:
                pen.line([(left, y), (right, y)], 0.4)
            for j, (fact, value, wide) in enumerate(row):
                name = say(f"paper.{fact}")
                if j:
                    pen.line([(x, y), (x, y - high)], 0.4)
                label = width(name, LABEL)
                pen.text(x + 3, y - high / 2 - 2, name, LABEL)
                room = wide - label - 9
                fit = fitted(
                    tidy(value) or say("told.not_stated"),
                    (room, high - 1.5),
                    sizes=(8, 7, 6.5, 6, 5.5, 5),
                    bold=k == 0 or fact == "sheet",
                    where=f"title block, {name}",
                )
                pen.lines(x + label + 6, y - (high - fit.height) / 2, fit)
                x += wide


def check_line(pen: Pen, x: float, y: float, room: float) -> None:
    """Draw a line of exactly 100 mm with a tick each 10 mm, and what to do with it, in a strip 12 pt high.

    Parameters
    ----------
    pen : Pen
        Of the sheet.
    x, y : float
        Left end [pt].
    room : float
        Width of the strip [pt]; the text stands right of the line.
    """
    long = CHECK_LINE_MM * MM
    pen.line([(x, y), (x + long, y)], 0.8)
    for k in range(11):
        pen.line(
            [(x + k * long / 10, y), (x + k * long / 10, y + (6 if k % 5 == 0 else 3))], 0.8 if k % 5 == 0 else 0.4
        )
    fit = fitted(
        say("paper.check_line", mm=f"{CHECK_LINE_MM:g}"),
        (room - long - 8, 11.0),
        sizes=(7, 6.5, 6, 5.5, 5),
        where="check line",
    )
    pen.lines(x + long + 6, y + fit.height - 1, fit)
