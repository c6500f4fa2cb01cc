"""Stock that cannot be mixed well: the run goes on, exits 0 and says how many like neighbours it cannot avoid."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from sitekit.season.plan_tables import read_table
from tests.season.conftest import command, edit

APAL = {"a1": 6, "a2": 1, "a3": 1}
ACER = ("c1", "c2", "c3", "c4", "c5")
PLANNED_M = 1.4  # 1.2 m asked, 0.2 m tolerance
MODES = {
    "number": 'mode = "number"',
    "plots": 'mode = "plots"\nplot = { length_m = 4.2, width_m = 1.4, gap_m = 2.0 }',
}


def _lopsided(folder: Path, mode: str) -> None:
    edit(folder / "plan.toml", 'mode = "number"', MODES[mode])
    edit(folder / "plan.toml", "APAL = 50\nACER = 60", "APAL = 8\nACER = 3")
    rows = [("APAL", genet, ready) for genet, ready in APAL.items()] + [("ACER", genet, 9) for genet in ACER]
    text = "species,genet,ready,health,health_date,size_cm\n"
    text += "".join(f"{species},{genet},{ready},healthy,2026-04-01,10\n" for species, genet, ready in rows)
    (folder / "stock.csv").write_text(text, "utf-8")


def _least(pairs: np.ndarray, genets: list[str]) -> int:
    """Like pairs of the best of all assignments, tried one by one."""
    return min(
        sum(kinds[a] == kinds[b] for a, b in pairs.tolist()) for kinds in set(itertools.permutations(sorted(genets)))
    )


@pytest.mark.parametrize("mode", ["number", pytest.param("plots", marks=pytest.mark.slow)])
def test_a_genet_of_over_a_third_and_too_many_genets_are_a_warning(patch: Path, mode: str) -> None:
    """A stop would keep a planner from a plan that nothing can better; silence would hide that it is poor."""
    _lopsided(patch, mode)
    said = command("run", patch)
    assert (said.code, said.err.count("Traceback")) == (0, 0), said.err
    assert "caution: ACER has 5 genets ready, more than its 3 units: some stay out" in said.out
    told = re.search(r"caution: a1 has 6 of 8 units, over a third: at least (\d+) pairs of like neighbours", said.out)
    assert told is not None, said.out
    colonies = read_table(patch / "out" / "season.gpkg", "colonies")
    own = colonies[colonies["species"] == "APAL"]
    points, genets = shapely.get_coordinates(np.asarray(own.geometry)), own["genet"].tolist()
    assert {g: genets.count(g) for g in set(genets)} == APAL
    pairs = cKDTree(points).query_pairs(1.3 * PLANNED_M, output_type="ndarray")
    laid = sum(genets[a] == genets[b] for a, b in pairs.tolist())
    assert "C01, APAL: 8 units of 3 genets; at least 3 in a plot" in said.out
    assert f"like neighbours {laid} of {len(pairs)} pairs" in said.out
    assert 0 < int(told[1]) <= _least(pairs, genets) <= laid
