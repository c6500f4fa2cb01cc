"""DejaVu Sans, embedded: widths, line breaks, text that fits its box; scripts it lacks are refused by name."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from reportlab.lib.rl_accel import escapePDF
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from sitekit.errors import Fault, Faults, InputFault

REGULAR, BOLD = "SitekitSans", "SitekitSans-Bold"  # names inside the PDF's resources
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
LINE_HEIGHT = 1.22  # of the size; DejaVu Sans rises 0.93 and falls 0.24 of an em (its hhea table)
# Encoded lines of each canvas that is being drawn.
_ENCODED: WeakKeyDictionary[Any, dict[tuple[str, float, bool], str]] = WeakKeyDictionary()
# Scripts whose letters join or run from right to left: the font has some of them, the PDF writer does not shape them.
_UNSHAPED = ("ARABIC", "HEBREW", "SYRIAC", "THAANA", "NKO", "DEVANAGARI", "LAO")


@cache
def _register() -> dict[str, Any]:
    folder = Path(__file__).resolve().parents[1] / "fonts"
    found = {}
    for name, file in _FILES.items():
        found[name] = TTFont(name, str(folder / file))
        pdfmetrics.registerFont(found[name])
    return found


def font_name(bold: bool = False) -> str:
    """Return the name of the font for a canvas; it is registered on the first call."""
    _register()
    return BOLD if bold else REGULAR


def width(text: str, size: float, bold: bool = False) -> float:
    """Return the printed width of a line [pt]."""
    return 0.001 * size * _em_width(text, bold)


@lru_cache(maxsize=1 << 16)
def _em_width(text: str, bold: bool) -> float:
    """Width of a line in thousandths of the size."""
    return float(pdfmetrics.stringWidth(text, font_name(bold), 1000.0))


@lru_cache(maxsize=1 << 14)
def shrunk(text: str, size: float, room: float, *, bold: bool = False, least: float = 10.0, step: float = 0.5) -> float:
    """Return the size at which a line fits `room` [pt]: from `size` down by `step`, not below `least` [pt]."""
    while size > least and width(text, size, bold) > room:
        size -= step
    return size


def shown(canvas: Any, line: str, x: float, y: float, size: float, bold: bool = False) -> str:
    """Return the operators that print a line whose baseline starts at (x, y) [pt]."""
    known = _ENCODED.get(canvas)
    if known is None:
        known = _ENCODED[canvas] = {}
    code = known.get((line, size, bold))
    if code is None:
        font, document = _register()[font_name(bold)], canvas._doc
        # a letter keeps the code that its first use in a document gave it
        code = " ".join(
            f"{font.getSubsetInternalName(subset, document)} {size:g} Tf ({escapePDF(codes)}) Tj"
            for subset, codes in font.splitString(line, document)
        )
        known[(line, size, bold)] = code
    return f"BT {x:.2f} {y:.2f} Td {code} ET"


def tidy(value: object) -> str:
    """Return a value as one line of printable text: composed letters, single spaces, no control or direction marks."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    return _tidy(str(value))


@lru_cache(maxsize=1 << 15)
def _tidy(text: str) -> str:
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    text = unicodedata.normalize("NFC", text)
    kept = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    return " ".join("".join(c for c in kept if unicodedata.category(c) not in ("Cf", "Cs", "Co", "Cn")).split())


def scripts_lacking(text: str) -> dict[str, str]:
    """Return script -> its characters that cannot be printed, e.g. ``{"CJK": "珊瑚"}``; empty where all can."""
    glyphs = _register()[REGULAR].face.charToGlyph
    found: dict[str, str] = {}
    for c in text:
        if c in "\t\n ":
            continue
        script = unicodedata.name(c, "UNNAMED SIGN").split()[0].removesuffix("-").split("-")[0]
        if ord(c) not in glyphs or script in _UNSHAPED:
            found[script] = found.get(script, "") + c
    return found


def check_scripts(texts: Iterable[tuple[str, object]]) -> None:
    """Refuse texts that the font cannot print.

    Parameters
    ----------
    texts : iterable of (where, text)
        `where` is named in the fault: a key of the settings or a row of a table.

    Raises
    ------
    InputFault
        Naming each text and script.
    """
    with Faults() as faults:
        for where, value in texts:
            for script, letters in scripts_lacking(tidy(value)).items():
                faults.add(
                    where,
                    f"{letters[:12]!r} is in a script the font lacks or cannot join: {script}",
                    "Latin, Greek or Cyrillic letters",
                    "Write it in one of these; no sheet was written.",
                )


def wrapped(text: object, room: float, size: float, bold: bool = False) -> list[str]:
    """Return the lines of a text that are no wider than `room` [pt]; words that are wider alone are cut."""
    lines: list[str] = []
    line = ""
    for word in tidy(text).split():
        trial = f"{line} {word}" if line else word
        if width(trial, size, bold) <= room:
            line = trial
            continue
        if line:
            lines.append(line)
        while width(word, size, bold) > room and len(word) > 1:
            cut = _cut(word, room, size, bold)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    return [*lines, line] if line or not lines else lines


def _cut(word: str, room: float, size: float, bold: bool) -> int:
    cut = len(word) - 1
    while cut > 1 and width(word[:cut], size, bold) > room:
        cut -= 1
    # a break after a hyphen, slash or underscore reads better than one inside a syllable
    for back in range(cut, max(cut // 2, 1), -1):
        if word[back - 1] in "-/_,;:":
            return back
    return cut


@dataclass(frozen=True)
class Fitted:
    """Lines of text and the size [pt] at which they fit their box."""

    lines: tuple[str, ...]
    size: float
    bold: bool = False

    @property
    def height(self) -> float:
        """Height of the lines [pt]."""
        return len(self.lines) * self.size * LINE_HEIGHT

    @property
    def width(self) -> float:
        """Width of the longest line [pt]."""
        return max((width(line, self.size, self.bold) for line in self.lines), default=0.0)


def fitted(
    text: object, box: tuple[float, float], *, sizes: Sequence[float] = (8.0, 7.0, 6.0), bold: bool = False, where: str
) -> Fitted:
    """Return a text at the largest size at which it fits its box whole; it is never cut short.

    Parameters
    ----------
    text : object
        Any value; `tidy` makes one line of it.
    box : tuple of float
        Width and height [pt].
    sizes : sequence of float
        Tried in order [pt], largest first.
    bold : bool
        Which font.
    where : str
        Named in the fault.

    Raises
    ------
    InputFault
        If it is too long at the smallest size.
    """
    line = tidy(text)
    found = _fitted(line, box, tuple(sizes), bold)
    if found is not None:
        return found
    raise InputFault(
        Fault(
            where,
            f"{len(line)} characters ({line[:40]!r}…)",
            f"a text that fits a box of {box[0] / 72:.2f} × {box[1] / 72:.2f} inch at {sizes[-1]:g} pt",
            "Shorten it; no sheet was written.",
        )
    )


@lru_cache(maxsize=1 << 12)
def _fitted(line: str, box: tuple[float, float], sizes: tuple[float, ...], bold: bool) -> Fitted | None:
    """The same heads and feet come on page after page."""
    for size in sizes:
        lines = wrapped(line, box[0], size, bold)
        if len(lines) * size * LINE_HEIGHT <= box[1] + 1e-6:
            return Fitted(tuple(lines), size, bold)
    return None
