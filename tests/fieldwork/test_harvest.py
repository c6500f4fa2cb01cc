"""Crates and pull lists: counts that close."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.harvest import SPARES, Batch, Wanted, pack_crates, pull_list, spare_fragments

UNITS = st.lists(
    st.tuples(st.sampled_from(["P-1", "P-2"]), st.sampled_from(["a", "b", "c"]), st.integers(1, 4)),
    min_size=1, max_size=40,
)  # fmt: skip


def wanted(rows: list[tuple[str, str, int]]) -> list[Wanted]:
    return [Wanted(p, i + 1, "ACER", g, f) for i, (p, g, f) in enumerate(rows)]


@given(rows=UNITS, holds=st.integers(1, 12))
def test_every_unit_is_in_one_crate_of_its_plot(rows: list[tuple[str, str, int]], holds: int) -> None:
    """A unit in two crates or in another plot's crate is planted in the wrong place."""
    units = wanted(rows)
    crates = pack_crates(units, holds)
    held = [(c.plot, n) for c in crates for n in c.numbers]
    assert sorted(held) == sorted((u.plot, u.number) for u in units)
    assert sum(c.fragments for c in crates) == sum(u.fragments for u in units)
    assert all(c.fragments <= holds or len(c.numbers) == 1 for c in crates)
    assert len({c.label for c in crates}) == len(crates)


@given(rows=UNITS, spare=st.sampled_from([0.0, 5.0, 10.0, 100.0]))
def test_a_pull_list_closes(rows: list[tuple[str, str, int]], spare: float) -> None:
    """Taken plus left is what was there; each genet gets what its units ask for."""
    units = wanted(rows)
    stock = [Batch(f"tree {k}", "ACER", g, 60) for k, g in enumerate("abcab")]
    pulls, left, short = pull_list(units, pack_crates(units, 10), stock, spare_pct=spare)
    assert short == []
    assert sum(p.take + p.spare for p in pulls) + sum(b.ready for b in left) == 300
    asked = Counter[str]()
    for u in units:
        asked[u.genet] += u.fragments
    given_out = Counter[str]()
    for p in pulls:
        given_out[p.genet] += p.take
    assert +given_out == +asked
    assert sum(p.spare for p in pulls) == spare_fragments(sum(asked.values()), spare)
    assert all((p.crate == SPARES) == (p.spare > 0) for p in pulls)


def test_batches_are_emptied_in_order_and_trees_sort_as_numbers() -> None:
    """A unit may come from two structures; tree 2 is read before tree 10."""
    units = [Wanted("P-1", 1, "ACER", "a", 3)]
    stock = [Batch("tree 10", "ACER", "a", 2), Batch("tree 2", "ACER", "a", 5)]
    pulls, left, _ = pull_list(units, pack_crates(units, 5), stock, spare_pct=0)
    assert [(p.structure, p.take) for p in pulls] == [("tree 2", 1), ("tree 10", 2)]
    assert [b.ready for b in left] == [0, 4]


def test_units_the_stock_cannot_serve_are_named() -> None:
    """A pull list that is short without saying so is found out on the reef."""
    units = [Wanted("P-1", 1, "ACER", "a", 1), Wanted("P-1", 2, "ACER", "a", 1), Wanted("P-1", 3, "ACER", "zz", 1)]
    pulls, _, short = pull_list(units, pack_crates(units, 5), [Batch("t", "ACER", "a", 1)], spare_pct=50)
    assert [u.number for u in short] == [2, 3]
    assert sum(p.take for p in pulls) == 1
    assert sum(p.spare for p in pulls) == 0  # nothing left to take spares from


@pytest.mark.parametrize(("fragments", "pct", "due"), [(100, 5, 5), (101, 5, 6), (0, 5, 0), (7, 0, 0), (3, 10, 1)])
def test_spares_round_up(fragments: int, pct: float, due: int) -> None:
    """0.3 of a spare is one spare."""
    assert spare_fragments(fragments, pct) == due


def test_a_crate_that_holds_nothing_is_refused() -> None:
    """An endless loop otherwise."""
    with pytest.raises(InputFault, match="crate_fragments: 0; due: 1 or more"):
        pack_crates([Wanted("P-1", 1, "ACER", "a", 1)], 0)
