"""The day's work through the command line, on a small plan with plots: sheets, days, pins as set, bad input."""

from __future__ import annotations

import csv
import json
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import gpxpy
import pandas as pd
import pdfplumber
import pytest

from sitekit.base.geodesy import direct, distance
from sitekit.pipeline.day_rows import numbers_in
from sitekit.season.plan_tables import read_plan
from sitekit.season.records import read_records
from tests.season.conftest import Ran, Said, command, digests, edit


def season(folder: Path) -> dict[str, Any]:
    return dict(read_plan(folder / "out" / "season.gpkg"))


def text_of(path: Path) -> str:
    return _text(path, path.stat().st_mtime_ns)


@cache
def _text(path: Path, _written: int) -> str:
    with pdfplumber.open(path) as pdf:
        return "\n".join(page.extract_text() for page in pdf.pages)


def run(folder: Path) -> Said:
    return command("run", folder)


def test_a_run_writes_the_whole_pack(working: Ran) -> None:
    """What a team takes to sea."""
    assert working.said.code == 0, working.said.err
    out = working.folder / "out"
    for name in ("dive_sheets.pdf", "day_plan.pdf", "fieldwork.csv", "waypoints.gpx", "waypoints.csv", "waypoints.kml"):
        assert (out / name).stat().st_size > 200, name
    assert "fieldwork: " in working.said.out
    assert "waypoints, the receiver keeps 3: load them in parts" in working.said.out
    assert "Boat: straight lines × 1; ways by sea on cells of" in working.said.out
    assert command("audit", working.folder).code == 0


def test_every_unit_is_on_a_dive_a_sheet_and_in_a_crate(working: Ran) -> None:
    """Sheet, day, crate and pull list must tell the same; a unit in one of them only is lost."""
    tables = season(working.folder)
    colonies = tables["colonies"]
    due = sorted((str(p), int(n)) for p, n in zip(colonies["plot"], colonies["sequence"], strict=True))
    for table, column in (("dives", "numbers"), ("crates", "numbers")):
        rows = tables[table].dropna(subset=[column, "plot"])
        found = sorted(
            (str(p), n) for p, text in zip(rows["plot"], rows[column], strict=True) for n in numbers_in(text)
        )
        assert found == due, table
    pulls, left = tables["pull_list"], tables["leftovers"]
    assert pulls["take"].sum() == colonies["fragments"].sum() == tables["days"]["fragments"].sum()
    assert pulls["spare"].sum() == tables["days"]["spares"].sum()
    assert (left["ready"] == left["planted"] + left["pulled"] + left["spare"] + left["left"]).all()
    assert left["pulled"].sum() == pulls["take"].sum()
    assert tables["segments"]["number"].sum() == len(colonies)
    sheets = text_of(working.folder / "out" / "dive_sheets.pdf")
    for plot in tables["sheets"]["plot"]:
        assert plot in sheets


def test_one_dive_each_is_planned_without_the_supervisors_minutes(working: Ran) -> None:
    """And every paper says why."""
    dives = season(working.folder)["dives"]
    assert dives["first_of_day"].all()
    assert (dives.groupby(["day", "pair"]).size() == 1).all()
    assert set(dives["kind"]) == {"harvest", "plant"}
    for name in ("dive_sheets.pdf", "day_plan.pdf"):
        assert "One dive per diver and day" in text_of(working.folder / "out" / name).replace("\n", " ")


def test_each_dive_is_within_gas_table_and_depth(working: Ran) -> None:
    """Figures on paper must follow from one another."""
    tables = season(working.folder)
    plots = tables["plots"].set_index("plot")["depth_max_m"]
    for dive in tables["dives"].to_dict("records"):
        assert dive["bottom_min"] <= dive["allowed_min"] <= dive["gas_min"] + 1e-9
        assert pd.isna(dive["table_min"]) or dive["allowed_min"] <= dive["table_min"]
        assert dive["table_row_ft"] * 0.3048 >= dive["depth_m"]
        charted = 5.0 if dive["plot"] is None else plots[dive["plot"]]
        assert dive["depth_m"] == pytest.approx(charted + 0.3)
        left = 77.4 * dive["turn_pressure"] / 3000 - 0.75 * (1 + dive["depth_m"] / 0.3048 / 33) * 5.0
        assert left >= 77.4 * 500 / 3000 - 1e-9


def test_missing_tide_is_said_on_sheet_and_day(working: Ran) -> None:
    """Depth at the planned time is not known then."""
    tables = season(working.folder)
    assert tables["sheets"]["tide_high_m"].isna().all()
    assert "TIDE NOT GIVEN" in text_of(working.folder / "out" / "dive_sheets.pdf")
    assert "No tide given" in text_of(working.folder / "out" / "day_plan.pdf")


