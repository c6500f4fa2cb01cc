"""The `shared` folder that ships with sitekit, and the citations in it."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sitekit.errors import Fault, FileFault, InputFault


def _root() -> Path:
    package = Path(__file__).resolve().parents[1]
    for place in (package / "_shared", package.parent / "shared"):
        if (place / "sources.json").is_file():
            return place
    raise FileFault(Fault("shared", "the folder is missing", "sitekit/_shared or shared/", "Install sitekit again."))


def shared_file(name: str) -> Path:
    """Return the path of a file of the shipped `shared` folder, e.g. `"tables.json"`.

    Raises
    ------
    FileFault
        If the installation lacks it.
    """
    path = _root() / name
    if not path.is_file():
        raise FileFault(Fault(f"shared/{name}", "is missing", "a file shipped with sitekit", "Install sitekit again."))
    return path


@dataclass(frozen=True)
class Source:
    """One citation.

    Parameters
    ----------
    key : str
        How code and tables refer to it.
    citation : str
        Author, year, title, table or page.
    known : str
        `SEEN` (read in the named source), `RAN` (answer of a named program), `MEMORY` (recalled: prints as unverified)
        or `PRACTICE` (common practice without a source).
    note : str
        Limits, may be empty.
    """

    key: str
    citation: str
    known: str
    note: str = ""

    @property
    def verified(self) -> bool:
        """Whether someone read it or ran it."""
        return self.known in ("SEEN", "RAN")

    def line(self) -> str:
        """Return the citation for print, marked if it is not verified."""
        mark = {"MEMORY": " [recalled, unverified]", "PRACTICE": " [common practice, no source]"}.get(self.known, "")
        return self.citation + mark


@cache
def sources() -> dict[str, Source]:
    """Return every citation by key."""
    rows = json.loads(shared_file("sources.json").read_text("utf-8"))
    return {key: Source(key, row["citation"], row["known"], row.get("note", "")) for key, row in rows.items()}


def cite(key: str) -> Source:
    """Return one citation.

    Raises
    ------
    InputFault
        If the key is unknown.
    """
    try:
        return sources()[key]
    except KeyError:
        raise InputFault(
            Fault(
                f"source {key!r}",
                "is not listed",
                "a key of shared/sources.json",
                "Add the source, or correct the key.",
            )
        ) from None


@cache
def vocabulary() -> dict[str, dict[str, str]]:
    """Return the project's words: term -> unit, meaning."""
    with open(shared_file("vocabulary.csv"), newline="", encoding="utf-8") as stream:
        return {row["term"]: {"unit": row["unit"], "meaning": row["meaning"]} for row in csv.DictReader(stream)}
