"""What people really hand in: each fault gives one clear message and the right exit code, and leaves earlier results as
they were. All through the command line, on a small plan that was run before.
"""

from __future__ import annotations

import json
import re
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from rasterio.errors import NotGeoreferencedWarning

from tests.audit.conftest import EPSG, HARD, Plan, local, outline
from tests.season.conftest import Ran, Said, command, digests, edit

Change = Callable[[Path], object]


def _plan(old: str, new: str) -> Change:
    return lambda folder: edit(folder / "plan.toml", old, new)


def _raster(**changes: Any) -> Change:
    """Write the bathymetry again with other properties."""

    def apply(folder: Path) -> None:
        with rasterio.open(folder / "depth.tif") as file:
            profile, values = dict(file.profile), file.read(1)
        values = changes.pop("values", lambda v: v)(values)
        profile.update(changes)
        (folder / "depth.tif").unlink()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # such a file is what the test needs
            with rasterio.open(folder / "depth.tif", "w", **profile) as file:
                file.write(values, 1)

    return apply


def _cut(folder: Path) -> None:
    data = (folder / "depth.tif").read_bytes()
    (folder / "depth.tif").write_bytes(data[: len(data) // 3])


def _colonies(change: Callable[[list[list[str]]], object]) -> Change:
    def apply(folder: Path) -> None:
        rows = [line.split(",") for line in (folder / "living.csv").read_text("utf-8").splitlines()]
        change(rows)
        (folder / "living.csv").write_text("".join(",".join(r) + "\n" for r in rows), "utf-8")

    return apply


def _swap(rows: list[list[str]]) -> None:
    for row in rows[1:]:
        row[0], row[1] = row[1], row[0]


def _words(rows: list[list[str]]) -> None:
    rows[1][0] = "west"
    rows[2][3] = "about 2"


def _empty(name: str) -> Change:
    text = json.dumps({"type": "FeatureCollection", "features": []})
    return lambda folder: (folder / name).write_text(text, "utf-8")


def _tag_twice(folder: Path) -> None:
    (folder / "tags.txt").write_text("0007\n0008\n0007\n", "utf-8")
    plan = folder / "plan.toml"
    plan.write_text(plan.read_text("utf-8") + '\n[tagging]\nnumbers_from = "tags.txt"\n', "utf-8")


def _far_bottom(folder: Path) -> None:
    frame = gpd.read_file(folder / "bottom.geojson")
    frame.geometry = frame.geometry.translate(0.5, 0.0)
    frame.to_file(folder / "bottom.geojson")


def _no_numbers(folder: Path) -> None:
    path = folder / "stock.csv"
    path.write_text(path.read_text("utf-8").replace(",30,", ",thirty,"), "utf-8")


# kind -> (what is done to the folder, what the message must name)
FAULTS: dict[str, tuple[Change, tuple[str, ...]]] = {
    "missing raster": (lambda f: (f / "depth.tif").unlink(), ("layers.bathymetry.file", "depth.tif", "missing")),
    "missing stock list": (lambda f: (f / "stock.csv").unlink(), ("stock.file", "stock.csv", "missing")),
    "raster that is text": (lambda f: (f / "depth.tif").write_text("depth"), ("depth.tif", "cannot be read")),
    "raster cut off": (_cut, ("depth.tif",)),
    "raster without a system": (_raster(crs=None), ("depth.tif", "no coordinate system", "crs = 'EPSG:")),
    "raster without a place": (_raster(transform=Affine.identity()), ("depth.tif", "no position")),
    "raster elsewhere": (
        _raster(transform=Affine(1.0, 0.0, 674_000.0, 0.0, -1.0, 1_996_000.0)), ("depth", "overlaps"),
    ),
    "bottom elsewhere": (_far_bottom, ("layers.substrate", "overlaps")),
    "wrong declared sign": (_plan('sign = "elevation"', 'sign = "depth"'), ("sign", "sign = 'elevation'")),
    "swapped coordinates of colonies": (_colonies(_swap), ("living.csv", "swapped")),
    "text in number columns": (_colonies(_words), ("line 2", "'west'")),
    "text in the stock list": (_no_numbers, ("stock.csv", "thirty")),
    "bottom without shapes": (_empty("bottom.geojson"), ("layers.substrate", "no polygon")),
    "areas without shapes": (_empty("areas.geojson"), ("layers.protected", "no polygon")),
    "area of interest without shapes": (_empty("interest.geojson"), ("layers.area", "no polygon")),
    "colonies without rows": (_colonies(lambda rows: rows.__delitem__(slice(1, None))), ("living.csv", "no colony")),
    "zero separation": (_plan("separation_m = 1.2", "separation_m = 0.0"), ("spacing.separation_m", "0.0")),
    "negative separation": (_plan("separation_m = 1.2", "separation_m = -1.0"), ("spacing.separation_m", "-1.0")),
    "endless separation": (_plan("separation_m = 1.2", "separation_m = inf"), ("spacing.separation_m", "inf")),
    "tag listed twice": (_tag_twice, ("tag list, entry 3", "'0007' stands in entry 1 too")),
    "unknown key": (_plan("least_area_m2", "least_aria_m2"), ("least_aria_m2", "Did you mean 'least_area_m2'?")),
    "class that nobody mapped": (_plan('"sand" = "Coral Sand"\n', ""), ("layers.substrate", "sand")),
    "file outside the folder": (_plan('file = "stock.csv"', 'file = "../stock.csv"'), ("outside",)),
    "plan that is not TOML": (_plan("cell_m = 1.0", "cell_m = "), ("plan.toml", "is not TOML")),
}  # fmt: skip


def _told(said: Said) -> list[str]:
    """The places of the faults, one each, without the one that says how to go on without faulty rows."""
    assert "Traceback" not in said.err
    told = re.findall(r"^- (.+)\n +came: (.+)$", said.err, flags=re.MULTILINE)
    return [place for place, came in told if "cannot be used" not in came]


@pytest.mark.parametrize("kind", FAULTS)
def test_a_fault_is_told_once_and_leaves_earlier_results_alone(patch: Path, kind: str) -> None:
    """A season's plan lost to a typing error, or a fault that nobody can place, costs a day."""
    change, words = FAULTS[kind]
    before = digests(patch / "out")
    change(patch)
    said = command("run", patch)
    assert said.code == 3, said.err
    for word in words:
        assert word in said.err
    places = _told(said)
    assert 1 <= len(places) <= 2, said.err
    assert len(set(said.err.split("\n- "))) == len(said.err.split("\n- "))
    assert "due:" in said.err
    assert "do:" in said.err
    after = digests(patch / "out")
    assert {n: after.get(n) for n in before} == before


@pytest.mark.parametrize("kind", [k for k in FAULTS if k not in ("missing stock list", "file outside the folder")])
def test_check_finds_the_same_fault_and_writes_nothing(patch: Path, kind: str) -> None:
    """A check that passes what the run then refuses is worse than none."""
    change, words = FAULTS[kind]
    change(patch)
    before = digests(patch)
    said = command("check", patch)
    assert said.code == 3, said.err
    for word in words:
        assert word in said.err
    assert digests(patch) == before


def test_all_faults_of_the_settings_come_at_once(patch: Path) -> None:
    """One fault per attempt makes ten attempts of ten faults."""
    edit(patch / "plan.toml", "separation_m = 1.2", "separation_m = 0")
    edit(patch / "plan.toml", "passing = 0.6", "passing = 6")
    edit(patch / "plan.toml", "least_area_m2", "least_aria_m2")
    said = command("check", patch)
    assert said.code == 3
    places = " ".join(_told(said))
    for key in ("spacing.separation_m", "score.passing", "candidates.least_aria_m2"):
        assert key in places


def test_faults_of_stock_and_layers_come_before_the_work_and_together(patch: Path) -> None:
    """A column that is missing in the stock list, told after the reef was scored, costs the time of scoring."""
    path = patch / "stock.csv"
    path.write_text(path.read_text("utf-8").replace("ready", "number"), "utf-8")
    _colonies(_words)(patch)
    said = command("run", patch)
    assert said.code == 3
    assert "a column 'ready'" in said.err
    assert "'west'" in said.err
    assert "'about 2'" in said.err
    assert "candidates …" not in said.err


def test_a_polygon_that_crosses_itself_is_repaired_and_noted(patch: Path) -> None:
    """A bow tie drawn by hand would stop the run, or drop an area without a word."""
    frame = gpd.GeoDataFrame(
        {"name": ["Core", "Park"], "rule": ["forbidden", "permit"]},
        geometry=[
            shapely.Polygon([local(52, 22), local(56, 26), local(56, 22), local(52, 26)]),
            outline((30, 0), (60, 0), (60, 40), (30, 40)),
        ],
        crs=EPSG,
    )
    frame.to_crs(4326).to_file(patch / "areas.geojson")
    said = command("check", patch, "--json")
    assert said.code == 0, said.err
    row = next(r for r in json.loads(said.out) if r["layer"] == "protected")
    assert "cross themselves" in " ".join(row["notes"])
    assert "repaired" in " ".join(row["notes"])
    assert HARD.is_valid


@pytest.mark.slow
def test_a_reef_on_which_no_cell_passes_ends_with_four_and_writes_why(patch: Path) -> None:
    """An empty season must not look like a fault of the files, nor like a finished plan.

    Slow: plans a whole season again.
    """
    edit(patch / "plan.toml", "at = [0, 1, 10, 20]", "at = [30, 40, 50, 60]")
    said = command("run", patch)
    assert said.code == 4, said.err
    assert "no patch of passing cells" in said.err
    areas = json.loads((patch / "out" / "candidates.geojson").read_text("utf-8"))
    assert areas["features"] == []
    with rasterio.open(patch / "out" / "reasons_APAL.tif") as file:
        assert np.unique(file.read(1)).size >= 1
    again = command("run", patch)
    assert again.code == 4  # an unchanged run repeats what is missing
    assert "no patch of passing cells" in again.err


@pytest.mark.slow
def test_more_units_than_room_end_with_four_and_are_listed(patch: Path) -> None:
    """Units that vanish between the wish and the list are missed on the boat.

    Slow: plans a whole season again.
    """
    edit(patch / "plan.toml", "separation_m = 1.2", "separation_m = 6.0")
    said = command("run", patch)
    assert said.code == 4, said.err
    assert "APAL" in said.err
    broken = [f for f in json.loads(command("audit", patch, "--json").out) if not f["ok"]]
    assert broken == []
    assert len(Plan(patch).broken()) == 0


def test_a_file_in_place_of_the_results_folder_is_named(small: Ran, tmp_path: Path) -> None:
    """A folder that cannot be written must be told before an hour of work, not after."""
    folder = tmp_path / "blocked"
    shutil.copytree(small.folder, folder, ignore=shutil.ignore_patterns("out"))
    (folder / "out").write_text("mine", "utf-8")
    said = command("run", folder)
    assert said.code == 3, said.err
    assert "out" in _told(said)[0]
    assert "cannot be" in said.err
    assert (folder / "out").read_text("utf-8") == "mine"


def test_a_plan_that_is_not_there_is_named(tmp_path: Path) -> None:
    """The first thing a new user does is to stand in the wrong folder."""
    said = command("run", tmp_path / "plan.toml")
    assert said.code == 3
    assert "sitekit new FOLDER" in said.err


@pytest.mark.parametrize(
    ("arguments", "hint"), [(("rum",), "run"), (("run", "--threads", "0"), "threads"), (("run", "a", "b"), "Usage")]
)
def test_wrong_usage_ends_with_two(arguments: tuple[str, ...], hint: str) -> None:
    """A mistyped command must not be taken for bad input."""
    said = command(*arguments)
    assert said.code == 2
    assert hint in said.err
