"""A season from partners' files: names mapped, doubts listed, refused rows kept; each row keeps partner, file and line."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import openpyxl
import pytest
from pyproj import Transformer

from sitekit.season.plan_tables import read_table
from tests.audit.conftest import EPSG, LIVING, local, make
from tests.season.conftest import Ran, command, edit

COLONIES = '[[layers.colonies]]\nfile = "living.csv"\n'
OURS = """
[[layers.colonies]]
file = "living.xlsx"
sheet = "2026"
origin = "wild"
position_error_m = 1.0
partner = "team"
[[layers.colonies]]
file = "school.csv"
origin = "outplant"
position_error_m = 1.0
partner = "school"
depth_units = "m"
[partners]
aliases = "aliases.csv"
"""
ALIASES = (
    "kind,name,means,partner,species\nspecies,Acropora palmata,APAL,,\nspecies,elk,APAL,school,\n"
    "genet,K 1,a1,school,APAL\n"
)
_BACK = Transformer.from_crs(EPSG, 4326, always_xy=True)


def degrees(x: float, y: float) -> tuple[float, float]:
    return _BACK.transform(*local(x, y))


def write_files(folder: Path) -> None:
    """Colonies of two partners, a stock list of both and the list of names."""
    book = openpyxl.Workbook()
    book.active.title = "old"
    book.active.append(["lon", "lat"])
    sheet = book.create_sheet("2026")
    sheet.append(["Our colonies"])
    sheet.append(["Longitude", "Latitude", "Scientific name", "Size (in)"])
    for place in LIVING:
        sheet.append([*degrees(*place), "Acropora palmata", 10])
    sheet.append([*degrees(56, 20), "ACER", "big"])
    book.save(folder / "living.xlsx")
    rows = ["Latitud;Longitud;especie;fecha;depth"]
    for i, (year, factor) in enumerate([(2019, 1.0)] * 4 + [(2020, 3.28)] * 4):
        x, y = 52.5 + i % 4, 30.5 + 2 * (i // 4)
        lon, lat = degrees(x, y)
        rows.append(f"{lat:.7f};{lon:.7f};elk;{year}-05-01;{(3 + 0.05 * x + 0.02 * y) * factor:.1f}")
    lon, lat = degrees(LIVING[0][0] + 0.5, LIVING[0][1])
    rows.append(f"{lat:.7f};{lon:.7f};elk;2019-05-01;")
    (folder / "school.csv").write_text("\n".join(rows).replace(".", ",") + "\n", "utf-8-sig")
    (folder / "stock.csv").write_text(
        "species,genet,ready,health,health_date,size_cm,partner\n"
        "APAL,a1,30,healthy,2026-04-01,10,team\nelk,K 1,4,healthy,2026-04-01,10,school\n"
        "APAL,a2,26,healthy,2026-04-01,10,team\nAPAL,A-2,5,healthy,2026-04-01,10,school\n"
        "ACER,c1,100,healthy,2026-04-01,10,team\nACER,=c2,100,healthy,2026-04-01,10,team\n"
        "ACER,c3,a lot,healthy,2026-04-01,10,school\n"
    )
    (folder / "aliases.csv").write_text(ALIASES)


pytestmark = pytest.mark.slow  # a whole season of the small plan


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The small plan with the files of two partners, rows that cannot be used set aside."""
    folder = make(tmp_path_factory.mktemp("partners")).folder
    shutil.rmtree(folder / "out")
    write_files(folder)
    edit(folder / "plan.toml", COLONIES, OURS)
    edit(folder / "plan.toml", "ACER = 60", "ACER = 50")
    plan = folder / "plan.toml"
    refused = command("check", plan)
    assert refused.code == 3
    for part in ("living.xlsx, line 5", "size_cm is 'big'", "stock.csv line 8, ready", "'a lot'"):
        assert part in refused.err
    assert "accept_partial = true in [stock]" in refused.err
    text = plan.read_text("utf-8").replace('file = "stock.csv"', 'file = "stock.csv"\naccept_partial = true')
    plan.write_text(text.replace('sheet = "2026"', 'sheet = "2026"\naccept_partial = true'), "utf-8")
    said = command("run", folder)
    assert said.code == 0, said.err
    return Ran(folder, said)


def listed(folder: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((folder / "out" / name).read_text("utf-8-sig").splitlines()))


