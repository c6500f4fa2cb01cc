"""What the package promises to its readers: documented functions, cited sources, a quick start."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

import sitekit
from sitekit.base.sources import sources, vocabulary
from sitekit.base.tables import table, table_names

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "sitekit"
PURE_ROOMS = ("seabed", "suitability", "stock", "layout", "fieldwork", "sites", "survey")


def public_functions() -> list[tuple[str, ast.FunctionDef]]:
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        nodes = [n for n in ast.parse(path.read_text("utf-8")).body if isinstance(n, ast.FunctionDef)]
        found += [(f"{path.relative_to(PACKAGE)}:{n.name}", n) for n in nodes if not n.name.startswith("_")]
    return found


@pytest.mark.parametrize(("name", "node"), public_functions(), ids=[n for n, _ in public_functions()])
def test_public_functions_are_documented(name: str, node: ast.FunctionDef) -> None:
    """A public function without a docstring hides its units."""
    assert ast.get_docstring(node), name


def test_every_public_name_loads() -> None:
    """A name in the public list that cannot be loaded is a broken promise."""
    for name in sitekit.__all__:
        assert getattr(sitekit, name) is not None


def test_an_unknown_public_name_is_refused() -> None:
    """A typing error must name what was looked for."""
    with pytest.raises(AttributeError, match="no public name 'scor'"):
        _ = sitekit.scor  # type: ignore[attr-defined]


def test_every_cited_source_key_exists() -> None:
    """A citation without a source cannot be followed."""
    known = set(sources())
    for path in sorted(PACKAGE.rglob("*.py")):
        for key in re.findall(r'\bcite\(\s*"([^"]+)"', path.read_text("utf-8")):
            assert key in known, f"{path.relative_to(ROOT)} cites {key!r}"
    for path in sorted((ROOT / "shared").rglob("*.json")):
        if path.name in ("sources.json",):
            continue
        for key in re.findall(r'"source_key":\s*"([^"]+)"', path.read_text("utf-8")):
            assert key in known, f"{path.relative_to(ROOT)} cites {key!r}"


def test_every_source_says_how_it_is_known() -> None:
    """A recalled value must print as unverified."""
    for source in sources().values():
        assert source.known in ("SEEN", "RAN", "MEMORY", "PRACTICE"), source
        assert source.citation.strip(), source


def test_vocabulary_terms_are_unique_and_explained() -> None:
    """Two meanings for one word make two programs."""
    lines = (ROOT / "shared" / "vocabulary.csv").read_text("utf-8").splitlines()
    assert len(lines) - 1 == len(vocabulary())
    assert all(v["meaning"] for v in vocabulary().values())


def test_table_columns_end_in_their_unit() -> None:
    """A column without its unit is read in the wrong one."""
    endings = {"m": "_m", "m²": ("_m2", "score_sum"), "%": "_pct", "cm": "_cm", "°": "_deg"}
    for name in [*table_names("season"), *table_names("records")]:
        for column in table(name).columns:
            if column.unit in endings:
                assert column.name.endswith(endings[column.unit]), f"{name}.{column.name} [{column.unit}]"


def seconds(*arguments: str) -> float:
    """Best of three wall times of a python start."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True, cwd=ROOT)
        times.append(time.perf_counter() - start)
    return min(times)


def test_import_and_help_start_quickly() -> None:
    """Heavy packages loaded early make every command slow; measured as a ratio to bare python."""
    bare = seconds("-c", "pass")
    assert seconds("-c", "import sitekit") < 3 * bare + 0.1
    assert seconds("-m", "sitekit.cli.entry", "--help") < 10 * bare + 0.2


def test_help_loads_no_heavy_package() -> None:
    """The ratio above depends on the machine; this does not."""
    code = (
        "import sys; from click.testing import CliRunner; from sitekit.cli.entry import root;"
        "CliRunner().invoke(root, ['--help']);"
        "heavy = ('numpy','pandas','geopandas','rasterio','numba','pydantic','shapely','pyproj');"
        "print([m for m in heavy if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT)
    assert out.stdout.strip() == "[]"


def test_json_files_are_valid() -> None:
    """A comma too many in a shipped file breaks every command."""
    for path in sorted((ROOT / "shared").rglob("*.json")):
        json.loads(path.read_text("utf-8"))
