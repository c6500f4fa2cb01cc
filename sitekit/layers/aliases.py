"""Partners' names: species codes and genets mapped by a list that people write, nothing merged unseen.

The list has the columns `kind` (species or genet), `name` (as the partner writes it), `means` (as the plan writes it), and
may have `partner` (empty: for all) and `species` (for genets; empty: for all).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sitekit.errors import Faults
from sitekit.layers.cells import Doubt
from sitekit.layers.columns import plain_name
from sitekit.layers.rows import read_rows

KINDS = ("species", "genet")
NEEDED = ("kind", "name", "means")


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

    def settled(self, written: str, species: str, partner: str = "") -> bool:
        """Whether the list says what a genet's name, as written, means; a name may mean itself."""
        return any(("genet", whose, code, written) in self.table for whose in {partner, ""} for code in {species, ""})

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


@dataclass(frozen=True)
class Named:
    """A genet's name as a row of stock has it: species code, name in the plan, source, partner, and whether it is settled."""

    species: str
    genet: str
    source: str = ""
    partner: str = ""
    settled: bool = False


def genet_doubts(names: Sequence[Named], layer: str = "stock") -> tuple[Doubt, ...]:
    """What must be looked at in the names of genets; nothing is changed.

    Parameters
    ----------
    names : sequence of Named
        One per row of stock.
    layer : str
        Settings key, for the doubts.

    Returns
    -------
    tuple of Doubt
        Names that differ only in case, gaps or marks; names of different partners whose parents stood at the same source
        (a source of which one partner lists several genets is a reef, no colony, and tells nothing); one name for parents
        at different sources, or held by several partners. A doubt goes away once the list of partners' names holds every
        name in it, be it as itself.
    """
    rows = sorted({n for n in names if n.genet}, key=lambda n: (n.species, n.genet, n.source, n.partner, n.settled))
    groups: list[tuple[str, list[Named]]] = []

    def gather(key: Callable[[Named], tuple[str, ...] | None], say: Callable[[list[Named]], str]) -> None:
        found: dict[tuple[str, ...], list[Named]] = {}
        for one in rows:
            at = key(one)
            if at is not None:
                found.setdefault(at, []).append(one)
        groups.extend((said, own) for _, own in sorted(found.items()) if (said := say(own)))

    def spelled(own: list[Named]) -> str:
        genets = sorted({n.genet for n in own})
        return f"{', '.join(genets)} differ only in case, gaps or marks: one genet?" if len(genets) > 1 else ""

    def one_parent(own: list[Named]) -> str:
        genets = sorted({n.genet for n in own})
        whose = {p: {n.genet for n in own if n.partner == p} for p in {n.partner for n in own}}
        several = len(genets) > 1 and len(whose) > 1 and all(len(g) == 1 for g in whose.values())
        return f"{', '.join(genets)} of different partners come from {own[0].source!r}: one genet?" if several else ""

    def two_parents(own: list[Named]) -> str:
        places = sorted({n.source for n in own})
        said = f"{own[0].genet} has parents at {', '.join(places)}: two genets under one name?"
        return said if len(places) > 1 else ""

    def two_holders(own: list[Named]) -> str:
        holders = sorted({n.partner or "no partner" for n in own})
        if len(holders) < 2 or len({n.source for n in own if n.source}) > 1:
            return ""
        return f"{own[0].genet} is a name of {', '.join(holders)}: the same genet?"

    gather(lambda n: (n.species, plain_name(n.genet).replace("_", "") or n.genet), spelled)
    gather(lambda n: (n.species, n.source) if n.source else None, one_parent)
    gather(lambda n: (n.species, n.genet) if n.source else None, two_parents)
    gather(lambda n: (n.species, n.genet), two_holders)
    ask = "Counted as written. Put each into the list of partners' names, under one name or as names of their own."
    return tuple(
        Doubt(layer, f"{own[0].species}: {said}", ask) for said, own in groups if not all(n.settled for n in own)
    )