def test_check_tells_how_each_file_was_understood_what_was_refused_and_what_is_asked(season: Ran) -> None:
    """A reading that nobody sees cannot be doubted."""
    said = command("check", season.folder)
    assert said.code == 0, said.err
    for part in (
        "note: sheet '2026'", "note: header in line 2; 1 rows above it left out",
        "note: 'Size (in)' holds in: times 2.54 gives cm",
        "note: semicolons between columns, UTF-8", "note: decimal comma", "note: depths from 'depth', in m",
        "REFUSED living.xlsx, line 5: size_cm is 'big' (due: a number); the row: ",
        "REFUSED stock.csv, line 8: ready 'a lot'",
        "ASKED: school.csv: 4 depths of 2020, read in m, are 3", 'write depth_units_by_year = { 2020 = "ft" }',
        "ASKED: living.xlsx of team and school.csv of school: 1 pairs nearer than their errors (lines 3 and 10, 0.5 m)",
        "ASKED: APAL: A-2, a2 differ only in case, gaps or marks: one genet?",
        "1 names of genet mapped by the list of partners' names",
    ):  # fmt: skip
        assert part in said.out, part
    rows = json.loads(command("check", season.folder, "--json").out)
    stock = next(r for r in rows if r["layer"] == "stock")
    assert stock["refused"] == [
        {
            "file": "stock.csv", "line": 8,
            "text": "species=ACER; genet=c3; ready=a lot; health=healthy; health_date=2026-04-01; size_cm=10; partner=school",
            "reason": "ready 'a lot' (due: a whole number of fragments from 0 to 999,999,999)", "do": "Correct the count.",
        }
    ]  # fmt: skip


def test_every_row_keeps_partner_file_and_line_into_season_and_lists(season: Ran) -> None:
    """Nobody could ask the partner whose row it was."""
    living = read_table(season.folder / "out" / "season.gpkg", "living")
    assert set(zip(living["partner"], living["file"], strict=True)) == {
        ("team", "living.xlsx"),
        ("school", "school.csv"),
    }
    assert living["species_written"].tolist()[:2] == ["Acropora palmata"] * 2
    assert listed(season.folder, "living_colonies.csv")[2]["line"] == "2"
    stock = {r["genet_written"]: r for r in listed(season.folder, "stock_read.csv") if r["genet_written"]}
    assert (stock["K 1"]["genet"], stock["K 1"]["species_written"], stock["K 1"]["line"]) == ("a1", "elk", "3")
    allotment = {r["genet"]: r for r in listed(season.folder, "allotment.csv")}
    assert (allotment["a1"]["partner"], allotment["a1"]["stock_rows"]) == ("team, school", "stock.csv 2, 3")
    planted = next(r for r in listed(season.folder, "colonies.csv") if r["genet"] == "a1")
    assert planted["stock_rows"] == "stock.csv 2, 3"


def test_refused_rows_and_doubts_are_listed_and_stand_in_the_decision_record(season: Ran) -> None:
    """A season that forgot what it left out."""
    assert [(r["layer"], r["file"], r["line"]) for r in listed(season.folder, "refused_rows.csv")] == [
        ("layers.colonies[1]", "living.xlsx", "5"), ("stock", "stock.csv", "8"),
    ]  # fmt: skip
    size = listed(season.folder, "refused_rows.csv")[0]
    assert size["reason"] == "size_cm is 'big' (due: a number). Correct the row in its file, or ask who wrote it."
    assert "; Size (in)=big" in size["text"]
    said = " | ".join(r["said"] for r in listed(season.folder, "doubts.csv"))
    for part in ("depths of 2020", "1 pairs nearer", "A-2, a2 differ", "a1 is a name of school, team"):
        assert part in said
    record = (season.folder / "out" / "decision.md").read_text("utf-8")
    assert "asked, not answered: APAL: A-2, a2 differ only in case" in record
    assert "1 rows of stock.csv (stock) could not be used and are left out" in record
    assert "2 rows of the team's tables refused: see out/refused_rows.csv" in season.said.out


def test_the_audit_reads_the_partners_files_as_the_plan_does(season: Ran) -> None:
    """Promises about clearances and stock would be left unlooked at for anything but CSV."""
    said = command("audit", season.folder)
    assert said.code == 0, said.out + said.err


def test_answers_silence_the_questions(season: Ran, tmp_path: Path) -> None:
    """A question that comes back every day is no longer read."""
    folder = Path(shutil.copytree(season.folder, tmp_path / "answered", ignore=shutil.ignore_patterns("out")))
    with (folder / "aliases.csv").open("a") as file:
        file.write("genet,A-2,A-2,school,APAL\ngenet,a2,a2,team,APAL\ngenet,a1,a1,team,APAL\n")
    edit(folder / "plan.toml", 'depth_units = "m"', 'depth_units = "m"\ndepth_units_by_year = { 2020 = "ft" }')
    lines = (folder / "school.csv").read_text("utf-8-sig").splitlines()
    (folder / "school.csv").write_text("\n".join(lines[:-1]), "utf-8")
    said = command("check", folder)
    assert said.code == 0, said.err
    assert "ASKED" not in said.out
    assert "; 2020 in ft" in said.out
