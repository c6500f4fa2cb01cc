"""The stock handed out to the sites: as chosen, or best site first; genets in proportion, exact counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Fault, InputFault
from sitekit.stock.diversity import counts_per_group, largest_remainder

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
    most: Mapping[str, int] | None = None,
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
    most : mapping of site to int, optional
        Most units at a site, all species together (a pilot); no such limit by default.

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
    for site, capacity in sites:
        need = sum(left[s] / capacity[s] for s in left if capacity.get(s, 0) > 0)
        sharing = sum(capacity.get(s, 0) > 0 and left[s] > 0 for s in left)
        room = ROOM_OF_SEVERAL if sharing > 1 else 1.0
        part = min(1.0, room / need) if need > 0 else 0.0
        fits = sum(min(left[s] * part, capacity[s]) for s in left if capacity.get(s, 0) > 0)
        if most is not None and site in most and fits > most[site]:
            part *= most[site] / fits
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


def hand_out_as_chosen(
    chosen: Sequence[tuple[str, Mapping[str, int]]],
    units: Mapping[tuple[str, str], int],
    *,
    genet_sites: int = 1,
) -> list[Share]:
    """Hand out genets where the units of each species at each site are settled.

    Parameters
    ----------
    chosen : sequence of (site, mapping of species to int)
        Units of each species that each site gets.
    units : mapping of (species, genet) to int
        Outplant units that the stock yields, ≥ 0; per species at least as many as the sites get.
    genet_sites : int
        Sites at which each genet should stand, ≥ 1; a genet with fewer units stands at as many as it has.

    Returns
    -------
    list of Share
        By site in the order given, species, genet; counts above 0, none without a site.

    Raises
    ------
    InputFault
        If the sites get more of a species than there is.

    Notes
    -----
    Each genet gives in proportion to its stock, and each site its own even mix (largest remainder); then single units
    change places, both sums kept, until every genet stands at enough sites or no exchange helps.
    """
    genets: dict[str, list[str]] = {}
    for species, genet in sorted(units):
        if units[species, genet] > 0:
            genets.setdefault(species, []).append(genet)
    rows: list[Share] = []
    counts: dict[str, NDArray[np.int64]] = {}
    for species in sorted({s for _, own in chosen for s in own if own[s] > 0}):
        names = genets.get(species, [])
        stock = np.array([units[species, g] for g in names], np.int64)
        takes = np.array([own.get(species, 0) for _, own in chosen], np.int64)
        if takes.sum() > stock.sum():
            raise InputFault(
                Fault(f"species {species}", f"{takes.sum()} units chosen", f"at most {stock.sum()}", "Choose again.")
            )
        given = largest_remainder(stock, int(takes.sum()))
        counts[species] = _spread(counts_per_group(takes, given), genet_sites)
    for i, (site, _) in enumerate(chosen):
        for species, table in counts.items():
            rows += [Share(site, species, g, int(n)) for g, n in zip(genets[species], table[i], strict=True) if n > 0]
    return rows


def _spread(counts: NDArray[np.int64], least_sites: int) -> NDArray[np.int64]:
    """Return the table of sites × genets with each genet at `least_sites` sites where exchanges of single units allow."""
    out = counts.copy()
    for g in range(out.shape[1]):
        while (out[:, g] > 0).sum() < min(least_sites, int(out[:, g].sum())):
            swap = _exchange(out, g, least_sites)
            if swap is None:
                break
            source, target, other = swap
            out[source, g] -= 1
            out[target, g] += 1
            out[target, other] -= 1
            out[source, other] += 1
    return out


def _exchange(counts: NDArray[np.int64], g: int, least_sites: int) -> tuple[int, int, int] | None:
    """Return (source site, target site, other genet) of an exchange that brings genet g to one more site."""
    stands = (counts > 0).sum(axis=0)
    for target in np.flatnonzero((counts[:, g] == 0) & (counts.sum(axis=1) > 0)):
        for source in np.argsort(-counts[:, g], kind="stable"):
            if counts[source, g] < 2:
                break
            spare = (counts[target] >= 2) | ((counts[target] == 1) & (stands > least_sites))
            spare |= (counts[target] == 1) & (counts[source] == 0)  # it only changes its site
            spare[g] = False
            if spare.any():
                return int(source), int(target), int(np.argmax(np.where(spare, counts[target], -1)))
    return None
