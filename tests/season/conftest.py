"""The whole pipeline through the command line: the demo and a small plan, each run once; tests work on copies."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import pytest

from sitekit.cli import rim
from sitekit.cli.entry import root
from tests.audit.conftest import make

LONGEST_S = 300  # a shared run takes no longer, on however busy a machine
WORK = """
[nursery]
name = "Nursery"
at = "18.0520 N, 50.3020 W"
depth_m = 5.0
[harbour]
name = "Harbour"
at = "18.0600 N, 50.3100 W"
[fieldwork]
first_day = 2026-05-04
last_day = 2026-05-08
start = "07:00"
boat_hours = 8.0
boat_speed_kn = 12.0
divers = 6
attach = { APAL = "glue", ACER = "glue" }
[fieldwork.gas]
cylinder = "80"
capacity_ft3 = 77.4
rated_psi = 3000
reserve_psi = 500
rate_ft3_min = 0.75
[fieldwork.dives]
no_stop_table = "usn-rev7"
descent_minutes = 5
ascent_minutes = 5
[fieldwork.harvest]
minutes_per_fragment = 0.2
crate_fragments = 10
spare_pct = 10
[fieldwork.methods.glue]
minutes_per_unit = 3
contact_points = 2
adhesive_ml_per_point = 10
working_min = 20
[fieldwork.weather]
wind_ms = 8.0
[receiver]
max_waypoints = 3
"""


@dataclass(frozen=True)
class Said:
    """What a command answered: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


def command(*arguments: str | Path) -> Said:
    """Run a command in this process, as the console command would."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = rim.run(root, [str(a) for a in arguments])
    return Said(code, out.getvalue(), err.getvalue())


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below a folder, by its path from there."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def edit(path: Path, old: str, new: str) -> None:
    """Replace a text that stands once in a file."""
    text = path.read_text("utf-8")
    assert text.count(old) == 1, (path.name, old, text.count(old))
    path.write_text(text.replace(old, new), "utf-8")


@dataclass(frozen=True)
class Ran:
    """A finished run: its project folder and what the command answered."""

    folder: Path
    said: Said


def once(factory: pytest.TempPathFactory, name: str, run: Callable[[Path], Ran]) -> Ran:
    """What a run gave, made by the first worker that asks for it and shared by all; nobody changes it."""
    base = factory.getbasetemp()
    base = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    told = base / f"{name}.json"
    try:
        os.close(os.open(base / f"{name}.asked", os.O_CREAT | os.O_EXCL))
    except FileExistsError:
        until = time.monotonic() + LONGEST_S
        while not told.exists():
            assert time.monotonic() < until, f"the worker that makes {name} did not end"
            time.sleep(0.05)
        found = json.loads(told.read_text("utf-8"))
        assert found is not None, f"{name} failed in another worker"
        return Ran(Path(found["folder"]), Said(**found["said"]))
    ran = None
    try:
        (base / name).mkdir()
        ran = run(base / name)
        return ran
    finally:
        whole = base / f"{name}.part"
        whole.write_text(
            json.dumps(None if ran is None else {"folder": str(ran.folder), "said": asdict(ran.said)}), "utf-8"
        )
        whole.replace(told)


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The demo, run once with two threads; never changed."""
    return once(
        tmp_path_factory, "demo", lambda base: Ran(base / "reef", command("demo", base / "reef", "--threads", "2"))
    )


@pytest.fixture
def reef(demo: Ran, tmp_path: Path) -> Path:
    """A copy of the demo with its results, times of change kept."""
    return Path(shutil.copytree(demo.folder, tmp_path / "reef"))


@pytest.fixture(scope="session")
def small(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The audit's 60 × 40 m plan, its results written by the pipeline itself; never changed."""

    def run(base: Path) -> Ran:
        folder = make(base).folder
        shutil.rmtree(folder / "out")
        said = command("run", folder)
        assert said.code == 0, said.err
        return Ran(folder, said)

    return once(tmp_path_factory, "small", run)


@pytest.fixture
def patch(small: Ran, tmp_path: Path) -> Path:
    """A copy of the small plan with its results."""
    return Path(shutil.copytree(small.folder, tmp_path / "patch"))


@pytest.fixture(scope="session")
def working(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The small plan with plots and [fieldwork], run once; never changed."""

    def run(base: Path) -> Ran:
        folder = make(base).folder
        shutil.rmtree(folder / "out")
        plan = folder / "plan.toml"
        edit(plan, 'mode = "number"', 'mode = "plots"')
        edit(plan, "edge_clearance_m = 0.5\n", "edge_clearance_m = 0.5\npin_error_m = 1.0\n")
        edit(
            plan,
            "APAL = 50\nACER = 60\n",
            "APAL = 12\nACER = 10\n[spacing.plot]\nlength_m = 8.0\nwidth_m = 3.0\ngap_m = 3.0\nallowed_share = 1.0\n",
        )
        plan.write_text(plan.read_text("utf-8") + WORK, "utf-8")
        return Ran(folder, command("run", folder))

    return once(tmp_path_factory, "working", run)


@pytest.fixture
def plan(working: Ran, tmp_path: Path) -> Path:
    """A copy of it with its results."""
    return Path(shutil.copytree(working.folder, tmp_path / "plan"))
