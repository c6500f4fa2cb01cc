"""What a first look at a file shows, and lines of a plan that tell what was seen, what is proposed and what is asked."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sitekit.season.settings import UNANSWERED
from sitekit.season.settings_method import PlotSetting

Bounds = tuple[float, float, float, float]
_WIDE = 44  # columns before a comment


DATUM = 'what are the heights counted from, such as "MLLW"? "unknown" is told wherever a depth is'
_PLOT = PlotSetting()
MAPPED = (
    f"how finely the bottom was mapped [m]; over {min(_PLOT.width_m, _PLOT.length_m):g} m, the shorter side of a plot "
    "([spacing.plot]), a run gives areas to scout and places no colony"
)


@dataclass
class Seen:
    """One file, or one sheet of it, after a first look.

    Parameters
    ----------
    path : Path
        The file.
    kind : {"raster", "shapes", "table", "picture"}
    said : list of str
        What was seen.
    unknown : list of str
        What the file does not tell.
    role : str
        Table of the plan it seems to belong to, such as `layers.bathymetry`; empty where nothing tells.
    why : str
        What the role was guessed from.
    extent : tuple of float, optional
        West, south, east, north [degrees, WGS 84].
    lines : list of str
        Lines of the plan below the line `file = …`.
    facts : dict
        Figures for other parts of the draft: cell_m, species, sheet.
    """

    path: Path
    kind: str
    said: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    role: str = ""
    why: str = ""
    extent: Bounds | None = None
    lines: list[str] = field(default_factory=list)
    facts: dict[str, Any] = field(default_factory=dict)


def text(value: object) -> str:
    """Value as TOML writes it: text in quotes, whatever stands in it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    return json.dumps(str(value), ensure_ascii=False)


def plain(value: object, most: int = 160) -> str:
    """Text of a file fit for a comment: one line, no control characters, cut to a length."""
    shown = "".join(" " if unicodedata.category(c)[0] == "C" else c for c in str(value))
    shown = " ".join(shown.split())
    return shown if len(shown) <= most else shown[: most - 1] + "…"


def proposed(key: str, value: object, why: str = "") -> str:
    """Line with a value that the file tells, or that is proposed for a stated reason."""
    line = f"{key} = {text(value)}"
    return f"{line:<{_WIDE}} # {plain(why)}" if why else line


def asked(key: str, question: str) -> str:
    """Line whose value only a person knows; `check` refuses it until it is answered."""
    line = f'{key} = "{UNANSWERED}"'
    return f"{line:<{_WIDE}} # asked: {plain(question, 300)}"


def optional(line: str, why: str = "") -> str:
    """Line that may be left out, commented."""
    return f"#: {line:<{_WIDE - 3}} # {plain(why, 300)}" if why else f"#: {line}"


def asked_codes(column: str, codes: Iterable[object]) -> str:
    """Line that names a column of species codes, with the question what they mean; it stands as it is until changed."""
    line = f"columns = {{ species = {text(column)} }}"
    why = f"asked: what do its codes {listing(codes, 6)} mean? They count as those of [[species]]; others: [partners] aliases"
    return f"{line:<{_WIDE}} # {plain(why, 300)}"


def listing(values: Iterable[object], most: int = 12) -> str:
    """Values in a row, the rest counted."""
    found = [plain(v, 40) for v in values]
    more = f" and {len(found) - most} more" if len(found) > most else ""
    return ", ".join(found[:most]) + more


def place(extent: Bounds) -> str:
    """Extent as people read it."""
    west, south, east, north = extent
    return f"{west:.4f} to {east:.4f} E, {south:.4f} to {north:.4f} N"