@pytest.mark.slow
def test_a_tide_deepens_the_plan_and_stands_on_the_sheet(plan: Path) -> None:
    """Highest tide for gas and table, the hours' own range on the sheet. Slow: it runs the plan again."""
    rows = [f"2026-05-{d:02d}T{h:02d}:00,{0.1 * d:.1f}" for d in (4, 5, 6, 7, 8, 9) for h in range(24)]
    (plan / "tide.csv").write_text("time,height_m\n" + "\n".join(rows) + "\n", "utf-8")
    tide = '[tide]\nfile = "tide.csv"\ndatum = "MLLW"\nsource = "made up"\nleast_work_depth_m = 1.0\n'
    (plan / "plan.toml").write_text((plan / "plan.toml").read_text("utf-8") + tide, "utf-8")
    said = run(plan)
    assert said.code == 0, said.err
    tables = season(plan)
    sheet = tables["sheets"].iloc[0]
    assert (sheet["tide_low_m"], sheet["tide_high_m"]) == pytest.approx((0.4, 0.4))
    assert sheet["tide_depth_max_m"] == pytest.approx(sheet["depth_max_m"] + 0.4)
    harvest = tables["dives"][tables["dives"]["kind"] == "harvest"]
    assert harvest["depth_m"].iloc[0] == pytest.approx(5.0 + 0.3 + 0.9)


def test_receiver_files_read_back_to_the_season(working: Ran) -> None:
    """Two pins per plot, in visiting order, where the season has them."""
    points = gpxpy.parse((working.folder / "out" / "waypoints.gpx").read_text("utf-8")).waypoints
    table = season(working.folder)["waypoints"]
    assert [p.name for p in points] == table["name"].tolist()
    assert (abs(table["latitude_deg"] - [p.latitude for p in points]) < 5e-7).all()
    assert (abs(table["longitude_deg"] - [p.longitude for p in points]) < 5e-7).all()
    first = table[table["pin"] == 1]
    legs = distance(
        first["longitude_deg"][:-1], first["latitude_deg"][:-1], first["longitude_deg"][1:], first["latitude_deg"][1:]
    )
    assert first["leg_m"].to_numpy()[1:] == pytest.approx(legs)
    assert first["leg_from"].tolist()[0] == "Harbour"


def test_the_command_prints_tables_and_judges_todays_wind(plan: Path) -> None:
    """A leader reads it on the quay; programs read the same as JSON."""
    said = command("fieldwork", plan, "--wind-ms", "9")
    assert said.code == 0, said.err
    assert "DAYS" in said.out
    assert "TODAY: outside the team's limits: wind 9 m/s is above 8 m/s" in said.out
    assert "No decompression or repetitive-dive advice" in said.out
    data = json.loads(command("fieldwork", plan, "--json", "--wind-ms", "7").out)
    assert {"figures", "today", "days", "dives", "pull_list", "materials"} <= set(data)
    assert data["today"][0]["go"] is True
    assert len(data["dives"]) == data["figures"]["dives"]


def test_check_says_how_the_work_was_understood(working: Ran) -> None:
    """A wrong cylinder is found on shore, not on the boat."""
    said = command("check", working.folder)
    assert said.code == 0, said.err
    assert "cylinder 80: 77.4 ft³ at 3000 psi, reserve 500 psi; 0.75 ft³/min at the surface; air" in said.out
    assert "5 of 5 dates from 2026-05-04 to 2026-05-08" in said.out
    assert "One dive per diver and day" in said.out


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (
            "rate_ft3_min = 0.75",
            "rate_ft3_min = 0.75\ngreatest_depth_m = 5.0",
            "at most 5 m (16 ft), the supervisor's limit",
        ),
        ("depth_m = 5.0", "depth_m = 70.0", "is deeper than US Navy air no-stop limits"),
        ("descent_minutes = 5", "descent_minutes = 90", "time left to harvest"),
    ],
)
def test_check_refuses_a_harvest_that_no_dive_may_make(plan: Path, old: str, new: str, why: str) -> None:
    """Nursery dives count. The supervisor's depth once held for plots only, and a run told a nursery too deep at its end."""
    edit(plan / "plan.toml", old, new)
    said = command("check", plan)
    assert said.code == 3
    assert why in said.err


