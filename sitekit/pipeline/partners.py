"""Partners' names of species and genets, and what of them a person must look at."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field

import pandas as pd

from sitekit.base.files import write_json
from sitekit.layers.aliases import Aliases, read_aliases
from sitekit.layers.cells import Doubt, Refused
from sitekit.pipeline.fields import RASTERS
from sitekit.pipeline.project import Project

READ_FILE = f"{RASTERS}/read.json"  # rows refused and doubts of the layers, for the tables of the season
UNPLACED = "the rows, by genet, stand in the table `unplaced` of out/season.gpkg."
_WHOLE = ("file", "line", "text", "reason", "do")


@dataclass
class SetAside:
    """Rows that were refused and went on without, and what a person must look at."""

    refused: list[Refused] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)


def partner_names(project: Project) -> Aliases:
    """Return the list of partners' names that the plan gives, an empty one without it.

    Raises
    ------
    InputFault
        As `read_aliases`.
    """
    name = project.settings.partners.aliases
    return Aliases() if name is None else read_aliases(project.input(name, "partners.aliases"))


def write_set_aside(project: Project, found: SetAside) -> str:
    """Write what the layers set aside; return the file's name."""
    rows = {"refused": [asdict(r) for r in found.refused], "doubts": [asdict(d) for d in found.doubts]}
    write_json(project.target(READ_FILE), rows)
    return READ_FILE


def read_set_aside(project: Project) -> SetAside:
    """Return what the layers of the run set aside."""
    data = json.loads(project.result(READ_FILE).read_text("utf-8"))
    return SetAside([Refused(**r) for r in data["refused"]], [Doubt(**d) for d in data["doubts"]])


def refused_said(refused: Iterable[Refused]) -> list[dict[str, object]]:
    """Return refused rows as `check` tells them."""
    return [{k: v for k, v in asdict(r).items() if k in _WHOLE} for r in refused]


def stock_origins(stock: pd.DataFrame) -> dict[tuple[str, str], tuple[str, str]]:
    """Return for each species and genet of usable stock its partners and its rows, as texts.

    Parameters
    ----------
    stock : DataFrame
        The table `stock`.
    """
    found: dict[tuple[str, str], tuple[dict[str, None], dict[str, list[int]]]] = {}
    usable = stock[stock["usable"] & (stock["ready"] > 0)] if len(stock) else stock
    columns = ("species", "genet", "partner", "file", "line")
    for species, genet, partner, file, line in zip(*(usable[c] for c in columns), strict=True):
        partners, rows = found.setdefault((str(species), str(genet)), ({}, {}))
        if partner and not pd.isna(partner):
            partners[str(partner)] = None
        rows.setdefault(str(file), []).append(int(line))
    return {
        key: (", ".join(partners), "; ".join(f"{file} {', '.join(map(str, lines))}" for file, lines in rows.items()))
        for key, (partners, rows) in found.items()
    }


def with_origins(frame: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Return a table of genets with its columns `partner` and `stock_rows` filled from the stock."""
    known = stock_origins(stock)
    both = [known.get((str(s), str(g)), ("", "")) for s, g in zip(frame["species"], frame["genet"], strict=True)]
    return frame.assign(
        partner=pd.Series([p or None for p, _ in both], index=frame.index, dtype=object),
        stock_rows=pd.Series([r or None for _, r in both], index=frame.index, dtype=object),
    )
