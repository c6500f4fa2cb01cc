"""The pull list: which fragments to take from which nursery structure, into which crate; and what is left behind."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sitekit.errors import Faults


@dataclass(frozen=True)
class Batch:
    """Fragments of one genet on one structure."""

    structure: str
    species: str
    genet: str
    ready: int


@dataclass(frozen=True)
class Wanted:
    """A unit of the day: where it goes and what it is made of, in swimming order."""

    plot: str
    number: int
    species: str
    genet: str
    fragments: int


@dataclass(frozen=True)
class Pull:
    """One line of the pull list.

    Parameters
    ----------
    structure, species, genet : str
        Where to take what.
    take, spare : int
        Fragments; spares come on top.
    crate : str
        Label of the crate, e.g. `OT-06/1`; spares go into `SPARE`.
    """

    structure: str
    species: str
    genet: str
    take: int
    spare: int
    crate: str


@dataclass(frozen=True)
class Crate:
    """A crate on deck: its label, its plot, the sequence numbers in it and how many fragments."""

    label: str
    plot: str
    numbers: tuple[int, ...]
    fragments: int


SPARES = "SPARE"


def pack_crates(units: Sequence[Wanted], fragments_per_crate: int) -> list[Crate]:
    """Return crates filled plot by plot in swimming order, a unit never parted.

    Parameters
    ----------
    units : sequence of Wanted
        Of one day.
    fragments_per_crate : int
        ≥ 1; a unit of more fragments fills a crate alone.

    Raises
    ------
    InputFault
        If a crate holds nothing.
    """
    with Faults() as faults:
        if fragments_per_crate < 1:
            faults.add("fieldwork.crate_fragments", str(fragments_per_crate), "1 or more", "Count what one holds.")
    crates: list[Crate] = []
    for plot in dict.fromkeys(u.plot for u in units):
        numbers: list[int] = []
        held = part = 0
        for unit in [u for u in units if u.plot == plot]:
            if numbers and held + unit.fragments > fragments_per_crate:
                part += 1
                crates.append(Crate(f"{plot}/{part}", plot, tuple(numbers), held))
                numbers, held = [], 0
            numbers.append(unit.number)
            held += unit.fragments
        crates.append(Crate(f"{plot}/{part + 1}", plot, tuple(numbers), held))
    return crates


def pull_list(
    units: Sequence[Wanted], crates: Sequence[Crate], stock: list[Batch], *, spare_pct: float
) -> tuple[list[Pull], list[Batch], list[Wanted]]:
    """Return what to take where for one day, the stock that is left, and units the stock cannot serve.

    Parameters
    ----------
    units : sequence of Wanted
        Of the day.
    crates : sequence of Crate
        From `pack_crates` of the same units.
    stock : list of Batch
        What is ready; batches of a genet are emptied in this order.
    spare_pct : float
        Spares on top [%], rounded up for the day, shared out over its genets, as far as stock reaches.

    Notes
    -----
    Every fragment of a unit comes from one genet; it may come from two structures.
    """
    left = list(stock)
    crate_of = {(c.plot, n): c.label for c in crates for n in c.numbers}
    taken: Counter[tuple[str, str, str, str, bool]] = Counter()
    short: list[Wanted] = []
    day: Counter[tuple[str, str]] = Counter()
    for unit in units:
        parts = _take(left, unit.species, unit.genet, unit.fragments)
        if parts is None:
            short.append(unit)
            continue
        day[(unit.species, unit.genet)] += unit.fragments
        for structure, n in parts:
            taken[(structure, unit.species, unit.genet, crate_of[(unit.plot, unit.number)], False)] += n
    for (species, genet), n in _shared_out(day, spare_fragments(sum(day.values()), spare_pct)):
        for _ in range(n):
            parts = _take(left, species, genet, 1)
            if parts is not None:
                taken[(parts[0][0], species, genet, SPARES, True)] += 1
    rows = [
        Pull(structure, species, genet, 0 if spare else n, n if spare else 0, crate)
        for (structure, species, genet, crate, spare), n in taken.items()
    ]
    place = {c.label: i for i, c in enumerate(crates)}
    rows.sort(key=lambda r: (_natural(r.structure), r.species, r.genet, place.get(r.crate, len(place))))
    return rows, left, short


def spare_fragments(fragments: int, spare_pct: float) -> int:
    """Return the spares pulled with a number of fragments: that share of them [%], rounded up."""
    return math.ceil(fragments * spare_pct / 100.0 - 1e-9)


def _shared_out(day: Counter[tuple[str, str]], spares: int) -> list[tuple[tuple[str, str], int]]:
    """Share spares out over genets by their fragments: whole parts first, then the largest remainders."""
    total = sum(day.values())
    if not total:
        return []
    exact = {key: n * spares / total for key, n in sorted(day.items())}
    counts = {key: math.floor(v + 1e-9) for key, v in exact.items()}
    order = sorted(exact, key=lambda k: (counts[k] - exact[k], k))
    for key in order[: spares - sum(counts.values())]:
        counts[key] += 1
    return [(key, n) for key, n in counts.items() if n]


def _take(left: list[Batch], species: str, genet: str, number: int) -> list[tuple[str, int]] | None:
    """Take fragments off the batches of a genet; None and nothing taken if they do not reach."""
    own = [i for i, b in enumerate(left) if b.species == species and b.genet == genet and b.ready > 0]
    if sum(left[i].ready for i in own) < number:
        return None
    parts = []
    for i in own:
        n = min(left[i].ready, number)
        if n:
            parts.append((left[i].structure, n))
            left[i] = Batch(left[i].structure, species, genet, left[i].ready - n)
            number -= n
    return parts


def _natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts `tree 2` before `tree 10`."""
    words: list[tuple[int, int, str]] = []
    for word in text.split():
        words.append((0, int(word), "") if word.isdecimal() else (1, 0, word))
    return tuple(words)
