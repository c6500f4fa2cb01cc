"""The commands as functions: the same answers and refusals, paths as text or as Path."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import sitekit


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sitekit.demo(tmp_path_factory.mktemp("season") / "reef")


def test_demo_keeps_a_plan_that_is_there(plan: Path) -> None:
    """A second call that rewrites the plan destroys a person's edits."""
    before = plan.read_bytes()
    plan.write_bytes(before + b"\n# mine\n")
    assert sitekit.demo(str(plan.parent)) == plan
    assert plan.read_bytes() == before + b"\n# mine\n"


def test_demo_refuses_a_folder_of_other_things(tmp_path: Path) -> None:
    """Files of another project must not be mixed with a made-up reef."""
    (tmp_path / "letter.txt").write_text("dear reef", "utf-8")
    with pytest.raises(sitekit.FileFault, match="holds other files"):
        sitekit.demo(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_settings_are_the_same_from_folder_and_file(plan: Path) -> None:
    """Two ways to name a plan must not give two plans."""
    assert sitekit.read_settings(plan.parent) == sitekit.read_settings(str(plan))


def test_settings_with_an_unknown_key_are_refused(plan: Path, tmp_path: Path) -> None:
    """A misspelt key that is passed over leaves a limit out."""
    wrong = tmp_path / "plan.toml"
    wrong.write_text(plan.read_text("utf-8").replace("pin_error_m", "pin_eror_m"), "utf-8")
    with pytest.raises(sitekit.InputFault, match="pin_error_m"):
        sitekit.read_settings(wrong)


def test_check_tells_of_every_layer_and_writes_nothing(plan: Path) -> None:
    """A check that leaves files behind would be taken for a run."""
    rows = sitekit.check(plan)
    told = {row["layer"] for row in rows}
    assert {"bathymetry", "substrate", "protected"} <= told
    assert not (plan.parent / "out").exists()


def test_audit_before_a_run_is_refused(plan: Path) -> None:
    """No files, no promises: an empty list would read as all kept."""
    with pytest.raises(sitekit.FileFault, match="holds no plan"):
        sitekit.audit_plan(plan)


def test_a_missing_season_is_refused(tmp_path: Path) -> None:
    """An empty mapping would read as a season without colonies."""
    with pytest.raises(sitekit.FileFault, match="is missing"):
        sitekit.read_plan(tmp_path / "season.gpkg")


def test_a_second_run_leaves_the_first_stage_out(plan: Path) -> None:
    """Work done twice makes a notebook slow; figures must stand all the same."""
    first = sitekit.run(plan, last="layers", threads=1)
    second = sitekit.run(str(plan.parent), last="layers", threads=2)
    assert (first.done, second.done, second.skipped) == (["layers"], [], ["layers"])
    assert json.dumps(first.figures, sort_keys=True) == json.dumps(second.figures, sort_keys=True)
