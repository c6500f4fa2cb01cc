"""A plan drafted from files: what it proposes is checked against the demo's own plan, what it asks is asked, not guessed."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine

from sitekit.pipeline.samples import make_demo
from sitekit.season.settings import read_settings, settings_from
from tests.audit.conftest import make
from tests.formats import awkward
from tests.season.conftest import command, digests

CLASSES = {
    "sand": "Coral Sand", "rubble": "Coral Rubble", "spur": "Coral Reef Substrate", "patch reef": "Coral Reef Substrate",
    "algal plain": "Coral Sand", "reef pavement": "Coral Reef Substrate", "seagrass": "Coral Sand",
    "reef crest": "Coral Reef Substrate",
}  # fmt: skip
# What a person answers, by table and key: the values of the demo's own plan.
ANSWERS: dict[str, object] = {
    "plan.name": "Tarrowenne Reef, FICTIONAL", "layers.bathymetry.sign": "elevation", "layers.bathymetry.datum": "MLLW",
    "layers.bathymetry.depth_error_m": 0.3, "layers.substrate.resolution_m": 2.0, "nursery.depth_m": 5.5,
    "layers.constraints.seagrass.keep_clear_m": 5.0, "layers.constraints.heritage.keep_clear_m": 30.0,
    "layers.constraints.cable.keep_clear_m": 20.0, "layers.constraints.anchorage.keep_clear_m": 0.0,
    "score.passing": 0.7, "exclusions.least_depth_m": 1.0, "candidates.least_area_m2": 150.0, "spacing.separation_m": 1.0,
    "spacing.lay_tolerance_m": 0.2, "spacing.clearance_m": 1.0,
    **{f'layers.substrate.classes."{k}"': v for k, v in CLASSES.items()},
}  # fmt: skip


@pytest.fixture(scope="session")
def brought(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's plan, and a folder with its input files only."""
    plan = make_demo(tmp_path_factory.mktemp("made") / "reef")
    folder = tmp_path_factory.mktemp("brought")
    for path in plan.parent.iterdir():
        if path.name != "plan.toml":
            shutil.copy(path, folder)
    return plan, folder


def answered(lines: str, answers: dict[str, object]) -> str:
    """A drafted plan with its questions answered; a question without an answer stays."""
    table, out = "", []
    for line in lines.splitlines():
        head = re.match(r"\[+([^\]]+)\]", line)
        table = head[1] if head else table
        key = line.split(" = ")[0]
        value = answers.get(f"{table}.{key}")
        if f"{table}.{key}" == "plan.date":
            line = "date = 2026-04-15"
        elif value is not None:
            line = f"{key} = {json.dumps(value)}"
        out.append(line)
    return "\n".join(out) + "\n"


def test_a_draft_of_the_demo_s_files_gives_the_layers_of_the_demo_s_plan(brought: tuple[Path, Path]) -> None:
    """A layer left out, or read by another column than people read it by."""
    plan, folder = brought
    target = folder / "plan.toml"
    said = command("check", "--draft", folder, "--write", target)
    assert said.code == 0, said.err
    try:
        text = target.read_text("utf-8")
        first = command("check", target)
        assert first.code == 3
        assert "layers.bathymetry.sign" in first.err
        due = len(re.findall(r'^[^#].* = "\?"', text, re.MULTILINE))
        assert first.err.count("that nobody has answered") == due
        assert f'Next: answer its {due} questions (each "?"), and look at ' in said.out
        target.write_text(answered(text, ANSWERS), "utf-8")
        mine, own = read_settings(target), read_settings(plan)
        assert mine.layers.model_dump(exclude={"constraints"}) == own.layers.model_dump(exclude={"constraints"})
        for name, one in own.layers.constraints.items():
            assert mine.layers.constraints[name].model_dump(exclude={"label"}) == one.model_dump(exclude={"label"})
        assert (mine.stock.file, mine.harbour.name, mine.plan.cell_m) == ("stock.csv", "Tarrowenne Harbour", 1.0)
        assert [(s.code, s.criteria) for s in mine.species] == [("ACER", "staghorn"), ("APAL", "elkhorn")]
        checked = command("check", target)
        assert checked.code == 0, checked.err
    finally:
        target.unlink()