@pytest.mark.slow
def test_lost_days_leave_a_rest_that_is_listed(plan: Path) -> None:
    """Three days lost: exit code 4, what is done and what is left, nothing silently dropped.

    Slow: plans a whole season again.
    """
    edit(
        plan / "plan.toml",
        "boat_hours = 8.0",
        "boat_hours = 8.0\nlost_days = [2026-05-05, 2026-05-06, 2026-05-07, 2026-05-08]",
    )
    edit(plan / "plan.toml", "divers = 6", "divers = 4")
    said = command("fieldwork", plan)
    assert said.code == 4
    assert "units left over" in said.err
    tables = season(plan)
    done = sum(len(numbers_in(t)) for t in tables["dives"]["numbers"].dropna())
    left = len(tables["colonies"]) - done
    assert f"{left} units more than 1 days hold" in said.err
    assert "LEFT OVER" in text_of(plan / "out" / "day_plan.pdf")
    assert tables["days"]["date"].tolist() == ["2026-05-04"]


@pytest.mark.slow
def test_a_plot_beyond_the_supervisors_depth_gets_no_dive(plan: Path) -> None:
    """It is named with its depth; the others are planned. Slow: it runs the plan again."""
    tables = season(plan)
    deepest = tables["plots"].sort_values("depth_max_m").iloc[-1]
    limit = float(deepest["depth_max_m"]) + 0.2
    edit(plan / "plan.toml", "rate_ft3_min = 0.75", f"rate_ft3_min = 0.75\ngreatest_depth_m = {limit:.3f}")
    edit(plan / "plan.toml", "depth_m = 5.0", "depth_m = 2.0")  # the limit holds for the nursery too
    said = run(plan)
    assert said.code == 4
    assert f"fieldwork, plot {deepest['plot']}" in said.err
    assert "the supervisor's limit" in said.err
    again = season(plan)
    assert deepest["plot"] not in set(again["dives"]["plot"].dropna())
    assert len(again["dives"]) > 1
    assert deepest["plot"] in set(again["sheets"]["plot"])


@pytest.mark.slow
def test_a_plot_beyond_the_table_gets_no_dive(plan: Path) -> None:
    """The team's own table ends at 15 ft: no figure is made up below. Slow: it runs the plan again."""
    edit(plan / "plan.toml", "depth_m = 5.0", "depth_m = 2.0")
    edit(
        plan / "plan.toml", 'no_stop_table = "usn-rev7"',
        'no_stop_table = { name = "Ours", source = "manual, page 1", depth_ft = [8, 15], minutes = [300, 200] }',
    )  # fmt: skip
    said = run(plan)
    assert said.code == 4
    assert "is deeper than Ours" in said.err


@pytest.mark.slow
def test_guided_sheets_show_counts_instead_of_readings(plan: Path) -> None:
    """One setting turns the sheets round; the days stay. Slow: it runs the plan again."""
    before = season(plan)["dives"]
    (plan / "plan.toml").write_text(
        (plan / "plan.toml").read_text("utf-8") + '[sheets]\nkind = "guided"\nsegment_m = 4.0\n'
    )
    said = run(plan)
    assert said.code == 0, said.err
    text = text_of(plan / "out" / "dive_sheets.pdf")
    assert "stick of" in text
    assert "0–4 m" in text
    pd.testing.assert_frame_equal(before, season(plan)["dives"])


@pytest.mark.slow
def test_an_estimate_makes_no_sheets(plan: Path) -> None:
    """`fill` is not something to dive by. Slow: it runs the plan again."""
    edit(plan / "plan.toml", 'mode = "plots"', 'mode = "fill"')
    said = run(plan)
    assert said.code in (0, 4), said.err
    assert not (plan / "out" / "dive_sheets.pdf").exists()
    assert not (plan / "out" / "day_plan.pdf").exists()
    assert len(season(plan)["sheets"]) == 0


@pytest.mark.slow
def test_sheets_need_no_fieldwork_table(small: Ran) -> None:
    """Without [fieldwork] a diver still gets pins, bearings and rows; nothing about gas or days is invented.

    Slow: plans a whole season again.
    """
    out = small.folder / "out"
    assert (out / "dive_sheets.pdf").is_file()
    assert not (out / "day_plan.pdf").exists()
    assert "No [fieldwork] in the plan" in text_of(out / "dive_sheets.pdf").replace("\n", " ")


