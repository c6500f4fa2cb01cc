"""The public list is typed, light, and the same for people and for type checkers."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import sitekit

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.slow
def test_a_typed_user_script_passes_a_strict_check() -> None:
    """A public name that turns into Any hides wrong calls from users. Slow: mypy reads the whole package."""
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "tests/typing/api.py"],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_public_names_type_checkers_and_loader_agree() -> None:
    """A name that loads and is not listed, or is typed from another module, misleads a reader of either list."""
    tree = ast.parse((ROOT / "sitekit" / "__init__.py").read_text("utf-8"))
    guard = next(n for n in tree.body if isinstance(n, ast.If))
    typed = {a.name: n.module for n in guard.body if isinstance(n, ast.ImportFrom) for a in n.names}
    assert typed == sitekit._PUBLIC
    assert set(sitekit.__all__) == {"__version__", *sitekit._PUBLIC}


def test_no_public_name_is_a_room() -> None:
    """A function named like a room would be replaced by the module as soon as that room is loaded."""
    rooms = {p.stem for p in (ROOT / "sitekit").iterdir()}
    assert not rooms & set(sitekit.__all__)
    assert all(getattr(sitekit, name) is getattr(sitekit, name) for name in sitekit.__all__)


def test_import_loads_no_heavy_package() -> None:
    """Scripts that only want the version must not wait for rasters."""
    code = "import sys, sitekit; print([m for m in ('numpy', 'pandas', 'pydantic', 'numba') if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT)
    assert out.stdout.strip() == "[]"
