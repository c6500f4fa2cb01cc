"""The lines of README for a laptop without internet: a folder of wheels, an empty environment, no index."""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from importlib.metadata import Distribution, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[2]
# Nothing listens there: whoever asks a package index in spite of --no-index fails.
CUT_OFF = dict.fromkeys(("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "https_proxy", "http_proxy"), "http://127.0.0.1:9")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        importlib.util.find_spec("hatchling") is None, reason="hatchling, of the extra test, is missing"
    ),
]
IMPORT_ALL = """
import importlib, pkgutil, sys
import sitekit
assert "site-packages" in sitekit.__file__, sitekit.__file__
for found in pkgutil.walk_packages(sitekit.__path__, "sitekit."):
    if found.name != "sitekit.__main__":
        importlib.import_module(found.name)
from pathlib import Path
from sitekit.pipeline.samples import make_demo
make_demo(Path(sys.argv[1]))
"""


def needed(name: str, extras: frozenset[str] = frozenset()) -> set[tuple[str, frozenset[str]]]:
    """What a package declares to need on this machine."""
    found = set()
    for text in distribution(name).requires or []:
        one = Requirement(text)
        if one.marker is None or any(one.marker.evaluate({"extra": e}) for e in (extras or {""})):
            found.add((re.sub(r"[-_.]+", "-", one.name).lower(), frozenset(one.extras)))
    return found


def closure(name: str) -> list[str]:
    """All packages that come with one, itself left out."""
    seen: set[tuple[str, frozenset[str]]] = set()
    left = [(name, frozenset[str]())]
    while left:
        for one in needed(*left.pop()) - seen:
            seen.add(one)
            left.append(one)
    return sorted({package for package, _ in seen})


def pack(package: Distribution, folder: Path) -> None:
    """Put an installed package back into a wheel, file by file as its RECORD lists them."""
    tags = [line.split(": ")[1].split("-") for line in (package.read_text("WHEEL") or "").splitlines() if "Tag" in line]
    tag = "-".join(".".join(dict.fromkeys(t[k] for t in tags)) for k in range(3))
    name = re.sub(r"[-_.]+", "_", package.metadata["Name"])
    with zipfile.ZipFile(folder / f"{name}-{package.version}-{tag}.whl", "w") as archive:
        for file in package.files or []:
            if file.parts[0] != ".." and file.suffix != ".pyc" and file.name not in ("INSTALLER", "REQUESTED"):
                archive.write(str(file.locate()), file.as_posix())


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Path]:
    """A folder that is emptied at once: wheels and environment take over a gigabyte."""
    yield tmp_path
    shutil.rmtree(tmp_path, ignore_errors=True)


def said(*arguments: str | Path, where: Path, away: bool = True) -> str:
    """Run a command without the package index, `away` from what this environment adds to the path of imports."""
    hidden = ("PIP_INDEX_URL", "PIP_EXTRA_INDEX_URL", "PIP_FIND_LINKS", *(["PYTHONPATH"] if away else []))
    environment = {k: v for k, v in os.environ.items() if k not in hidden}
    done = subprocess.run(
        [str(a) for a in arguments], cwd=where, env=environment | CUT_OFF, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-4000:]
    return done.stdout


def test_a_folder_of_wheels_is_enough(room: Path) -> None:
    """A package that sitekit imports and does not declare, or a file that the wheel lacks, is found on the boat.

    Slow: a gigabyte of wheels is packed from this environment and installed into an empty one; sitekit's own is built.
    """
    wheels = room / "wheels"
    wheels.mkdir()
    build = ("-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "--no-index", "-w", wheels, ROOT)
    said(sys.executable, *build, where=room, away=False)
    assert len(list(wheels.glob("sitekit-*.whl"))) == 1
    for name in closure("sitekit"):
        pack(distribution(name), wheels)
    said(sys.executable, "-m", "venv", ".venv", where=room)
    bin_folder = room / ".venv" / ("Scripts" if os.name == "nt" else "bin")
    pip = [bin_folder / "python", "-m", "pip", "install", "-q", "--no-compile", "--disable-pip-version-check"]
    said(*pip, "--no-index", "--find-links", "wheels", "sitekit", where=room)
    said(bin_folder / "python", "-c", IMPORT_ALL, "reef", where=room)
    checked = said(bin_folder / "sitekit", "check", "reef", where=room)
    assert "bathymetry" in checked
