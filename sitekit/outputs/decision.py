"""The decision record as Markdown: sections of text, lists, tables and pictures, as given."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from sitekit.base.files import write_text
from sitekit.base.wording import length_unit, say


@dataclass(frozen=True)
class Rows:
    """A table: column heads (with units), rows of values, and what stands above it.

    Parameters
    ----------
    heads : tuple of str
        One per column.
    rows : sequence of sequence
        Text, numbers, flags; None and NaN print as a dash.
    decimals : tuple of int or None
        Of numbers, per column; None for text.
    above : str
        A sentence, may be empty.
    """

    heads: tuple[str, ...]
    rows: Sequence[Sequence[Any]]
    decimals: tuple[int | None, ...]
    above: str = ""


@dataclass(frozen=True)
class Picture:
    """A picture that stands beside the record: file name, and what it shows in words."""

    file: str
    words: str


@dataclass(frozen=True)
class Section:
    """One section: a title, and paragraphs, lists, tables and pictures in order."""

    title: str
    parts: Sequence[str | Sequence[str] | Rows | Picture] = field(default_factory=tuple)


def write_decision(path: Path, title: str, head: Sequence[str], sections: Sequence[Section]) -> None:
    """Write the record.

    Parameters
    ----------
    path : Path
        Target, `decision.md`.
    title : str
        Of the record.
    head : sequence of str
        Lines below the title: date, run, cautions.
    sections : sequence of Section
        Numbered from 1.
    """
    lines = [f"# {inline(title)}", "", *(f"{inline(line)}  " for line in head), ""]
    for number, section in enumerate(sections, start=1):
        lines += [f"## {number}. {inline(section.title)}", ""]
        for part in section.parts:
            lines += [*_printed(part), ""]
    text = re.sub(r"\n{3,}", "\n\n", "\n".join(lines))
    write_text(path, text.rstrip() + "\n")


def inline(text: object) -> str:
    r"""Return text that Markdown shows as it stands: on one line, nothing in it a mark, a tag or a column border.

    Examples
    --------
    >>> inline("a|b <i> *c* _d_")
    'a\\|b &lt;i> \\*c\\* \\_d\\_'
    """
    line = " ".join(str(text).split())
    line = line.replace("\\", "\\\\").replace("&", "&amp;").replace("<", "&lt;")
    return re.sub(r"([|*_`\[\]#])", r"\\\1", line)


def heads(*names: str, **values: object) -> tuple[str, ...]:
    """Return heads of columns by the ends of their labels, `record.h_…`; those that end in `_m` name the unit in force.

    Examples
    --------
    >>> heads("site", "wild_m")
    ('site', 'nearest wild colony [m]')
    """
    return tuple(say(f"record.h_{name}", unit=length_unit()[0], **values) for name in names)


def _printed(part: str | Sequence[str] | Rows | Picture) -> list[str]:
    if isinstance(part, str):
        return [inline(part)]
    if isinstance(part, Picture):
        return [f"![{inline(part.words)}]({part.file})"]
    if isinstance(part, Rows):
        return _table(part)
    return [f"- {inline(line)}" for line in part]


def _table(table: Rows) -> list[str]:
    above = [inline(table.above), ""] if table.above else []
    if not table.rows:
        return [*above, say("record.none")]
    right = ["---:" if d is not None else "---" for d in table.decimals]
    lines = ["| " + " | ".join(inline(h) for h in table.heads) + " |", "| " + " | ".join(right) + " |"]
    for row in table.rows:
        cells = [_cell(v, d) for v, d in zip(row, table.decimals, strict=True)]
        lines.append("| " + " | ".join(cells) + " |")
    return [*above, *lines]


def _cell(value: Any, decimals: int | None) -> str:
    if value is None or (not isinstance(value, (list, tuple)) and pd.isna(value)):
        return "–"
    if isinstance(value, bool):
        return say("told.yes" if value else "told.no")
    if decimals is not None and not isinstance(value, str):
        shown = f"{float(value):,.{decimals}f}".replace(",", " ")
        return "0" if shown.strip("-0. ") == "" and decimals == 0 else shown
    return inline(value)