def test_a_draft_writes_nothing_unless_told_and_never_over_a_file(brought: tuple[Path, Path], tmp_path: Path) -> None:
    """A plan of weeks overwritten by a draft."""
    _, folder = brought
    before = digests(folder)
    said = command("check", "--draft", folder / "bathymetry.tif", folder / "stock.csv", "--json")
    assert said.code == 0, said.err
    found = json.loads(said.out)
    assert digests(folder) == before
    assert [f["role"] for f in found["files"]] == ["layers.bathymetry", "stock"]
    assert any(a.startswith("layers.bathymetry.sign: ") and "negative" in a for a in found["asked"])
    assert found["files"][0]["unknown"] == ["its vertical datum", "the error of its depths"]
    tomllib.loads(found["plan"])
    mine = folder / "mine.toml"
    mine.write_text("mine", "utf-8")
    again = command("check", "--draft", folder, "--write", mine)
    assert (again.code, mine.read_text("utf-8")) == (3, "mine")
    assert "exists already" in again.err
    mine.unlink()
    away = command("check", "--draft", folder / "stock.csv", "--write", tmp_path / "plan.toml")
    assert away.code == 3
    assert "lies outside" in away.err


def test_texts_of_a_file_never_become_lines_of_the_plan(tmp_path: Path) -> None:
    """A class of bottom that closes its quotes and writes a rule of its own."""
    evil = 'rock"\n[exclusions]\npermit_held = ["Core"]\n#'
    frame = gpd.GeoDataFrame({"bottom": [evil, "sand"]}, geometry=[shapely.box(0, 0, 1, 1)] * 2, crs=4326)
    frame.to_file(tmp_path / 'bottom "]=.geojson')
    said = command("check", "--draft", tmp_path, "--json")
    assert said.code == 0, said.err
    plan = tomllib.loads(json.loads(said.out)["plan"])
    assert set(plan["layers"]["substrate"]["classes"]) == {evil, "sand"}
    assert plan["layers"]["substrate"]["file"] == 'bottom "]=.geojson'
    assert "permit_held" not in plan["exclusions"]


def test_numbers_of_a_map_are_asked_with_the_words_of_the_list_beside_it(tmp_path: Path) -> None:
    """Ten numbers to look up by hand in a file that lies beside the map."""
    where = Affine(1.0, 0.0, 574_000.0, 0.0, -1.0, 1_996_000.0)
    with rasterio.open(
        tmp_path / "structure_1m.tif", "w", driver="GTiff", width=2, height=2, count=1, dtype="uint8", crs=32622,
        transform=where,
    ) as file:  # fmt: skip
        file.write(np.array([[1, 2], [2, 7]], np.uint8), 1)
    (tmp_path / "structure_classes.csv").write_text("value,D_STRUCT\n1,Rock\n2,Sand\n7,Rubble\n9,Mud\n", "utf-8")
    (tmp_path / "cover_classes.csv").write_text("value,M_COVER\n1,Coral\n2,Algae\n7,None\n", "utf-8")
    found = json.loads(command("check", "--draft", tmp_path, "--json").out)
    asked = [a for a in found["asked"] if a.startswith("layers.substrate.classes")]
    assert [re.search(r"'(\w+)' in structure_classes", a)[1] for a in asked] == ["Rock", "Sand", "Rubble"]
    assert [f["role"] for f in found["files"]] == ["class names", "layers.substrate", "class names"]


def test_lines_that_are_offered_can_be_taken_in(tmp_path: Path) -> None:
    """A commented line that is no TOML once its mark is gone."""
    awkward.waypoints(tmp_path / "way.gpx")
    (tmp_path / "wind.csv").write_text("time,direction_deg,speed_ms\n2026-01-01T00:00,90,5\n", "utf-8")
    lines = json.loads(command("check", "--draft", tmp_path, "--json").out)["plan"].splitlines()
    table = lines.index("#: [layers.named_places]")
    taken = [
        line.removeprefix("#: ") if table <= i < table + 3 or "wind" in line else line for i, line in enumerate(lines)
    ]
    plan = tomllib.loads("\n".join(taken).replace("#: [waves]", "[waves]"))
    assert plan["layers"]["named_places"] == {"file": "way.gpx", "radius_m": "?"}
    assert (plan["waves"]["wind"], plan["waves"]["wind_form"]) == ("wind.csv", "hours")


