"""QR codes, shapes for left and right, boxes to write in, and the foot of each page."""

from __future__ import annotations

from functools import lru_cache

from reportlab.graphics.barcode.qrencoder import QR8bitByte, QRCode, QRErrorCorrectLevel

from sitekit.base.wording import retell, say, wording
from sitekit.outputs.dive_pdf.scene import About
from sitekit.outputs.paper.fonts import fitted, shrunk, width
from sitekit.outputs.paper.pen import Box, Pen

MARGIN = 24.0  # pt; a third of an inch: usual printers reach it
FOOT = 34.0  # pt, three lines: caution, its English beside a translation, plan and page
MM = 72.0 / 25.4
ROW = 26.0  # pt = 9.2 mm to write in with a pencil and gloves; 9 mm are due
BIG = 16.0  # pt, least size of what a diver reads off a row
_ARC = 0.5523  # of the radius: control points of a quarter circle by one cubic curve, within 0.03 %
_CIRCLE = (
    f"1 0 m 1 {_ARC} {_ARC} 1 0 1 c -{_ARC} 1 -1 {_ARC} -1 0 c -1 -{_ARC} -{_ARC} -1 0 -1 c {_ARC} -1 1 -{_ARC} 1 0 c h"
)
_SQUARE, _DIAMOND = "-1 -1 2 2 re", "0 1 m 1 0 l 0 -1 l -1 0 l h"
_QUIET = 4  # modules of white around a QR code (ISO/IEC 18004; recalled, unverified)
_MASK = 2  # any of the eight masks is valid; trying all costs eight times as much


@lru_cache(maxsize=4096)
def _modules(text: str) -> tuple[tuple[int, ...], ...]:
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(QR8bitByte(text))
    code.version = code.calculate_version()
    code.makeImpl(False, _MASK)
    return tuple(tuple(int(bool(v)) for v in row) for row in code.modules)


def qr(pen: Pen, box: Box, text: str) -> None:
    """Draw a QR code of a text in the square box, quiet zone inside; black modules as one path."""
    rows = _modules(text)
    n = len(rows)
    side = min(box[2] - box[0], box[3] - box[1]) / (n + 2 * _QUIET)
    left, top = box[0] + _QUIET * side, box[3] - _QUIET * side
    name = f"qr-{n}-{round(side * 1000)}-{text}"
    canvas = pen.canvas
    if not canvas.hasForm(name):
        canvas.beginForm(name, 0, 0, n * side, n * side)
        runs = []
        for i, row in enumerate(rows):
            start = 0
            while start < n:
                if not row[start]:
                    start += 1
                    continue
                stop = start
                while stop < n and row[stop]:
                    stop += 1
                runs.append(f"{start} {n - 1 - i} {stop - start} 1 re")
                start = stop
        # one path of whole numbers, scaled: some thousand rectangles cost no number formatting
        canvas.addLiteral(f"q {side:.5f} 0 0 {side:.5f} 0 0 cm 0 g {' '.join(runs)} f Q")
        canvas.endForm()
    canvas.saveState()
    canvas.translate(left, top - n * side)
    canvas.doForm(name)
    canvas.restoreState()


def geo_uri(longitude_deg: float, latitude_deg: float) -> str:
    """Return a position as a `geo:` address (RFC 5870), latitude first, 6 decimals (0.1 m)."""
    lat, lon = f"{latitude_deg:.6f}", f"{longitude_deg:.6f}"
    return f"geo:{'0.000000' if float(lat) == 0 else lat},{'0.000000' if float(lon) == 0 else lon}"


def side_mark(pen: Pen, x: float, y: float, size: float, side: str, *, filled: bool) -> None:
    """Draw the shape of a side round (x, y): a circle for left, a square for right, a diamond on the tape."""
    half = size / 2
    shape, half = {"L": (_CIRCLE, half), "R": (_SQUARE, 0.93 * half)}.get(side, (_DIAMOND, 1.2 * half))
    line = (1.2 if filled else 0.8) / half
    pen.put(
        f"q {half:.3f} 0 0 {half:.3f} {x:.2f} {y:.2f} cm {line:.4f} w [] 0 d 0 G {0 if filled else 1} g {shape} B Q"
    )


def tick_box(pen: Pen, x: float, y: float, side: float = 15.0, *, ticked: bool = False) -> None:
    """Draw a box to tick, its middle at (x, y); a ticked one is crossed out from corner to corner."""
    half = side / 2
    pen.box((x - half, y - half, x + half, y + half), 1.1)
    if ticked:
        pen.line([(x - half, y - half), (x + half, y + half)], 1.1)
        pen.line([(x - half, y + half), (x + half, y - half)], 1.1)


def label(pen: Pen, box: Box, name: str, value: str, size: float, *, bold: bool = True) -> None:
    """Draw a frame with a small name above a large value that is shrunk to fit, never below 8 pt."""
    pen.box(box, 0.8)
    room = box[2] - box[0] - 6
    fit = fitted(name, (room + 3, 9), sizes=(7.0, 6.5, 6, 5.5, 5, 4.5), where=f"heading {name!r}")
    pen.text(box[0] + 3, box[3] - 9, name, fit.size)
    size = shrunk(value, size, room, bold=bold, least=8.0)
    pen.text(box[0] + 3, box[1] + 5, value, size, bold=bold)


def foot(pen: Pen, about: About, number: int, total: int) -> None:
    """Draw the foot of a page: one caution, plan, run, date, page n of N."""
    left, right, low = MARGIN, pen.width - MARGIN, MARGIN
    pen.line([(left, low + FOOT - 4), (right, low + FOOT - 4)], 0.6)
    y = low + FOOT - 5
    lines = [about.line] if wording().reviewed else [f"{retell(about.line)} [{say('unreviewed_short')}]", about.line]
    for line in lines:
        fit = fitted(line, (right - left, 10.0), sizes=(7.5, 7.0, 6.5, 6.0, 5.5, 5.0, 4.5), where="caution at the foot")
        y = pen.lines(left, y, fit)
    page = say("page_of", number=number, total=total)
    stamp = say("fictional") if about.fictional else ""
    pen.text(right, low + 2, page, 8.0, bold=True, align="right")
    room = right - left - width(page, 8.0, True) - 8
    if stamp:
        pen.text(left, low + 2, stamp, 8.0, bold=True)
        room -= width(stamp, 8.0, True) + 6
    text = f"{about.name} · {about.date} · {say('run', run=about.run_id)}"
    small = fitted(text, (room, 9.5), sizes=(7.0, 6.5, 6.0, 5.5, 5.0, 4.5), where="plan.name at the foot of sheets")
    pen.lines(left + (width(stamp, 8.0, True) + 6 if stamp else 0.0), low + 9.0, small)
