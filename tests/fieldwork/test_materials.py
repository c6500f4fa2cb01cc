"""Materials: sums by hand, and what no product sheet gives."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.fieldwork.materials import Method, materials

EPOXY = Method("epoxy", 2.5, 3, 8.0, 30.0, 45.0)
NAIL = Method("nail and tie", 5.0, nails_per_unit=1, ties_per_unit=2)


def numbers(**more: object) -> dict[str, float]:
    given_ = {"tags": 0, "plots": 0, "pairs": 2, **more}
    found = materials({"epoxy": 40, "nail and tie": 10}, {"epoxy": EPOXY, "nail and tie": NAIL}, **given_)  # type: ignore[arg-type]
    return {i.item: i.number for i in found}


def test_adhesive_is_units_times_points_times_millilitres() -> None:
    """40 units × 3 points × 8 mL are 960 mL, 1104 with 15 % waste; 12 units a mix in 30 min, so 4 mixes."""
    assert numbers()["adhesive for epoxy"] == 960
    found = numbers(waste_pct=15.0)
    assert found["adhesive for epoxy"] == 1104
    assert found["batches of epoxy"] == 4
    assert EPOXY.units_per_batch == 12
    assert NAIL.units_per_batch is None


def test_pieces_round_up_with_their_spares() -> None:
    """10 nails with 5 % spare are 11 nails."""
    found = numbers(spare_pct=5.0, tags=50, plots=3, floats_per_plot=1)
    assert (found["nails"], found["ties"], found["tags"], found["pins"], found["floats"]) == (11, 21, 53, 7, 4)
    assert found["tapes"] == 3


def test_batches_say_how_much_to_mix_at_most() -> None:
    """A mix larger than the working time allows goes into the bin."""
    note = materials({"epoxy": 40}, {"epoxy": EPOXY}, tags=0, plots=0, pairs=1)[0].note
    assert "mix at most 288 mL for 12 units at a time (working time 30 min); leave alone for 45 min" in note


@given(units=st.integers(0, 500), waste=st.floats(0, 100))
def test_more_waste_never_needs_less(units: int, waste: float) -> None:
    """And no units need no adhesive."""
    low = materials({"epoxy": units}, {"epoxy": EPOXY}, tags=0, plots=0, pairs=1)
    high = materials({"epoxy": units}, {"epoxy": EPOXY}, tags=0, plots=0, pairs=1, waste_pct=waste)
    least = next((i.number for i in low if i.unit == "mL"), 0)
    most = next((i.number for i in high if i.unit == "mL"), 0)
    assert most >= least
    assert (least > 0) == (units > 0)


def test_missing_figures_of_a_product_are_refused() -> None:
    """Working time is never a default."""
    with pytest.raises(InputFault, match="adhesive without working_min; due: minutes"):
        Method("glue", 2.0, 1, 10.0)
    with pytest.raises(InputFault, match="adhesive without contact_points"):
        Method("glue", 2.0, 0, 10.0, 20.0)
    with pytest.raises(InputFault, match="minutes_per_unit 0; due: above 0"):
        Method("glue", 0)
    with pytest.raises(InputFault, match="'tape'; due: epoxy"):
        materials({"tape": 1}, {"epoxy": EPOXY}, tags=0, plots=0, pairs=1)
    with pytest.raises(InputFault, match="1 min of working time; due: at least the 2 min of one unit"):
        materials({"q": 1}, {"q": Method("q", 2.0, 1, 10.0, 1.0)}, tags=0, plots=0, pairs=1)
    with pytest.raises(InputFault, match="waste_pct: -1 %; due: 0 or more"):
        materials({}, {}, tags=0, plots=0, pairs=1, waste_pct=-1)