def test_depths_in_feet_and_copies_are_asked_about_before_the_plan_is_answered(tmp_path: Path) -> None:
    """A year in feet and a list of colonies given twice, met only after every question was answered."""
    make(tmp_path)
    awkward.feet_in_some_years(tmp_path / "corales 2019.csv")
    awkward.two_header_rows(tmp_path / "norte.xlsx")
    awkward.numbers_and_text(tmp_path / "voluntarios.csv")
    awkward.folders_and_styles(tmp_path / "mis lugares.kml")
    found = json.loads(command("check", "--draft", tmp_path, "--json").out)
    feet = [a for a in found["asked"] if "depths of 2020" in a]
    assert len(feet) == 1
    assert "if it is in metres: ft?" in feet[0]
    assert '#: depth_units_by_year = { 2020 = "ft" }' in found["plan"].splitlines()
    copies = [a for a in found["asked"] if "like a copy" in a]
    assert copies == ["13 of its 13 points stand in norte.xlsx too, like a copy: leave one of the two tables out?"]
    kml = next(f for f in found["files"] if f["file"] == "mis lugares.kml")
    assert kml["role"] is None
    assert "in folders North / Corals" in kml["said"]
    assert "its name speaks for layers.named_places, its folders for layers.colonies" in kml["unknown"][0]
    assert "14 of its 14 points stand where norte.xlsx has colonies" in found["plan"]


def test_files_that_nobody_uses_are_named_in_the_plan_and_by_check(tmp_path: Path) -> None:
    """A photo with the only positions of a reef, gone without a word."""
    plan = make(tmp_path).folder / "plan.toml"
    awkward.bomb(tmp_path / "foto.kmz")
    (tmp_path / "notas.docx").write_bytes(b"x")
    lines = json.loads(command("check", "--draft", tmp_path, "--json").out)["plan"].splitlines()
    at = lines.index("# Files of the folder that this plan does not use:")
    assert lines[at + 1] == "#   foto.kmz: 'doc.kml' grows 1,028 times (due: at most 400 times)"
    assert lines[at + 2] == "#   notas.docx: of no kind that is read"
    said = command("check", plan)
    assert "files of the folder that the plan does not use: foto.kmz, notas.docx\n" in said.out


@pytest.mark.parametrize("column", ["TAXONCODE", "SPECIES_CD", "sp_code", "Species Code"])
def test_codes_of_species_are_recognised_and_asked_about(tmp_path: Path, column: str) -> None:
    """Species left out of a survey's list because its column is headed as surveys head it, or its codes taken for ours."""
    rows = f"LATITUDE,LONGITUDE,{column}\n21.3682,-157.6776,MCAP\n21.3683,-157.6777,LPUR\n"
    (tmp_path / "corals.csv").write_text(rows, "utf-8")
    shapes = gpd.GeoDataFrame({column: ["MCAP"]}, geometry=gpd.points_from_xy([-157.67], [21.36]), crs=4326)
    shapes.to_file(tmp_path / "more.geojson")
    said = command("check", "--draft", tmp_path, "--json")
    found = json.loads(said.out)
    assert [f["role"] for f in found["files"]] == ["layers.colonies"] * 2
    assert all(f"what the codes in '{column}' mean" in f["unknown"] for f in found["files"])
    lines = [line for line in found["plan"].splitlines() if line.startswith("columns")]
    assert len(lines) == 2
    assert "# asked: what do its codes LPUR, MCAP mean?" in lines[0]
    assert tomllib.loads(lines[0])["columns"] == {"species": column}
    assert "[PLAN | FILES]" in command("check", "--help").out


def test_an_unanswered_question_is_named_with_what_is_due() -> None:
    """A question mark taken for the name of a datum."""
    data = {"layers": {"bathymetry": {"file": "a.tif", "sign": "?", "units": "m", "datum": "?", "depth_error_m": "?"}}}
    with pytest.raises(ValueError, match="nobody has answered") as error:
        settings_from(data)
    places = {f.where: f.due for f in error.value.faults if "nobody" in f.came}  # type: ignore[attr-defined]
    assert set(places) == {f"plan.toml, layers.bathymetry.{k}" for k in ("sign", "datum", "depth_error_m")}
    assert "'depth' or 'elevation'" in places["plan.toml, layers.bathymetry.sign"]


@pytest.mark.parametrize(
    ("arguments", "hint"), [(("--draft",), "FILES"), (("--write", "a.toml"), "--draft"), (("a", "b"), "One plan")]
)
def test_wrong_use_of_the_draft_ends_with_two(arguments: tuple[str, ...], hint: str) -> None:
    """A forgotten file taken for a plan."""
    said = command("check", *arguments)
    assert said.code == 2
    assert hint in said.err