@pytest.mark.slow
def test_same_inputs_same_bytes(working: Ran, tmp_path: Path) -> None:
    """PDFs, GPX and KML too. Slow: it runs the plan again."""
    copy = tmp_path / "again"
    shutil.copytree(working.folder, copy, ignore=shutil.ignore_patterns("out"))
    assert command("run", copy, "--threads", "1").code == 0
    names = ("dive_sheets.pdf", "day_plan.pdf", "waypoints.gpx", "waypoints.kml", "waypoints.csv", "fieldwork.csv")
    before, after = digests(working.folder / "out"), digests(copy / "out")
    assert {n: before[n] for n in names} == {n: after[n] for n in names}


def pin_file(folder: Path, plot: str, bearing: float, metres: float, pins: str = "A", **more: str) -> Path:
    """A CSV with pins of a plot moved from their planned place."""
    with open(folder / "out" / "waypoints.csv", encoding="utf-8-sig", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["plot"] == plot]
    lines = ["plot,pin,latitude,longitude,date,error_m"]
    for pin in pins:
        row = next(r for r in rows if int(r["pin"]) == "AB".index(pin) + 1)
        lon, lat = direct(float(row["longitude_deg"]), float(row["latitude_deg"]), bearing, metres)
        lines.append(f"{plot},{pin},{float(lat):.8f},{float(lon):.8f},{more.get('date', '2026-05-04')},2")
    (folder / "pins.csv").write_text("\n".join(lines) + "\n", "utf-8")
    return folder / "pins.csv"


@pytest.mark.slow
def test_a_pin_set_elsewhere_moves_the_plot_and_its_units_are_asked_again(plan: Path) -> None:
    """7 m off: the plot follows, units off the rock are left out with the reason, no other number or tag moves.

    Slow: plans a whole season again.
    """
    before = season(plan)
    plot = str(before["plots"]["plot"].iloc[0])
    said = command("record", "pins", pin_file(plan, plot, 90.0, 7.0), plan)
    assert said.code == 0, said.err
    assert f"{plot} pin A: 7.0 m from the planned place (090° true)" in said.out
    assert len(read_records(plan / "records.gpkg", "set_pins")) == 1
    said = run(plan)
    assert said.code in (0, 4), said.err
    after = season(plan)
    if plot in set(after["plots"]["plot"]):
        assert f"{plot} follows its pins: pin A set 7.0 m from plan" in said.out
    keys = ["plot", "sequence"]
    old, new = before["colonies"].set_index(keys), after["colonies"].set_index(keys)
    assert set(new.index) <= set(old.index)
    assert (new["tag"] == old.loc[new.index, "tag"]).all()
    assert (new["genet"] == old.loc[new.index, "genet"]).all()
    moved = new.index.get_level_values("plot") == plot
    shift = new.geometry.distance(old.loc[new.index].geometry.set_axis(new.index))
    assert shift[moved].to_numpy() == pytest.approx(7.0, abs=0.05)
    assert shift[~moved].to_numpy() == pytest.approx(0.0, abs=1e-9)
    gone = len(old) - len(new)
    assert after["unplaced"]["number"].sum() - before["unplaced"]["number"].sum() == gone
    if gone:
        assert said.code == 4
        assert f"plot {plot} as set: " in said.err
    if plot in set(after["sheets"]["plot"]):
        assert "AS SET: pin A" in text_of(plan / "out" / "dive_sheets.pdf")
    assert command("audit", plan).code == 0


@pytest.mark.slow
def test_both_pins_turn_the_plot_and_the_line_runs_between_them(plan: Path) -> None:
    """The second pin, not the bearing, makes a plot findable again. Slow: it runs the plan again."""
    plot = str(season(plan)["plots"]["plot"].iloc[0])
    assert command("record", "pins", pin_file(plan, plot, 0.0, 0.4, pins="AB"), plan).code == 0
    said = run(plan)
    assert said.code in (0, 4)
    ways = season(plan)["waypoints"]
    rows = ways[ways["plot"] == plot].set_index("pin")
    recorded = read_records(plan / "records.gpkg", "set_pins").set_index("pin")
    assert rows["as_set"].all()
    away = distance(
        rows["longitude_deg"], rows["latitude_deg"], recorded.loc[rows.index, "longitude_deg"],
        recorded.loc[rows.index, "latitude_deg"],
    )  # fmt: skip
    assert away == pytest.approx(0.0, abs=0.01)


