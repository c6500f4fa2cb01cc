"""The stock handed out to the sites: best site first, genets in proportion, exact counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sitekit.stock.diversity import counts_per_group

# House choice: species that share a patch lose room where they meet; on the demo reef 0.96 was the most that fitted.
ROOM_OF_SEVERAL = 0.85


@dataclass(frozen=True)
class Share:
    """Units of one genet for one site; `site` is None for what no site could take."""

    site: str | None
    species: str
    genet: str
    number: int


def hand_out(
    sites: Sequence[tuple[str, Mapping[str, int]]],
    units: Mapping[tuple[str, str], int],
    wanted: Mapping[str, int] | None = None,
) -> list[Share]:
    """Hand units out to sites in the order given.

    Parameters
    ----------
    sites : sequence of (site, mapping of species to capacity)
        Best first; capacity is the number of units the site would hold of that species alone.
    units : mapping of (species, genet) to int
        Outplant units that the stock yields, ≥ 0.
    wanted : mapping of species to int, optional
        Most units to plant of a species; all by default.

    Returns
    -------
    list of Share
        By site in the order given, species, genet; counts above 0. What stays over has site None, within `wanted`.

    Notes
    -----
    Species share a site's room: Σ units / capacity over species is at most 1, `ROOM_OF_SEVERAL` where there are several.
    Where all that is left does not fit, each species gives the same fraction of what it has left. Every site gets each
    genet in proportion to the stock, rounded so that rows and columns are exact (largest remainder).
    """
    limit = wanted or {}
    genets: dict[str, list[str]] = {}
    for species, genet in sorted(units):
        if units[species, genet] > 0:
            genets.setdefault(species, []).append(genet)
    left = {
        s: min(sum(units[s, g] for g in names), limit.get(s, sum(units[s, g] for g in names)))
        for s, names in genets.items()
    }
    takes: dict[str, list[int]] = {s: [] for s in left}
    for _, capacity in sites:
        need = sum(left[s] / capacity[s] for s in left if capacity.get(s, 0) > 0)
        sharing = sum(capacity.get(s, 0) > 0 and left[s] > 0 for s in left)
        room = ROOM_OF_SEVERAL if sharing > 1 else 1.0
        part = min(1.0, room / need) if need > 0 else 0.0
        for s, rest in left.items():
            # a thousandth of a unit: 3 × (1/3) must give 1
            take = min(rest, int(np.floor(rest * part + 1e-3))) if capacity.get(s, 0) > 0 else 0
            takes[s].append(min(take, capacity.get(s, 0)))
            left[s] = rest - takes[s][-1]
    rows: list[Share] = []
    counts = {}
    for s, names in genets.items():
        stock = np.array([units[s, g] for g in names], np.int64)
        groups = np.array([*takes[s], left[s], int(stock.sum()) - sum(takes[s]) - left[s]], np.int64)
        counts[s] = counts_per_group(groups, stock)
    for i, (site, _) in enumerate(sites):
        for s, names in genets.items():
            rows += [Share(site, s, g, int(n)) for g, n in zip(names, counts[s][i], strict=True) if n > 0]
    for s, names in genets.items():
        rows += [Share(None, s, g, int(n)) for g, n in zip(names, counts[s][len(sites)], strict=True) if n > 0]
    return rows
