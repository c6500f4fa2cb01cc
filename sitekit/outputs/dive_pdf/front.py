"""The first pages of a set: cautions in full, emergency boxes left empty, tasks, how to read a sheet, letters."""

from __future__ import annotations

from sitekit.base.wording import caution, length_text, say, wording
from sitekit.outputs.dive_pdf.marks import FOOT, MARGIN, foot, side_mark
from sitekit.outputs.dive_pdf.rows import Draw
from sitekit.outputs.dive_pdf.scene import DivePack
from sitekit.outputs.paper.fonts import LINE_HEIGHT, Fitted, fitted, wrapped
from sitekit.outputs.paper.pen import Pen

EMERGENCY = (
    "emergency.chamber",
    "emergency.ambulance",
    "emergency.oxygen",
    "emergency.radio",
    "emergency.rendezvous",
)  # labels
_LETTER_ROW = 17.0  # pt


def cover(pack: DivePack, title: str = "front.title") -> Draw:
    """Return the page with cautions in full and the emergency boxes: empty, to be filled in by hand."""

    def draw(pen: Pen, number: int, total: int) -> None:
        about = pack.about
        left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
        y = _heading(pen, say(title), top)
        fit = fitted(about.name, (right - left, 30), sizes=(14, 12, 10, 9, 8), bold=True, where="plan.name")
        y = pen.lines(left, y, fit) - 2
        plots = len(pack.plots)
        units = sum(len(p.units) for p in pack.plots)
        facts = say("front.facts", plots=plots, units=units, sites=len(pack.sites), date=about.date, run=about.run_id)
        if not wording().reviewed:
            facts = f"{facts} {say('unreviewed').capitalize()}."
        y = _paragraph(pen, facts, left, right, y, 9.5)
        y = _subheading(pen, say("front.cautions"), left, y)
        size = 8.5 if wording().reviewed else 7.0  # with the English beside them the lines are twice as many
        for text in (*(caution(c) for c in about.cautions), *pack.notes):
            y = _paragraph(pen, "• " + text, left, right, y, size)
        y = _subheading(pen, say("front.open"), left, y)
        room = (y - MARGIN - FOOT - 4) / len(EMERGENCY)
        high = min(46.0, room)
        for name in EMERGENCY:
            pen.box((left, y - high + 3, right, y), 1.2)
            pen.text(left + 4, y - 10, say(name), 8.0, bold=True)
            y -= high
        foot(pen, about, number, total)

    return draw


def how_to(pack: DivePack) -> Draw:
    """Return the page with the tasks and how to read a sheet."""

    def draw(pen: Pen, number: int, total: int) -> None:
        about = pack.about
        left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
        y = _heading(pen, say("front.on_reef"), top)
        y = _subheading(pen, say("front.tasks"), left, y)
        for k, task in enumerate(pack.tasks, start=1):
            y = _paragraph(pen, f"{k}. {task}", left, right, y, 10.5)
        y = _subheading(pen, say("front.how_to"), left, y)
        for side, words in (
            ("L", say("front.circle")),
            ("R", say("front.square")),
            ("", say("front.diamond")),
        ):
            side_mark(pen, left + 8, y - 8, 12, side, filled=True)
            y = _paragraph(pen, words, left + 22, right, y, 10.0) - 2
        lines = [
            say("front.along"),
            say("front.on_circle"),
            say("front.black"),
            say("front.errors", pin=length_text(about.pin_error_m), tolerance=length_text(about.lay_tolerance_m)),
            say("front.second_pin"),
            say("front.letters_same"),
        ]
        if (
            wording().units == "ft"
        ):  # readings are laid out in steps of 0.1 m: in tenths of a foot they would come nearer
            lines.insert(0, say("front.tape_metric"))
        for line in lines:
            y = _paragraph(pen, line, left, right, y, 9.5)
        foot(pen, about, number, total)

    return draw


def letter_pages(pack: DivePack, paper: tuple[float, float]) -> list[Draw]:
    """Return the pages that say what each genet letter stands for."""
    room = paper[1] - 2 * MARGIN - FOOT - 40
    each = max(1, 2 * int(room // _LETTER_ROW))
    pages = [pack.letters[k : k + each] for k in range(0, max(len(pack.letters), 1), each)]

    def page(k: int) -> Draw:
        def draw(pen: Pen, number: int, total: int) -> None:
            left, right, top = MARGIN, pen.width - MARGIN, pen.height - MARGIN
            start = _heading(pen, say("front.letters"), top) - 4
            half = -(-len(pages[k]) // 2)
            wide = (right - left) / 2
            for i, (letter, species, genet) in enumerate(pages[k]):
                column, row = divmod(i, half)
                x, y = left + column * wide, start - row * _LETTER_ROW
                pen.text(x, y - 13, letter, 13.0, bold=True)
                fit = fitted(
                    f"{species} {genet}",
                    (wide - 36, _LETTER_ROW),
                    sizes=(11, 10, 9, 8, 7, 6, 5),
                    where=f"genet {genet!r}",
                )
                pen.lines(x + 30, y - (_LETTER_ROW - fit.height) / 2 + 1, fit)
            foot(pen, pack.about, number, total)

        return draw

    return [page(k) for k in range(len(pages))]


def _heading(pen: Pen, text: str, top: float) -> float:
    pen.text(MARGIN, top - 18, text, 18.0, bold=True)
    pen.line([(MARGIN, top - 24), (pen.width - MARGIN, top - 24)], 1.4)
    return top - 28


def _subheading(pen: Pen, text: str, left: float, top: float) -> float:
    pen.text(left, top - 14, text, 10.5, bold=True)
    return top - 19


def _paragraph(pen: Pen, text: str, left: float, right: float, top: float, size: float) -> float:
    lines = wrapped(text, right - left, size)
    pen.lines(left, top, Fitted(tuple(lines), size))
    return top - len(lines) * size * LINE_HEIGHT - 2.5