@pytest.mark.slow
def test_a_pin_outside_the_work_areas_is_recorded_and_told(plan: Path) -> None:
    """It stands on the reef, so it is recorded; the permit may not cover it, so it is said. Slow: it runs the plan again."""
    plot = str(season(plan)["plots"]["plot"].iloc[0])
    said = command("record", "pins", pin_file(plan, plot, 180.0, 60.0), plan)
    assert said.code == 0
    assert "OUTSIDE the planned work areas" in said.out
    said = run(plan)
    assert said.code == 4
    assert f"plot {plot} as set: " in said.err
    assert plot not in set(season(plan)["sheets"]["plot"])


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ("plot,pin,latitude,longitude,date\nNO-01,A,18.05,-50.30,2026-05-04", "plot 'NO-01' pin A"),
        ("plot,pin,latitude,longitude,date\n{plot},C,18.05,-50.30,2026-05-04", "pin 'C'; due: A or B"),
        ("plot,pin,latitude,longitude,date\n{plot},A,-50.30,18.05,2026-05-04", "from the planned place"),
        ("plot,pin,latitude,longitude,date\n{plot},A,x,-50.30,2026-05-04", "line 2, latitude"),
        ("plot,pin,latitude,longitude\n{plot},A,18.05,-50.30", "date None; due: a day"),
        ("plot,latitude,longitude\n{plot},18.05,-50.30", "no column 'pin'"),
        ("plot,pin,date\n{plot},A,2026-05-04", "no position"),
        ("plot,pin,latitude,longitude,date", "holds no pin"),
    ],
)
@pytest.mark.few(2)
def test_pins_that_cannot_be_are_refused_and_nothing_is_recorded(plan: Path, lines: str, why: str) -> None:
    """A slip of the pen in the records would move a plot for good."""
    plot = str(season(plan)["plots"]["plot"].iloc[0])
    (plan / "pins.csv").write_text(lines.format(plot=plot) + "\n", "utf-8")
    said = command("record", "pins", plan / "pins.csv", plan)
    assert said.code == 3
    flat = said.err.replace("\n    came: ", ": ").replace("\n    due:  ", "; due: ")
    assert why in flat, said.err
    assert said.err.count("    due:  ") == 1
    assert not (plan / "records.gpkg").exists()


def test_all_faults_of_a_pins_file_are_told_at_once(plan: Path) -> None:
    """One fault per try costs a team an evening."""
    plot = str(season(plan)["plots"]["plot"].iloc[0])
    rows = ["NO-01,A,18.05,-50.30,2026-05-04", f"{plot},C,18.05,-50.30,yesterday", f"{plot},A,28.05,-50.30,2026-05-04"]
    (plan / "pins.csv").write_text("\n".join(["plot,pin,latitude,longitude,date", *rows]) + "\n", "utf-8")
    said = command("record", "pins", plan / "pins.csv", plan)
    assert said.code == 3
    assert "4 faults" in said.err
    for why in ("plot 'NO-01' pin A", "pin 'C'", "date 'yesterday'", "from the planned place"):
        assert why in said.err, why


def test_pins_come_from_the_receiver_too(plan: Path) -> None:
    """The GPX that went out comes back with better positions, under the same names."""
    document = gpxpy.parse((plan / "out" / "waypoints.gpx").read_text("utf-8"))
    document.waypoints = document.waypoints[:2]
    document.waypoints[0].latitude += 1e-5
    (plan / "back.gpx").write_text(document.to_xml(version="1.1"), "utf-8")
    said = command("record", "pins", plan / "back.gpx", plan, "--date", "2026-05-04", "--error-m", "3", "--json")
    assert said.code == 0, said.err
    assert [r["moved_m"] for r in json.loads(said.out)] == pytest.approx([1.11, 0.0], abs=0.01)
    assert read_records(plan / "records.gpkg", "set_pins")["error_m"].tolist() == [3.0, 3.0]
    document.waypoints[0].name = "MARK 12"
    (plan / "back.gpx").write_text(document.to_xml(version="1.1"), "utf-8")
    said = command("record", "pins", plan / "back.gpx", plan, "--date", "2026-05-04")
    assert said.code == 3
    assert "no pin of this plan" in said.err


def test_the_demo_lays_out_its_season_within_the_rules(demo: Ran) -> None:
    """The shipped example must be one a leader could take to sea."""
    tables = season(demo.folder)
    days, dives = tables["days"], tables["dives"]
    assert len(days)
    assert (days["clock_min"].dropna() < 240).all()
    assert (days["boat_min"] <= 480).all()
    assert sum(len(numbers_in(t)) for t in dives["numbers"].dropna()) == len(tables["colonies"])
    later = dives[~dives["first_of_day"]]
    assert later["table_row_ft"].isna().all()
    assert (later["supervisor_min"] == 45).all()
    assert "FICTIONAL" in text_of(demo.folder / "out" / "day_plan.pdf")
    assert tables["sheets"]["tide_high_m"].notna().all()
