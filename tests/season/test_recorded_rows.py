"""Tables as a spreadsheet leaves them: what a program changed is undone where only one thing can be meant, else told."""

from __future__ import annotations

import csv
import datetime
import shutil
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from sitekit.pipeline.recorded_rows import as_known, numbers_of
from sitekit.season.plan_tables import read_table
from sitekit.season.records import read_records
from tests.season.conftest import Ran, Said, command, edit


def recorded(folder: Path) -> pd.DataFrame:
    return read_records(folder / "records.gpkg", "planted").set_index("sequence")


def typed(folder: Path, *lines: str) -> Said:
    (folder / "typed.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return command("record", "planted", folder / "typed.csv", folder, "--date", "2026-05-04")


def units(folder: Path) -> pd.DataFrame:
    colonies = read_table(folder / "out" / "season.gpkg", "colonies").sort_values("sequence")
    return pd.DataFrame(colonies[["plot", "sequence", "tag", "genet", "species"]])


def test_the_form_comes_back_from_a_spreadsheet_that_dropped_zeros(plan: Path) -> None:
    """Tags 0001 to 0022 and a genet =c2: a form opened by a double click comes back with tags 1 to 22 and '=c2."""
    with open(plan / "out" / "planting_form.csv", encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {"'=c2"} < {r["genet"] for r in rows}
    assert all(r["tag"].startswith("0") for r in rows)
    for row in rows:
        row |= {"tag": row["tag"].lstrip("0"), "planted": "yes", "date": "2026-05-04"}
    with open(plan / "typed.csv", "w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    said = command("record", "planted", plan / "typed.csv", plan)
    assert said.code == 0, said.err
    assert "other than planned" not in said.out
    due = units(plan).set_index("sequence")
    assert recorded(plan)["tag"].to_dict() == due["tag"].to_dict()
    assert recorded(plan)["genet"].to_dict() == due["genet"].to_dict()
    look = plan / "look.csv"
    look.write_text(f"tag,state\n{rows[0]['tag']},alive\n", "utf-8")
    assert command("record", "survey", look, plan, "--date", "2026-06-04").code == 0


@pytest.mark.slow
def test_a_genet_that_lost_its_zeros_is_not_taken_for_another(demo: Ran, tmp_path: Path) -> None:
    """The demo grows genets 007 and 7; a spreadsheet makes 7 of both. Slow: it needs the demo."""
    reef = Path(shutil.copytree(demo.folder, tmp_path / "reef"))
    colonies = read_table(reef / "out" / "season.gpkg", "colonies")
    row = {g: colonies[colonies["genet"] == g].iloc[0] for g in ("007", "7", "010")}
    assert typed(reef, "plot,number,genet", f"{row['7']['plot']},{row['7']['sequence']},7").code == 0
    assert typed(reef, "plot,number,genet", f"{row['010']['plot']},{row['010']['sequence']},10").code == 0
    said = typed(reef, "plot,number,genet", f"{row['007']['plot']},{row['007']['sequence']},7")
    assert said.code == 3
    assert "genet '7', which may be '007' without its zeros" in said.err
    assert set(recorded(reef)["genet"]) == {"7", "010"}


def test_columns_that_were_sorted_one_by_one_are_refused(plan: Path) -> None:
    """The commonest way to spoil a table in a spreadsheet: every cell is right, and every row is wrong."""
    a, b = (part.iloc[0] for _, part in units(plan).groupby("species"))
    said = typed(plan, "plot,number,species", f"{a['plot']},{a['sequence']},{b['species']}")
    assert said.code == 3
    assert f"species '{b['species']}' of C01 number {a['sequence']}, which is {a['species']}" in said.err
    assert typed(plan, "plot,number,species", f"{a['plot']},{a['sequence']},the team's own word").code == 0
    assert typed(plan, "plot,number", f"{b['plot']},{b['sequence']}").code == 0
    (plan / "look.csv").write_text(f"plot,number,tag,state\n{a['plot']},{a['sequence']},{b['tag']},dead\n", "utf-8")
    said = command("record", "survey", plan / "look.csv", plan, "--date", "2026-06-08")
    assert said.code == 3
    assert f"it is that of C01 number {b['sequence']}" in said.err


def test_a_wrong_column_is_told_twenty_times_and_counted(plan: Path) -> None:
    """Four hundred dates in another notation are one fault to a person."""
    first = units(plan).iloc[0]
    (plan / "typed.csv").write_text("plot,number,date\n" + f"{first['plot']},1,4 May\n" * 400, "utf-8")
    said = command("record", "planted", plan / "typed.csv", plan)
    assert said.code == 3
    assert said.err.count("came:") == 21
    assert "380 more faults, not shown" in said.err


def test_a_row_tells_what_it_replaces(plan: Path) -> None:
    """Cells left empty mean the sheet's: a corrected day that drops the tag on the reef must not do so unseen."""
    first = units(plan).iloc[0]
    row = f"{first['plot']},{first['sequence']}"
    said = typed(plan, "plot,number,tag,along_m,offset_m", f"{row},T-77,0.4,L 0.3")
    assert "replaces" not in said.out
    said = typed(plan, "plot,number,tag,along_m,offset_m", f"{row},T-77,0.4,L 0.3")
    assert "replaces" not in said.out  # the same file twice
    (plan / "typed.csv").write_text(f"plot,number,date\n{row},2026-05-05\n", "utf-8")
    said = command("record", "planted", plan / "typed.csv", plan)
    assert f"replaces what was recorded: {first['sequence']} (tag T-77 becomes {first['tag']}, " in said.out
    assert "date 2026-05-04 becomes 2026-05-05, along_m 0.4 becomes 0.0, offset_m -0.3 becomes 0.0)" in said.out


def test_dead_units_may_be_noted_without_live_tissue(plan: Path) -> None:
    """Dead and 0 % say the same; missing and 0 % do not."""
    first = units(plan).iloc[0]
    row = f"{first['plot']},{first['sequence']}"
    assert typed(plan, "plot,number", row).code == 0
    for state, code in (("dead", 0), ("missing", 3)):
        (plan / "look.csv").write_text(f"plot,number,state,live_pct\n{row},{state},0\n", "utf-8")
        assert command("record", "survey", plan / "look.csv", plan, "--date", "2026-06-08").code == code, state


def test_zeros_are_put_back_only_where_one_name_is_meant() -> None:
    """7 may be 007 or 07; then nobody can tell."""
    assert as_known("7", ["007", "A"]) == "007"
    assert as_known("7", ["007", "07"]) == "7"
    assert as_known("7", ["7", "007"]) == "7"
    assert as_known("A7", ["0A7"]) == "A7"


def test_whole_numbers_written_as_decimals_are_numbers() -> None:
    """A column with an empty cell comes out of many programs as 5.0."""
    assert numbers_of("5.0") == [5]
    assert numbers_of("5,0") == [5]
    for text in ("2.5", "1.12", "5.0-7.0"):
        assert numbers_of(text) is None, text


def test_a_tag_that_became_a_date_is_refused(plan: Path) -> None:
    """Tag 3-1 turns into 1 March; recorded as 2026-03-01 no diver would find it again."""
    book = openpyxl.Workbook()
    sheet = book.active
    first = units(plan).iloc[0]
    sheet.append(["Plot", "Number", "Date", "Tag"])
    sheet.append(
        [first["plot"], float(first["sequence"]), datetime.datetime(2026, 5, 4), datetime.datetime(2026, 3, 1)]
    )
    book.save(plan / "typed.xlsx")
    said = command("record", "planted", plan / "typed.xlsx", plan)
    assert said.code == 3
    assert "Tag is a date" in said.err
    sheet["D2"] = "T-9"
    book.save(plan / "typed.xlsx")
    assert command("record", "planted", plan / "typed.xlsx", plan).code == 0
    assert recorded(plan)[["date", "tag"]].values.tolist() == [["2026-05-04", "T-9"]]


def test_one_tag_on_two_units_of_a_file_is_refused_and_swapped_tags_are_not(plan: Path) -> None:
    """A tag that stands twice finds no unit; two tags that changed places find both."""
    a, b = (units(plan).iloc[k] for k in (0, 1))
    said = typed(plan, "plot,number,tag", f"{a['plot']},{a['sequence']},X", f"{b['plot']},{b['sequence']},X")
    assert said.code == 3
    assert said.err.count("came: tag 'X'") == 2
    lines = [f"{a['plot']},{a['sequence']},{b['tag']}", f"{b['plot']},{b['sequence']},{a['tag']}"]
    assert typed(plan, "plot,number,tag", lines[0]).code == 3  # alone it takes the tag of a unit that keeps it
    said = typed(plan, "plot,number,tag", *lines)
    assert said.code == 0, said.err
    assert recorded(plan)["tag"].to_dict() == {a["sequence"]: b["tag"], b["sequence"]: a["tag"]}


@pytest.mark.parametrize(
    ("along", "offset"), [("2,5", "L 0,4"), ("2.5", "L 0.4"), ("2,5", "-0,4"), ("2.5", "I 0.4"), ("2.5", "g0,4")]
)
@pytest.mark.few(2)
def test_readings_are_read_as_the_sheets_print_them(plan: Path, along: str, offset: str) -> None:
    """Whoever writes 2,5 writes L 0,4; left is I on Spanish sheets and G on French ones."""
    first = units(plan).iloc[0]
    said = typed(plan, "plot;number;along_m;offset_m", f"{first['plot']};{first['sequence']};{along};{offset}")
    assert said.code == 0, said.err
    assert recorded(plan)[["along_m", "offset_m"]].values.tolist() == [[2.5, -0.4]]


@pytest.mark.slow
def test_a_unit_planted_anew_begins_anew(plan: Path) -> None:
    """Records cannot be taken out of the file: a look before the new day must not stop every later run.

    Slow: it runs the plan again.
    """
    first = units(plan).iloc[0]
    row = f"{first['plot']},{first['sequence']}"
    assert typed(plan, "plot,number", row).code == 0
    (plan / "look.csv").write_text(f"plot,number,state\n{row},dead\n", "utf-8")
    assert command("record", "survey", plan / "look.csv", plan, "--date", "2026-05-04").code == 0
    (plan / "typed.csv").write_text(f"plot,number,date\n{row},2026-05-05\n", "utf-8")
    said = command("record", "planted", plan / "typed.csv", plan)
    assert f"looked at before that day, which no longer counts: {first['sequence']}" in said.out
    said = command("run", plan)
    assert said.code == 0, said.err
    assert "former looks do not count: 1" in said.out
    standing = read_table(plan / "out" / "season.gpkg", "as_planted")
    assert standing[["planted", "state"]].values.tolist() == [["2026-05-05", "planted"]]
    assert command("audit", plan).code == 0


@pytest.mark.slow
def test_a_season_that_is_planted_and_dead_ends_well(plan: Path) -> None:
    """No day is left to lay out, nothing to look at, no test has anything to compare. Slow: it runs the plan again."""
    plots = sorted(set(units(plan)["plot"]))
    said = typed(plan, "plot,number", *(f"{p},all" for p in plots))
    assert said.code == 0, said.err
    (plan / "look.csv").write_text("plot,number,state\n" + "".join(f"{p},all,dead\n" for p in plots), "utf-8")
    assert command("record", "survey", plan / "look.csv", plan, "--date", "2026-06-08").code == 0
    said = command("survey", plan)
    assert said.code == 0, said.err
    assert "2 species not compared: no visit that found deaths left survivors to compare" in said.out
    assert "NaN" not in command("survey", plan, "--json").out
    out = {p.name for p in (plan / "out").iterdir()}
    assert not out & {"planting_form.csv", "day_plan.pdf", "survey_sheets.pdf"}
    assert len((plan / "out" / "survey_form.csv").read_text("utf-8-sig").splitlines()) == 1
    assert command("audit", plan).code == 0


def test_check_tells_the_season_of_what_is_recorded_and_a_broken_file(plan: Path) -> None:
    """Last year's units taken for this year's are told before the run, and so is a file that no run can read."""
    assert "records.gpkg" not in command("check", plan).out
    first = units(plan).iloc[0]
    assert typed(plan, "plot,number", f"{first['plot']},{first['sequence']}").code == 0
    said = command("check", plan)
    assert "planted 2026-05-04 to 2026-05-04: 1 units of this season, 0 of earlier ones" in said.out
    assert "survey.season_from is left out" in said.out
    edit(plan / "plan.toml", "[receiver]", "[survey]\nseason_from = 2026-12-01\n[receiver]")
    assert "0 units of this season, 1 of earlier ones" in command("check", plan).out
    (plan / "records.gpkg").write_bytes(b"not a database, but longer than a header" * 9)
    said = command("check", plan)
    assert said.code == 3
    assert "records.gpkg" in said.err


@pytest.mark.slow
@pytest.mark.parametrize(("old", "new"), [("resolution_m = 1.0", "resolution_m = 50.0"), ('"plots"', '"fill"')])
def test_what_stands_is_written_by_plans_that_draw_nothing_to_plant(plan: Path, old: str, new: str) -> None:
    """Next year is scouted or estimated, last year's units are still there to be looked at. Slow: it runs the plan again."""
    first = units(plan).iloc[0]
    assert typed(plan, "plot,number", f"{first['plot']},{first['sequence']}").code == 0
    edit(plan / "plan.toml", old, new)
    edit(plan / "plan.toml", "[receiver]", "[survey]\nseason_from = 2026-12-01\n[receiver]")
    assert command("run", plan).code in (0, 4)
    out = {p.name for p in (plan / "out").iterdir()}
    assert {"survey_form.csv", "as_planted.csv", "outplants.csv"} <= out
    assert not out & {"planting_form.csv", "survey_sheets.pdf"}
    assert len((plan / "out" / "outplants.csv").read_text("utf-8-sig").splitlines()) == 2
    assert command("audit", plan).code == 0
