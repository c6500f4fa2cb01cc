"""Stock is handed out in exact counts, never more than there is, never more than a site holds."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.sites.allocate import hand_out

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
