"""Seasons of settings drawn by chance: whatever a plan asks, what a run writes keeps every promise of the audit."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from tests.bench.season import write_project
from tests.season.conftest import command

pytestmark = [pytest.mark.slow, pytest.mark.fuzz]


def drawn(folder: Path, mode: str, seed: int) -> Path:
    """A plan on a made-up bottom, its distances, shares and sizes drawn by chance."""
    chance = random.Random(seed)
    pick = chance.choice
    path = write_project(folder, side=pick([60, 80, 100]), units=pick([40, 150, 400]), mode=mode, seed=seed)
    text = path.read_text("utf-8")
    for old, new in (
        ("separation_m = 1.0", f"separation_m = {pick([0.5, 0.8, 1.0, 1.7, 3.0])}"),
        ("lay_tolerance_m = 0.2", f"lay_tolerance_m = {pick([0.0, 0.1, 0.35])}\npin_error_m = {pick([0.5, 2, 5])}"),
        ("\nclearance_m = 1.0", f"\nclearance_m = {pick([0.0, 0.5, 2.0])}"),
        ("edge_clearance_m = 0.5", f"edge_clearance_m = {pick([0.0, 0.5, 1.0])}"),
        ("least_area_m2 = 150.0", f"least_area_m2 = {pick([20, 60, 150])}"),
        ("passing = 0.6", f"passing = {pick([0.4, 0.6, 0.7])}"),
        ("cell_m = 1.0", f"cell_m = {pick([0.5, 1.0, 2.0])}"),
    ):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    if mode == "fill":
        text = re.sub(r"\[spacing.numbers\]\nAPAL = \d+\nACER = \d+\n", "", text)
    if mode == "plots":
        round_ = f'shape = "circle"\nradius_m = {pick([2, 3.5])}\n'
        long = f"length_m = {pick([4, 8, 18])}\nwidth_m = {pick([2, 4])}\n"
        shape = f"{pick([round_, long, long])}gap_m = {pick([0, 1, 3, 10])}\nallowed_share = {pick([0.6, 0.8, 0.95])}\n"
        text = text.replace("[stock]", f"[spacing.plot]\n{shape}[stock]")
    path.write_text(text, "utf-8")
    return path


@pytest.mark.parametrize("mode", ["plots", "number", "fill"])
@pytest.mark.parametrize("seed", [3])
def test_what_a_run_writes_keeps_every_promise(tmp_path: Path, mode: str, seed: int) -> None:
    """Several runs whose settings no test had drawn were told broken by their own audit."""
    plan = drawn(tmp_path, mode, seed)
    said = command("run", plan)
    assert said.code in (0, 4), said.err
    audit = command("audit", plan)
    assert audit.code == 0, audit.out
