"""Sheets one by one into one PDF: n of N known before the first is drawn, the same sheets give the same bytes."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from pathlib import Path

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from sitekit.base.files import write_bytes
from sitekit.outputs.paper.pen import Pen

# reportlab's invariant mode writes a fixed date and document id: no clock in results.
rl_config.useA85 = 0  # binary streams: a fifth smaller, and quicker to write
Draw = Callable[[Pen, int, int], None]
PAPERS: dict[str, tuple[float, float]] = {
    "letter": (612.0, 792.0),  # 8.5 × 11 inch (trade row TV-116)
    "half letter": (396.0, 612.0),
    "A4": (595.2756, 841.8898),  # 210 × 297 mm (ISO 216)
    "A5": (419.5276, 595.2756),
}


def book_bytes(
    sheets: Sequence[Draw], size: tuple[float, float], *, title: str, subject: str = "", author: str = "sitekit"
) -> bytes:
    """Return a PDF of the sheets.

    Parameters
    ----------
    sheets : sequence of callable
        Each draws one sheet: `draw(pen, number, total)`; numbers count from 1.
    size : tuple of float
        Width and height [pt], e.g. `PAPERS["A4"]`.
    title, subject, author : str
        For the file's own description.
    """
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setSubject(subject)
    canvas.setAuthor(author)
    canvas.setCreator("sitekit")
    for number, draw in enumerate(sheets, start=1):
        draw(Pen(canvas, size), number, len(sheets))
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def write_book(path: Path, sheets: Sequence[Draw], size: tuple[float, float], *, title: str, subject: str = "") -> None:
    """Write a PDF of the sheets, whole or not at all.

    Raises
    ------
    InputFault
        From a sheet whose text does not fit; nothing is written then.
    FileFault
        If the file cannot be written.
    """
    write_bytes(path, book_bytes(sheets, size, title=title, subject=subject))
