"""The notebooks run from the first cell to the last on a fresh folder, and hold no stored output."""

from __future__ import annotations

import os
import re
import shutil
import sys
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from tests.season.conftest import Ran

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
GUIDES = ("planner", "permit_writer", "dive_leader")
DUE_S = 300  # per cell; the demo plans in well under a minute on two cores


def code_cells(path: Path) -> list[nbformat.NotebookNode]:
    notebook = nbformat.read(path, as_version=4)
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebooks_hold_no_stored_output(path: Path) -> None:
    """A stored result ages in silence beside code that has moved on."""
    assert all(not cell.outputs and cell.execution_count is None for cell in code_cells(path))


def ran(name: str, work: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[nbformat.NotebookNode, str]:
    """Run a notebook in a folder with a kernel of this very interpreter, whatever kernels the user has; what it printed."""
    spec = work / "jupyter" / "kernels" / "python3"
    spec.mkdir(parents=True)
    argv = f'["{sys.executable}", "-m", "ipykernel_launcher", "-f", "{{connection_file}}"]'.replace("\\", "\\\\")
    (spec / "kernel.json").write_text(f'{{"argv": {argv}, "display_name": "Python 3", "language": "python"}}', "utf-8")
    monkeypatch.setenv("JUPYTER_PATH", str(work / "jupyter"))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]))
    monkeypatch.setenv("MPLBACKEND", "module://matplotlib_inline.backend_inline")
    notebook = nbformat.read(ROOT / "notebooks" / f"{name}.ipynb", as_version=4)
    NotebookClient(
        notebook, timeout=DUE_S, kernel_name="python3", resources={"metadata": {"path": str(work)}}
    ).execute()
    return notebook, "".join(out.get("text", "") for cell in notebook.cells for out in cell.get("outputs", []))


def kept_of(told: str) -> tuple[int, int]:
    """The line `50 of 50 promises kept` as two numbers."""
    found = re.search(r"(\d+) of (\d+) promises kept", told)
    assert found, told
    return int(found[1]), int(found[2])


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_the_season_notebook_runs_and_every_promise_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A notebook that stops halfway loses its reader. Slow: it plans the demo's whole season."""
    _, told = ran("season", tmp_path, monkeypatch)
    assert (tmp_path / "demo-reef" / "out" / "map.html").is_file()
    kept, every = kept_of(told)
    assert kept == every > 10


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("name", GUIDES)
def test_a_guides_notebook_has_ten_steps_and_runs(
    name: str, demo: Ran, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step that no longer works stops the very reader it was written for. Slow: a kernel, and the audit of the demo."""
    shutil.copytree(demo.folder, tmp_path / "demo-reef")
    notebook, told = ran(name, tmp_path, monkeypatch)
    steps = [cell.source.split(".")[0] for cell in notebook.cells if cell.source.startswith("## ")]
    assert steps == [f"## {k}" for k in range(1, 11)]
    kept, every = kept_of(told)
    assert kept == every > 10
