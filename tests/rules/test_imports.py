"""The house: imports run one way, files stay small, every file is announced in its room."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[2] / "sitekit"
ROOMS = [
    "base", "layers", "seabed", "suitability", "stock", "layout", "fieldwork", "sites", "survey", "season", "outputs",
    "audit", "pipeline", "cli",
]  # fmt: skip
AUDIT_MAY = {"errors", "base", "layers", "stock", "season"}
MOST_LINES = 400  # two ideas beyond that
BANNED = {"utils", "helpers", "common", "core", "misc"}
HEAVY_DOORS = {"numba": {"base/compiled.py"}, "dask": {"layers/cluster.py"}, "distributed": {"layers/cluster.py"}}


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py"))


def announced(folder: Path) -> list[str]:
    """Names in the folder's docstring, in order."""
    text = ast.get_docstring(ast.parse((folder / "__init__.py").read_text("utf-8"))) or ""
    return re.findall(r"^- ([a-z_0-9]+):", text, re.MULTILINE)


def imports(path: Path) -> list[tuple[int, str]]:
    """Dotted names imported anywhere in a file, inside functions too."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found += [(node.lineno, f"{node.module}.{a.name}") for a in node.names]
    return found


def rank(parts: list[str]) -> list[int]:
    """Place of a module in the building order, room first."""
    if parts[0] == "errors":
        return [-1]
    ranks = [ROOMS.index(parts[0])]
    folder = PACKAGE / parts[0]
    for part in parts[1:]:
        names = announced(folder)
        if part not in names:
            break
        ranks.append(names.index(part))
        folder = folder / part
        if not folder.is_dir():
            break
    return ranks


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_run_one_way(path: Path) -> None:
    """An import that climbs makes a circle possible."""
    relative = path.relative_to(PACKAGE)
    if relative.as_posix() in ("__init__.py",):
        return
    here = list(relative.with_suffix("").parts)
    if here[-1] == "__init__":
        assert not imports(path), f"{relative}: a room's __init__ holds its docstring only"
        return
    for line, name in imports(path):
        top = name.split(".")[0]
        if top in HEAVY_DOORS:
            assert relative.as_posix() in HEAVY_DOORS[top], f"{relative}:{line}: {top} has one door, {HEAVY_DOORS[top]}"
        if top != "sitekit":
            continue
        there = name.split(".")[1:]
        if there[0] not in [*ROOMS, "errors"]:
            assert there[0].startswith("__version"), f"{relative}:{line}: {name} is in no room"
            continue
        if here[0] == "audit" and there[0] != "audit":
            assert there[0] in AUDIT_MAY, f"{relative}:{line}: the audit may not use {there[0]}"
        if here[0] == "errors":
            raise AssertionError(f"{relative}:{line}: errors imports nothing of sitekit")
        assert rank(there) < rank(here), f"{relative}:{line}: {name} stands later in the house"


@pytest.mark.parametrize(
    "folder", [p.parent for p in PACKAGE.rglob("__init__.py") if p.parent != PACKAGE], ids=lambda p: p.name
)
def test_every_file_is_announced_in_its_room(folder: Path) -> None:
    """A newcomer reads the room's docstring; a file that is missing there cannot be found by its idea."""
    files = {p.stem for p in folder.glob("*.py")} - {"__init__"}
    rooms = {p.name for p in folder.iterdir() if (p / "__init__.py").is_file()}
    assert set(announced(folder)) == files | rooms


def test_no_room_is_empty() -> None:
    """A room appears with its work, not before."""
    rooms = [p.name for p in PACKAGE.iterdir() if p.is_dir() and list(p.glob("*.py"))]
    assert set(rooms) - {"_shared", "_samples"} <= set(ROOMS)
    for room in rooms:
        assert len(list((PACKAGE / room).glob("*.py"))) > 1, room


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_stay_one_idea_long(path: Path) -> None:
    """Over 400 lines a module holds two ideas."""
    assert len(path.read_text("utf-8").splitlines()) <= MOST_LINES
    assert path.stem not in BANNED
