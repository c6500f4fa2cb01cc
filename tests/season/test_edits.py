"""What belongs to sitekit is guarded, what a killed run left is taken up again, and only what changed is done anew."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from sitekit.pipeline.stages import STAGES
from tests.season.conftest import Ran, command, digests, edit


def results(folder: Path) -> dict[str, str]:
    """Hashes of the results, without the manifest's times."""
    return {k: v for k, v in digests(folder / "out").items() if not k.startswith("manifest")}


def done(answer: str) -> list[str]:
    return list(json.loads(answer)["done"])


def test_an_edited_result_stops_the_run_and_is_kept(patch: Path) -> None:
    """A run that writes over an edit loses somebody's work."""
    path = patch / "out" / "candidates.geojson"
    path.write_text(path.read_text("utf-8").replace("C01", "C99"), "utf-8")
    before = digests(patch)
    answer = command("run", patch)
    assert answer.code == 3
    assert "candidates.geojson" in answer.err
    assert "copy the file out and name it in plan.toml" in answer.err
    assert digests(patch) == before


def test_a_deleted_result_is_made_again(patch: Path, small: Ran) -> None:
    """A file that is missing must come back as it was, whatever the manifest says."""
    (patch / "out" / "colonies.csv").unlink()
    assert command("run", patch).code == 0
    assert results(patch) == results(small.folder)


def test_changed_settings_rerun_only_later_stages(patch: Path) -> None:
    """Scoring a reef again because a tag changed wastes an evening."""
    with (patch / "plan.toml").open("a", encoding="utf-8") as plan:
        plan.write("\n[outputs]\ncoordinates = 'DMS'\n" if "[outputs]" not in (patch / "plan.toml").read_text() else "")
    answer = command("run", patch, "--json")
    assert answer.code == 0, answer.err
    assert done(answer.out) == ["export"]


def test_a_stage_alone_removes_results_that_no_longer_fit(patch: Path) -> None:
    """Old colonies beside a new score would be planted by mistake."""
    text = (patch / "plan.toml").read_text("utf-8")
    line = next(part for part in text.splitlines() if part.startswith("passing"))
    edit(patch / "plan.toml", line, "passing = 0.61")
    answer = command("score", patch)
    assert answer.code == 0, answer.err
    assert "removed the results of stage place" in answer.err
    assert not (patch / "out" / "colonies.geojson").exists()
    assert (patch / "out" / "layers" / "depth.tif").exists()


@pytest.mark.slow
def test_a_run_killed_between_stages_is_taken_up_again(patch: Path, small: Ran) -> None:
    """A dead battery must cost the stage it struck, not the day.

    Slow: plans a whole season again.
    """
    shutil.rmtree(patch / "out")
    assert command("candidates", patch).code == 0
    manifest = json.loads((patch / "out" / "manifest.json").read_text("utf-8"))
    working = patch / "out" / ".working"
    for stage in manifest["stages"].values():  # as it stood before the results were moved
        for name in stage["files"]:
            (working / name).parent.mkdir(parents=True, exist_ok=True)
            if (patch / "out" / name).exists():
                shutil.move(patch / "out" / name, working / name)
    (working / "stages.json").write_text(json.dumps(manifest["stages"]), "utf-8")
    (patch / "out" / "manifest.json").unlink()
    answer = command("run", patch, "--json")
    assert answer.code == 0, answer.err
    names = [s.name for s in STAGES]
    assert done(answer.out) == names[names.index("candidates") + 1 :]
    assert results(patch) == results(small.folder)


def test_a_run_killed_while_moving_is_not_taken_for_an_edit(patch: Path, small: Ran) -> None:
    """Half of the new files stand, their hashes were noted before: the next run simply goes on."""
    path = patch / "out" / "manifest.json"
    manifest = json.loads(path.read_text("utf-8"))
    new = digests(patch / "out")["colonies.csv"]
    manifest["files"]["colonies.csv"] = "0" * 64
    manifest["pending"] = {"colonies.csv": new}
    manifest["when"]["stat"].pop("colonies.csv")
    path.write_text(json.dumps(manifest), "utf-8")
    assert command("run", patch).code == 0
    assert results(patch) == results(small.folder)


def test_a_torn_note_of_stages_costs_only_time(patch: Path, small: Ran) -> None:
    """A kill in the middle of the note itself must not stop the next run."""
    (patch / "out" / ".working").mkdir()
    (patch / "out" / ".working" / "stages.json").write_text('{"layers": {"key"', "utf-8")
    assert command("run", patch).code == 0
    assert results(patch) == results(small.folder)
