"""The notebooks run from the first cell to the last on a fresh folder, and hold no stored output."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
DUE_S = 300  # per cell; the demo plans in well under a minute on two cores


def code_cells(path: Path) -> list[nbformat.NotebookNode]:
    notebook = nbformat.read(path, as_version=4)
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_notebooks_hold_no_stored_output(path: Path) -> None:
    """A stored result ages in silence beside code that has moved on."""
    assert all(not cell.outputs and cell.execution_count is None for cell in code_cells(path))


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_the_season_notebook_runs_and_every_promise_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A notebook that stops halfway loses its reader. Slow: it plans the demo's whole season."""
    # a kernel of this very interpreter, whatever kernels the user has
    spec = tmp_path / "jupyter" / "kernels" / "python3"
    spec.mkdir(parents=True)
    argv = f'["{sys.executable}", "-m", "ipykernel_launcher", "-f", "{{connection_file}}"]'.replace("\\", "\\\\")
    (spec / "kernel.json").write_text(f'{{"argv": {argv}, "display_name": "Python 3", "language": "python"}}', "utf-8")
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path / "jupyter"))
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]))
    monkeypatch.setenv("MPLBACKEND", "module://matplotlib_inline.backend_inline")
    work = tmp_path / "work"
    work.mkdir()
    notebook = nbformat.read(ROOT / "notebooks" / "season.ipynb", as_version=4)
    NotebookClient(
        notebook, timeout=DUE_S, kernel_name="python3", resources={"metadata": {"path": str(work)}}
    ).execute()
    told = "".join(out.get("text", "") for cell in notebook.cells for out in cell.get("outputs", []))
    assert (work / "demo-reef" / "out" / "map.html").is_file()
    kept, _, every = told.split("promises kept")[0].split("\n")[-1].strip().partition(" of ")
    assert kept == every.strip()
    assert int(every) > 10
