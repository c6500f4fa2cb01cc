"""The machines people use, as far as they can be imitated here: paths, names, consoles, open files, no home, no rights.

What was not tried on the real system stands in docs/formats.md.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
import subprocess
import sys
import threading
import time
import unicodedata
import warnings
from pathlib import Path

import click
import pytest
import rasterio.features
import shapely

from sitekit.base.compile_cache import cache_folder, cache_note
from sitekit.base.files import unportable
from sitekit.cli import rim
from sitekit.cli.entry import COMMANDS, root
from tests.season.conftest import Ran, command, digests, edit

ACCENTS = "Arrecife «Señal» n° 3, copia de la Dra. Ÿ"


@pytest.fixture
def elsewhere(small: Ran, tmp_path: Path) -> Path:
    """The small plan with its results under a path with gaps, accents and a decomposed letter, as macOS writes it."""
    folder = tmp_path / ACCENTS / unicodedata.normalize("NFD", "équipe à terre")
    return Path(shutil.copytree(small.folder, folder))


def test_a_path_with_gaps_and_accents_is_read_and_audited(elsewhere: Path) -> None:
    """A season that works in C:\\work and nowhere else."""
    (elsewhere / "depth.tif").rename(elsewhere / "profundidad señal.tif")
    edit(elsewhere / "plan.toml", 'file = "depth.tif"', 'file = "profundidad señal.tif"')
    checked = command("check", elsewhere)
    assert checked.code == 0, checked.err
    drafted = command("check", "--draft", elsewhere)
    assert drafted.code == 0, drafted.err
    assert 'file = "profundidad señal.tif"' in drafted.out
    (elsewhere / "profundidad señal.tif").rename(elsewhere / "depth.tif")
    edit(elsewhere / "plan.toml", 'file = "profundidad señal.tif"', 'file = "depth.tif"')
    assert "up to date" in command("run", elsewhere / "plan.toml").out
    assert [f for f in json.loads(command("audit", elsewhere, "--json").out) if not f["ok"]] == []


def test_names_that_windows_keeps_are_told_and_none_is_written(patch: Path) -> None:
    """A folder that cannot be copied to the laptop on the boat."""
    (patch / "living.csv").rename(patch / "aux.csv")
    edit(patch / "plan.toml", 'file = "living.csv"', 'file = "aux.csv"')
    said = command("check", patch)
    assert said.code == 0, said.err
    assert "aux.csv: 'aux.csv' is a name that Windows keeps for a device" in said.out
    assert "keeps for a device" in command("check", "--draft", patch / "aux.csv").out
    out = [p.relative_to(patch / "out").as_posix() for p in (patch / "out").rglob("*")]
    assert [n for n in out if unportable(n)] == []
    assert len({n.casefold() for n in out}) == len(out)


@pytest.mark.slow
def test_codes_that_are_device_names_make_files_that_can_be_copied(elsewhere: Path) -> None:
    """A species called CON that no Windows machine can hold, or a folder with accents that cannot be written.

    Slow: plans the small season again.
    """
    patch = elsewhere
    text = (patch / "plan.toml").read_text("utf-8").replace("ACER", "CON")
    (patch / "stock.csv").write_text((patch / "stock.csv").read_text("utf-8").replace("ACER", "CON"), "utf-8")
    sites = '[[site]]\ncode = "NUL"\npolygon = "bottom.geojson"\n[scout]\npoints_m = 5.0\n'
    constraint = '[layers.constraints.prn]\nfile = "interest.geojson"\nlabel = "cable"\n'
    (patch / "plan.toml").write_text(text.replace("[[species]]", constraint + "[[species]]", 1) + sites, "utf-8")
    said = command("run", patch)
    assert said.code in (0, 4), said.err
    assert command("scout", patch).code == 0
    assert (patch / "out" / "score_CON.tif").is_file()
    made = [p.relative_to(patch).as_posix() for p in patch.rglob("*")]
    assert [n for n in made if unportable(n)] == []


class _Console(io.TextIOWrapper):
    """A console of an older Windows: letters that it lacks are an error unless a stand-in is asked for."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="cp1252", errors="strict", write_through=True)

    def shown(self) -> str:
        return self.buffer.getvalue().decode("cp1252")  # type: ignore[attr-defined]


def _on_old_console(*arguments: str | Path) -> tuple[int, str]:
    console = _Console()
    with contextlib.redirect_stdout(console), contextlib.redirect_stderr(console):
        code = rim.run(root, [str(a) for a in arguments])
    return code, console.shown()


