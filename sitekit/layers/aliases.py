"""Partners' names: species codes and genets mapped by a list that people write, nothing merged unseen.

The list has the columns `kind` (species or genet), `name` (as the partner writes it), `means` (as the plan writes it), and
may have `partner` (empty: for all) and `species` (for genets; empty: for all).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.errors import Faults
from sitekit.layers.columns import plain_name
from sitekit.layers.rows import read_rows

KINDS = ("species", "genet")
NEEDED = ("kind", "name", "means")
_MOST_PAIRS = 20


@dataclass(frozen=True)
class Aliases:
    """Names of partners and what they mean.

    Parameters
    ----------
    table : dict of (kind, partner, species, name) to str
        Partner and species may be empty: for all.
    notes : tuple of str
        What the list holds.
    """

    table: dict[tuple[str, str, str, str], str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def species(self, name: str, partner: str = "") -> str:
        """Code that a partner's species name means; the name itself where the list has none."""
        return self._meant("species", partner, ("",), name)

    def genet(self, name: str, species: str, partner: str = "") -> str:
        """Genet that a partner's name means for a species code of the plan; the name itself where the list has none."""
        return self._meant("genet", partner, (species, ""), name)

    def _meant(self, kind: str, partner: str, species: Sequence[str], name: str) -> str:
        for whose in (partner, "") if partner else ("",):
            for code in species:
                if (kind, whose, code, name) in self.table:
                    return self.table[kind, whose, code, name]
        return name


def read_aliases(path: Path, where: str = "partners.aliases") -> Aliases:
    """Read the list of partners' names.

    Parameters
    ----------
    path : Path
        A table of any kind `read_rows` takes.
    where : str
        For messages.

    Raises
    ------
    FileFault
        If it cannot be read.
    InputFault
        Naming every missing column, unknown kind, empty name, name listed twice with two meanings, and chain (a meaning
        that is itself mapped to another).
    """
    rows = read_rows(path, where)
    with Faults() as faults:
        for name in (n for n in NEEDED if n not in rows.names):
            faults.add(
                f"{where}, {path.name}", f"no column {name!r}", ", ".join((*NEEDED, "partner", "species")), "Add it."
            )
    table: dict[tuple[str, str, str, str], str] = {}
    with Faults() as faults:
        for broken in rows.broken:
            faults.add(f"{path.name}, line {broken.line}", broken.reason, "cells as in the header", "Correct the row.")
        for line, cells in zip(rows.lines, rows.cells, strict=True):
            row = dict(zip(rows.names, cells, strict=True))
            at, kind = f"{path.name}, line {line}", row["kind"].lower()
            if kind not in KINDS:
                faults.add(at, f"kind {row['kind']!r}", " or ".join(KINDS), "Correct it.")
            if not row["name"] or not row["means"]:
                faults.add(at, "an empty name or meaning", "both", "Fill it in, or delete the row.")
            key = (kind, row.get("partner", ""), row.get("species", "") if kind == "genet" else "", row["name"])
            if table.setdefault(key, row["means"]) != row["means"]:
                faults.add(at, f"{row['name']!r} means {table[key]!r} and {row['means']!r}", "one meaning", "Keep one.")
        for (kind, whose, code, name), means in table.items():
            further = table.get((kind, whose, code, means))
            if further is not None and further != means:
                came = f"{name!r} means {means!r}, which means {further!r}"
                faults.add(f"{where}, {path.name}", came, "the last name at once", "Write the name of the plan.")
    counts = {k: sum(1 for key in table if key[0] == k) for k in KINDS}
    return Aliases(table, (f"{counts['species']} names of species and {counts['genet']} of genets mapped", *rows.said))


def genet_doubts(
    species: Sequence[str], genets: Sequence[str], sources: Sequence[str], partners: Sequence[str]
) -> tuple[str, ...]:
    """Sentences on genets whose names need a look; nothing is changed.

    Parameters
    ----------
    species, genets, sources, partners : sequence of str
        One entry per row of stock; source is where the parent colony stood, both may be empty.

    Returns
    -------
    tuple of str
        Names that differ only in case, gaps or marks; names of one species whose parents stood at the same source, one
        partner's name beside another's; one name for parents at different sources, or held by several partners.
    """
    rows = sorted({(s, g, o, p) for s, g, o, p in zip(species, genets, sources, partners, strict=True) if g})
    said: list[str] = []
    spelled: dict[tuple[str, str], set[str]] = {}
    parents: dict[tuple[str, str], set[str]] = {}
    held: dict[tuple[str, str], set[str]] = {}
    standing: dict[tuple[str, str], set[tuple[str, str]]] = {}
    for code, genet, source, partner in rows:
        spelled.setdefault((code, plain_name(genet).replace("_", "") or genet), set()).add(genet)
        held.setdefault((code, genet), set()).add(partner)
        if source:
            parents.setdefault((code, genet), set()).add(source)
            standing.setdefault((code, source), set()).add((genet, partner))
    for (code, _), names in sorted(spelled.items()):
        if len(names) > 1:
            said.append(f"{code}: {', '.join(sorted(names))} differ only in case, gaps or marks: one genet?")
    for (code, source), both in sorted(standing.items()):
        names = {g for g, _ in both}
        if len(names) > 1 and len({p for _, p in both}) > 1:
            said.append(f"{code}: {', '.join(sorted(names))} of different partners come from {source!r}: one genet?")
    for (code, genet), places in sorted(parents.items()):
        if len(places) > 1:
            said.append(f"{code}: {genet} has parents at {', '.join(sorted(places))}: two genets under one name?")
    for (code, genet), owners in sorted(held.items()):
        if len(owners) > 1 and len(parents.get((code, genet), set())) < 2:
            said.append(
                f"{code}: {genet} is a name of {', '.join(sorted(o or 'no partner' for o in owners))}: the same?"
            )
    return tuple(said)


def near_doubles(
    x: NDArray[np.float64], y: NDArray[np.float64], species: Sequence[str], label: Sequence[str], *, within_m: float
) -> tuple[str, ...]:
    """Sentences on points of one species of different files that lie nearer than their positions can be told apart.

    Parameters
    ----------
    x, y : array, shape (n,)
        Places [m].
    species : sequence of str
        One per point; unknown (empty) fits every species.
    label : sequence of str
        File and line.
    within_m : float
        Distance [m], at least 0.

    Returns
    -------
    tuple of str
        At most twenty pairs, then their number; nothing is merged.
    """
    tree = cKDTree(np.column_stack([x, y]))
    files = [text.rsplit(", line ", 1)[0] for text in label]
    pairs = [
        (float(np.hypot(x[i] - x[j], y[i] - y[j])), int(i), int(j))
        for i, j in tree.query_pairs(within_m, output_type="ndarray")
        if files[i] != files[j] and (species[i] == species[j] or not species[i] or not species[j])
    ]
    said = [
        f"{label[i]} and {label[j]} lie {away:.1f} m apart: one colony twice?"
        for away, i, j in sorted(pairs)[:_MOST_PAIRS]
    ]
    if len(pairs) > _MOST_PAIRS:
        said.append(f"{len(pairs) - _MOST_PAIRS} more such pairs")
    return tuple(said)
