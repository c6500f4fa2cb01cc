"""Stock is handed out in exact counts, never more than there is, never more than a site holds."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.sites.allocate import hand_out, hand_out_as_chosen

stocks = st.dictionaries(
    st.tuples(st.sampled_from(["APAL", "ACER"]), st.sampled_from(["010", "NO", "12:30", "D"])),
    st.integers(0, 60),
    min_size=1,
)
places = st.lists(st.dictionaries(st.sampled_from(["APAL", "ACER"]), st.integers(0, 80)), max_size=4)


@settings(deadline=None, max_examples=200)
@given(stocks, places)
def test_counts_are_exact(stock: dict[tuple[str, str], int], capacities: list[dict[str, int]]) -> None:
    """A fragment that is lost or doubled on paper is missed on the boat."""
    sites = [(f"S{i}", c) for i, c in enumerate(capacities)]
    rows = hand_out(sites, stock)
    for key, number in stock.items():
        assert sum(r.number for r in rows if (r.species, r.genet) == key) == number
    for site, capacity in sites:
        used = 0.0
        for species in ("APAL", "ACER"):
            given_out = sum(r.number for r in rows if r.site == site and r.species == species)
            assert given_out <= capacity.get(species, 0)
            used += given_out / capacity[species] if given_out else 0.0
        assert used <= 1.0 + 1e-3 * 2


def test_the_best_site_is_filled_first_in_proportion() -> None:
    """Two genets 3 : 1 stay 3 : 1 in the first site."""
    rows = hand_out([("A", {"APAL": 8}), ("B", {"APAL": 100})], {("APAL", "x"): 12, ("APAL", "y"): 4})
    assert [(r.site, r.genet, r.number) for r in rows] == [("A", "x", 6), ("A", "y", 2), ("B", "x", 6), ("B", "y", 2)]


def test_no_more_than_wanted_is_planted() -> None:
    """The rest of the stock stays in the nursery and is no shortfall."""
    rows = hand_out([("A", {"APAL": 50})], {("APAL", "x"): 12}, {"APAL": 5})
    assert [(r.site, r.number) for r in rows] == [("A", 5)]


def test_what_no_site_takes_is_listed() -> None:
    """A shortfall that is not written is a promise broken silently."""
    rows = hand_out([("A", {"APAL": 2})], {("APAL", "x"): 5, ("ACER", "q"): 1})
    assert [(r.site, r.species, r.number) for r in rows] == [("A", "APAL", 2), (None, "ACER", 1), (None, "APAL", 3)]


numbers = st.lists(st.dictionaries(st.sampled_from(["APAL", "ACER"]), st.integers(0, 30)), min_size=1, max_size=4)


@settings(deadline=None, max_examples=200)
@given(numbers, st.integers(1, 3), st.randoms(use_true_random=False))
def test_chosen_numbers_are_met_exactly(chosen: list[dict[str, int]], least: int, random: Any) -> None:
    """The boat carries what choose settled, each genet no more often than it was raised."""
    stock: dict[tuple[str, str], int] = {}
    for species in ("APAL", "ACER"):
        due = sum(c.get(species, 0) for c in chosen)
        for genet in ("010", "NO", "K"):
            stock[species, genet] = random.randint(0, 40)
        stock[species, "rest"] = max(0, due - sum(stock[species, g] for g in ("010", "NO", "K"))) + random.randint(0, 5)
    sites = [(f"S{i}", c) for i, c in enumerate(chosen)]
    rows = hand_out_as_chosen(sites, stock, genet_sites=least)
    for site, own in sites:
        for species in ("APAL", "ACER"):
            assert sum(r.number for r in rows if r.site == site and r.species == species) == own.get(species, 0)
    for key, number in stock.items():
        assert sum(r.number for r in rows if (r.species, r.genet) == key) <= number


def test_each_genet_reaches_as_many_sites_as_asked() -> None:
    """2 units of a rare genet beside 60 of a common one: proportion alone leaves it at one site."""
    rows = hand_out_as_chosen(
        [("A", {"APAL": 31}), ("B", {"APAL": 31})], {("APAL", "x"): 60, ("APAL", "y"): 2}, genet_sites=2
    )
    assert {r.site for r in rows if r.genet == "y"} == {"A", "B"}
    assert sum(r.number for r in rows) == 62


def test_a_genet_with_one_unit_stands_at_one_site() -> None:
    """Nobody can cut a fragment in two on paper."""
    rows = hand_out_as_chosen(
        [("A", {"APAL": 2}), ("B", {"APAL": 2})], {("APAL", "x"): 3, ("APAL", "y"): 1}, genet_sites=2
    )
    assert len([r for r in rows if r.genet == "y"]) == 1


def test_more_than_the_stock_is_refused() -> None:
    """A choice made for another stock list must not be handed out."""
    with pytest.raises(InputFault, match="at most 3"):
        hand_out_as_chosen([("A", {"APAL": 4})], {("APAL", "x"): 3})


def test_a_pilot_gets_no_more_than_its_cap() -> None:
    """10 units for a site that may have 4, the rest for the next."""
    rows = hand_out([("A", {"APAL": 50}), ("B", {"APAL": 50})], {("APAL", "x"): 10}, most={"A": 4})
    assert [(r.site, r.number) for r in rows] == [("A", 4), ("B", 6)]