def _given(name: str, folder: Path) -> tuple[str | Path, ...]:
    """What a command is called with; `demo` finds its season up to date."""
    pins = folder / "pins ≥.csv"
    pins.write_text("plot,pin\n′,A\n", "utf-8")
    return {"new": (folder / "≥ new",), "record": ("pins", pins, folder), "explain": (folder, "--site", "C01")}.get(
        name, (folder,)
    )


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.few(2)
def test_no_command_fails_on_a_console_that_lacks_letters(small: Ran, tmp_path: Path, name: str) -> None:
    """A crash at the first ≥ on a Windows laptop, after the work was done."""
    code, shown = _on_old_console(name, "--help")
    assert code == 0
    assert "Usage" in shown
    folder = Path(shutil.copytree(small.folder, tmp_path / "Ñandú ≥ 3′"))
    code, shown = _on_old_console(name, *_given(name, folder))
    assert code in (0, 3, 4), shown
    assert "not foreseen" not in shown
    if name == "explain":
        assert "18° 03.0684' N" in shown  # a stand-in that reads as the letter it stands for
    if name in ("demo", "new", "record", "explore"):
        assert "Ñandú >= 3'" in shown or "pins >=.csv" in shown


def test_a_real_process_writes_to_a_console_that_lacks_letters(patch: Path) -> None:
    """The same with the setting by which Python is told such a console."""
    edit(patch / "plan.toml", 'datum = "MLLW"', 'datum = "MLLW ≥ 0′"')
    done = subprocess.run(
        [sys.executable, "-m", "sitekit.cli.entry", "check", str(patch)],
        env={**os.environ, "PYTHONIOENCODING": "cp1252"}, capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr.decode("cp1252")
    assert "datum MLLW >= 0'" in done.stdout.decode("cp1252")


def test_results_open_in_another_program_are_all_named_and_stay_as_they_were(
    patch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half of the results new and half old, because one table was open in a spreadsheet."""
    before = {n: d for n, d in digests(patch / "out").items() if n != "manifest.json"}
    edit(patch / "plan.toml", "APAL = 50", "APAL = 45")
    replace, open_now = os.replace, {"colonies.csv", "dive_sheets.pdf"}

    def refused(source: str | Path, target: str | Path) -> None:
        if Path(target).name in open_now and ".working" not in str(target):
            raise PermissionError(13, "used by another process")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refused)
    said = command("run", patch)
    assert said.code == 3, said.err
    for name in open_now:
        assert name in said.err
    assert "Close the file in other programs" in said.err
    assert {n: d for n, d in digests(patch / "out").items() if n in before} == before
    monkeypatch.setattr(os, "replace", replace)
    again = command("run", patch)
    assert again.code == 0, again.err
    assert "placed" in again.out
    assert digests(patch / "out")["colonies.csv"] != before["colonies.csv"]


def test_without_a_home_folder_the_work_goes_on_and_says_where_kernels_are(
    patch: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A crash, or half a minute of compiling at every start that nobody can explain."""
    for name in ("HOME", "XDG_CACHE_HOME", "LOCALAPPDATA", "SITEKIT_CACHE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    said = command("run", patch)
    assert said.code == 0, said.err
    assert "no home folder to write to" in said.err
    assert str(tmp_path) in said.err
    monkeypatch.setenv("HOME", str(tmp_path))
    assert cache_note() == ""


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="owners of files are told apart on POSIX only")
def test_kernels_that_another_user_left_in_the_temporary_folder_are_not_loaded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Machine code of a stranger, run as one's own."""
    for name in ("HOME", "XDG_CACHE_HOME", "LOCALAPPDATA", "SITEKIT_CACHE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    own = cache_folder()
    monkeypatch.setattr(os, "getuid", lambda: own.stat().st_uid + 1)
    (tmp_path / f"sitekit-cache-{own.stat().st_uid + 1}").mkdir()
    assert not cache_folder().is_relative_to(tmp_path / f"sitekit-cache-{own.stat().st_uid + 1}")


@pytest.mark.filterwarnings("error")
def test_filters_of_warnings_changed_by_another_thread_do_not_stop_a_command() -> None:
    """A run that fails once in a hundred: kernels are compiled in one thread while another one burns shapes."""
    done = threading.Event()

    def compiles() -> None:
        while not done.is_set():
            with warnings.catch_warnings(record=True):
                warnings.simplefilter("always", DeprecationWarning)
                time.sleep(1e-4)

    @click.command()
    def burn() -> None:
        other = threading.Thread(target=compiles)
        other.start()
        try:
            for _ in range(300):
                time.sleep(1e-4)
                rasterio.features.rasterize([(shapely.box(0, 0, 2, 2), 1)], out_shape=(4, 4))
        finally:
            done.set()
            other.join()

    said = io.StringIO()
    with contextlib.redirect_stderr(said):
        code = rim.run(burn, [])
    assert (code, said.getvalue()) == (0, "")
