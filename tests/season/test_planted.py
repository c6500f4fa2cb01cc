"""What was planted and what lives of it: recorded from the team's tables, kept apart from the plan, counted again."""

from __future__ import annotations

import csv
import json
import math
import shutil
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pdfplumber
import pytest

from sitekit.audit import planted_kept
from sitekit.base.geodesy import inverse
from sitekit.pipeline.recorded_rows import numbers_of
from sitekit.season.plan_tables import read_plan, read_table
from sitekit.season.records import append_records, read_records
from tests.season.conftest import Ran, command, edit, once


def season(folder: Path) -> dict[str, Any]:
    return dict(read_plan(folder / "out" / "season.gpkg"))


def write(folder: Path, *lines: str) -> Path:
    path = folder / "typed.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))


def flat(text: str) -> str:
    return text.replace("\n    came: ", ": ").replace("\n    due:  ", "; due: ")


@pytest.fixture(scope="session")
def tended(working: Ran, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The small plan after a day of planting and two visits: one plot whole but for a unit, one begun; never changed."""

    def run(base: Path) -> Ran:
        folder = Path(shutil.copytree(working.folder, base / "plan"))
        first, second = plots_of(folder)
        a, b = numbers(folder, first), numbers(folder, second)
        rows = [f"{first},{n},yes,,,," for n in a[:-2]]
        rows += [f"{first},{a[-2]},yes,unknown,,2.0,L 0.9", f"{first},{a[-1]},no,,,,"]
        rows += [f"{second},{b[0]},yes,,T-77,,"]
        said = command(
            "record", "planted",
            write(folder, "plot,numbers,planted,genet,tag,along_m,offset_m", *rows), folder, "--date", "2026-05-04",
        )  # fmt: skip
        assert said.code == 0, said.err
        looks = [f'{first},"{a[0]}-{a[1]}",alive,80,', f"{first},{a[2]},dead,,bitten", f"{first},{a[3]},missing,,"]
        file = write(folder, "plot,numbers,state,live_pct,cause", *looks)
        assert command("record", "survey", file, folder, "--date", "2026-06-05").code == 0
        looks = [
            f"{first},{a[0]},alive,90,",
            f"{first},{a[1]},dead,,",
            f"{first},{a[3]},alive,40,",
            f"{second},all,alive,,",
        ]
        file = write(folder, "plot,numbers,state,live_pct,cause", *looks)
        assert command("record", "survey", file, folder, "--date", "2026-08-03").code == 0
        return Ran(folder, command("run", folder))

    return once(tmp_path_factory, "tended", run)


@pytest.fixture
def reef(tended: Ran, tmp_path: Path) -> Path:
    """A copy of it with its results."""
    return Path(shutil.copytree(tended.folder, tmp_path / "plan"))


def plots_of(folder: Path) -> tuple[str, str]:
    return _names(folder)[0]


def numbers(folder: Path, plot: str) -> list[int]:
    return _names(folder)[1][plot]


def _names(folder: Path) -> tuple[tuple[str, str], dict[str, list[int]]]:
    path = folder / "out" / "season.gpkg"
    return _read_names(path, path.stat().st_mtime_ns)


@cache
def _read_names(path: Path, _written: int) -> tuple[tuple[str, str], dict[str, list[int]]]:
    plots, colonies = read_table(path, "plots"), read_table(path, "colonies")
    names = sorted(plots["plot"][plots["role"] == "planted"].astype(str))
    own = {str(p): sorted(int(n) for n in part["sequence"]) for p, part in colonies.groupby("plot")}
    return (names[0], names[1]), own


def test_planted_units_leave_the_queue_and_the_pull_list(working: Ran, tended: Ran) -> None:
    """A team that pulls fragments for units that stand already wastes them, and a day."""
    assert tended.said.code == 0, tended.said.err
    before, after = season(working.folder), season(tended.folder)
    standing = after["as_planted"]
    first, second = plots_of(tended.folder)
    done = len(numbers(tended.folder, first)) - 1 + 1
    assert len(standing) == done
    assert standing["as_drawn"].all()
    assert before["days"]["units"].sum() - after["days"]["units"].sum() == done
    assert before["days"]["fragments"].sum() - after["days"]["fragments"].sum() == standing["fragments"].sum()
    assert before["pull_list"]["take"].sum() - after["pull_list"]["take"].sum() == standing["fragments"].sum()
    assert after["leftovers"]["planted"].sum() == standing["fragments"][standing["genet"] != "unknown"].sum()
    left = after["leftovers"]
    assert (left["ready"] == left["planted"] + left["pulled"] + left["spare"] + left["left"]).all()
    assert (after["days"]["date"] > "2026-05-04").all()
    assert f"planted: {done} of the {len(after['colonies'])} units of this plan" in tended.said.out
    keys = ["site", "sequence"]
    pd.testing.assert_frame_equal(  # nothing of the plan itself moved
        pd.DataFrame(before["colonies"]).set_index(keys), pd.DataFrame(after["colonies"]).set_index(keys)
    )
    assert second in set(after["dives"]["plot"])


def test_a_unit_planted_beside_its_reading_stands_where_the_diver_says(tended: Ran) -> None:
    """The reading of the recorder's page counts, not the plan's: worked out on the ellipsoid, from the pins alone."""
    tables = season(tended.folder)
    first, _ = plots_of(tended.folder)
    number = numbers(tended.folder, first)[-2]
    row = next(r for r in tables["as_planted"].to_dict("records") if r["sequence"] == number)
    assert (row["along_m"], row["offset_m"], row["genet"]) == (2.0, -0.9, "unknown")
    plot = next(p for p in tables["plots"].to_dict("records") if p["plot"] == first)
    pins = gpd.GeoSeries.from_xy(
        [plot["pin_x_m"], plot["second_pin_x_m"]], [plot["pin_y_m"], plot["second_pin_y_m"]], crs=tables["plots"].crs
    ).to_crs(4326)
    way = inverse(pins.x[0], pins.y[0], row["longitude_deg"], row["latitude_deg"])
    along = inverse(pins.x[0], pins.y[0], pins.x[1], pins.y[1])
    turn = math.radians(float(np.ravel(way.azimuth_deg)[0]) - float(np.ravel(along.azimuth_deg)[0]))
    away = float(np.ravel(way.distance_m)[0])
    assert away * math.cos(turn) == pytest.approx(2.0, abs=0.06)  # readings are rounded to a tenth
    assert away * math.sin(turn) == pytest.approx(-0.9, abs=0.06)


def test_what_lives_is_counted_from_the_last_looks(tended: Ran) -> None:
    """By hand: of two whole visits, 5 units seen; one dead of a bite, one dead later, one lost and found again."""
    tables = season(tended.folder)
    table = tables["survival"]
    row = table[table["of"] == "all"].iloc[0]
    assert row[["looked_at", "alive", "dead", "missing"]].tolist() == [5, 3, 2, 0]
    assert row["alive_pct"] == pytest.approx(60.0)
    # Wilson 1927 for 3 of 5, worked out by hand: (p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n), z = 1.959964
    assert (row["alive_low_pct"], row["alive_high_pct"]) == pytest.approx((23.07, 88.24), abs=0.01)
    # Kaplan and Meier by hand: day 32 one of 5 dies, day 91 one of 4
    assert row["survival_pct"] == pytest.approx(100 * (4 / 5) * (3 / 4))
    assert row["days"] == 91
    assert np.isnan(row["year_pct"])
    assert row["live_pct"] == pytest.approx((90 + 40) / 2)
    said = command("survey", tended.folder)
    assert said.code == 0
    assert "60 (23 to 88)" in said.out
    assert "noted dead and later alive" not in said.out  # missing, then alive, contradicts nothing
    figures = json.loads(command("survey", tended.folder, "--json").out)["figures"]
    assert figures["counts"]["found_again"] == 1


def test_visits_are_due_from_the_day_of_planting(tended: Ran) -> None:
    """Johnson et al. 2011: after a month, then quarterly to 18 months; an early look after one to two weeks."""
    visits = season(tended.folder)["visits"]
    first, second = plots_of(tended.folder)
    own = visits[visits["plot"] == second]
    assert own["first"].tolist() == [
        "2026-05-11", "2026-06-04", "2026-08-04", "2026-11-04", "2027-02-04", "2027-05-04", "2027-08-04", "2027-11-04",
    ]  # fmt: skip
    assert own["units"].tolist() == [1] * 8
    assert own["done"].tolist() == [1, 1, 0, 0, 0, 0, 0, 0]  # looked at on 3 August, a day before the third is due
    whole = visits[visits["plot"] == first]
    assert (whole["units"] == len(numbers(tended.folder, first)) - 1 - 2).all()  # two are known dead


def test_sheets_tell_what_stands_and_what_is_to_be_looked_at(tended: Ran) -> None:
    """A diver who is sent to plant where something stands, or to look for what is known dead, loses air."""
    first, second = plots_of(tended.folder)
    out = tended.folder / "out"
    with pdfplumber.open(out / "dive_sheets.pdf") as pdf:
        pages = [t for p in pdf.pages if "PLANTER" in (t := p.extract_text()) and t.startswith(first)]
    assert sum(t.count("set 05-04") for t in pages) == len(numbers(tended.folder, first)) - 1
    with pdfplumber.open(out / "survey_sheets.pdf") as pdf:
        texts = [p.extract_text() for p in pdf.pages]
    looked = [t for t in texts if "SURVEY\n" in t or "SURVEY " in t]
    shown = "\n".join(t for t in looked if t.startswith(second))
    assert "T-77" in shown
    assert "page 1 of" in texts[0]
    assert all("Planning aid only" in t for t in texts)
    form = rows_of(out / "survey_form.csv")
    dead = set(numbers(tended.folder, first)[1:3])
    assert {int(r["number"]) for r in form if r["plot"] == first} == set(numbers(tended.folder, first)[:-1]) - dead
    left = [(r["plot"], int(r["number"])) for r in rows_of(out / "planting_form.csv")]
    assert (first, numbers(tended.folder, first)[-1]) in left
    assert (first, numbers(tended.folder, first)[0]) not in left
    living = rows_of(out / "outplants.csv")
    assert len(living) == len(season(tended.folder)["as_planted"]) - 2
    assert all(len(r["latitude"].split(".")[1]) == 9 for r in living)


def test_the_forms_come_back_as_they_went_out(reef: Path) -> None:
    """Filled in by hand, saved by a spreadsheet with semicolons: both forms are read without a change of columns."""
    for form, column, word, verb in (
        ("planting_form.csv", "planted", "yes", "planted"),
        ("survey_form.csv", "state", "alive", "survey"),
    ):
        rows = rows_of(reef / "out" / form)
        for row in rows[:2]:
            row |= {column: word, "date": "2026-09-01"}
        filled_in = reef / form
        with open(filled_in, "w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
            writer.writeheader()
            writer.writerows(rows)
        said = command("record", verb, filled_in, reef)
        assert said.code == 0, said.err
        assert "recorded 2 " in said.out


@pytest.mark.slow
def test_a_later_row_corrects_and_zero_takes_back(reef: Path) -> None:
    """Nothing in the records is changed; what holds is the last word on a unit. Slow: it runs the plan again."""
    first, _ = plots_of(reef)
    a = numbers(reef, first)
    file = write(reef, "plot,numbers,fragments,date", f"{first},{a[0]},0,2026-05-04", f"{first},{a[4]},1,2026-05-03")
    assert command("record", "planted", file, reef).code == 0
    rows = read_records(reef / "records.gpkg", "planted")
    assert ((rows["plot"] == first) & (rows["sequence"] == a[0])).sum() == 2
    assert command("run", reef).code == 0
    standing = read_table(reef / "out" / "season.gpkg", "as_planted").set_index(["plot", "sequence"])
    assert (first, a[0]) not in standing.index
    assert standing.loc[(first, a[4]), "planted"] == "2026-05-03"
    assert command("audit", reef).code == 0


@pytest.mark.slow
def test_a_plan_that_changed_says_so_and_keeps_away(reef: Path) -> None:
    """Other weights, other plots: number 3 is no longer where number 3 stands; new units must not crowd it.

    Slow: it runs the plan again.
    """
    before = season(reef)["as_planted"]
    edit(reef / "plan.toml", "length_m = 8.0\nwidth_m = 3.0", "length_m = 7.0\nwidth_m = 3.0")
    said = command("run", reef)
    assert said.code == 4
    assert "planted where this plan draws none of the same number, species and reading" in flat(said.err)
    after = season(reef)["as_planted"]
    assert len(after) == len(before)
    off = after[~after["as_drawn"]]
    there = before.set_index(["site", "sequence"]).geometry.loc[list(zip(off["site"], off["sequence"], strict=True))]
    assert off.geometry.distance(there.set_axis(off.index)).max() < 0.01
    near = flat(said.err).count("would stand nearer than planned to units already planted")
    colonies = season(reef)["colonies"]
    keys = set(zip(after["site"][after["as_drawn"]], after["sequence"][after["as_drawn"]], strict=True))
    left = colonies[[k not in keys for k in zip(colonies["site"], colonies["sequence"], strict=True)]]
    apart = left.geometry.apply(lambda p: off[off["state"] != "dead"].geometry.distance(p).min())
    assert near == int((apart < 1.3).any())  # 1.2 m asked and 0.2 m tolerance, 0.1 m grace for the scale factor


@pytest.mark.slow
def test_numbers_of_an_earlier_season_are_not_given_again(reef: Path) -> None:
    """Two units of one number on one reef: no tag, photo or table tells them apart. Slow: it runs the plan again."""
    planted = season(reef)["as_planted"]
    edit(reef / "plan.toml", "[receiver]", "[survey]\nseason_from = 2026-12-01\n[receiver]")
    said = command("run", reef)
    assert said.code in (0, 4), said.err
    tables = season(reef)
    assert set(tables["as_planted"]["season"]) == {"earlier"}
    used = set(zip(planted["site"], planted["sequence"], strict=True))
    assert not used & set(zip(tables["colonies"]["site"], tables["colonies"]["sequence"], strict=True))
    assert not set(planted["plot"]) & set(tables["plots"]["plot"])
    assert not set(planted["tag"].dropna()) & set(tables["colonies"]["tag"].dropna())
    assert "would stand nearer than planned" in flat(said.err)  # the old units stand where the plan puts new ones
    assert command("audit", reef).code == 0


@pytest.mark.slow
def test_pins_measured_after_planting_carry_the_units_along(reef: Path) -> None:
    """The unit did not move when the pin was measured better: its recorded place did. Slow: it runs the plan again."""
    first, _ = plots_of(reef)
    before = season(reef)["as_planted"]
    pins = [r for r in rows_of(reef / "out" / "waypoints.csv") if r["plot"] == first and r["pin"] == "1"]
    file = write(
        reef, "plot,pin,latitude,longitude,date,error_m",
        f"{first},A,{float(pins[0]['latitude_deg']) + 1e-5:.9f},{float(pins[0]['longitude_deg']):.9f},2026-05-04,2.5",
    )  # fmt: skip
    assert command("record", "pins", file, reef).code == 0
    assert command("run", reef).code in (0, 4)
    after = season(reef)["as_planted"]
    keys = ["site", "sequence"]
    moved = after.set_index(keys).geometry.distance(before.set_index(keys).geometry)
    drawn = after.set_index(keys)["as_drawn"] & (after.set_index(keys)["plot"] == first)
    assert drawn.any()
    assert set(after["error_m"][after["plot"] == first]) == {2.7}  # 2.5 m of the pin and 0.2 m of tape and hand
    assert moved[drawn].to_numpy() == pytest.approx(1.107, abs=0.01)  # 1e-5 degrees of latitude at 18°


@pytest.mark.parametrize(
    ("kind", "lines", "why"),
    [
        ("planted", "plot,numbers,date\n{plot},999,2026-05-04", "has no number 999"),
        ("planted", "plot,numbers,date\nXX-01,1,2026-05-04", "plot 'XX-01'"),
        ("planted", "plot,numbers,date\n{plot},1 and 2,2026-05-04", "numbers '1 and 2'; due: such as 5"),
        ("planted", "plot,numbers\n{plot},{n}", "no date; due: a day such as"),
        ("planted", "plot,numbers,date\n{plot},{n},4 May", "date '4 May'"),
        ("planted", "plot,date\n{plot},2026-05-04", "due: plot (or site) and numbers, or tag"),
        ("planted", "plot,numbers,date,planted\n{plot},{n},2026-05-04,perhaps", "planted 'perhaps'; due: yes or no"),
        ("planted", "plot,numbers,date,planted\n{plot},{n},2026-05-04,", "no row says that anything was planted"),
        ("planted", "plot,numbers,date,fragments\n{plot},{n},2026-05-04,1.5", "fragments 1.5; due: a whole number"),
        ("planted", "plot,numbers,date,fragments\n{plot},{n},2026-05-04,nan", "fragments 'nan'"),
        ("planted", "plot,numbers,date,genet\n{plot},{n},2026-05-04,Q9", "genet 'Q9'; due: a genet of"),
        ("planted", "plot,numbers,date,along_m,offset_m\n{plot},{n},2026-05-04,900,0", "at most 5 m off the plot"),
        ("planted", "plot,numbers,date,offset_m\n{plot},{n},2026-05-04,L -0.4", "the offset as L 1.2 or R 1.2"),
        ("planted", "plot,numbers,date,along_m\n{plot},all,2026-05-04,2", "readings for several numbers"),
        ("planted", "plot,numbers,date\n{plot},{n},2026-05-04\n{plot},{n},2026-05-04", "stands in line 2 too"),
        ("planted", "tag,date\nnone such,2026-05-04", "tag 'none such'; due: a tag of this plan"),
        ("survey", "plot,numbers,date,state\n{plot},{n},2026-09-01,fine", "state 'fine'; due: alive, dead, missing"),
        (
            "survey",
            "plot,numbers,date,state\n{plot},{n},2025-09-01,alive",
            "was planted on 2026-05-04; due: a day after",
        ),
        ("survey", "plot,numbers,date,state,live_pct\n{plot},{n},2026-09-01,alive,120", "live_pct '120'"),
        ("survey", "plot,numbers,date,state,live_pct\n{plot},{n},2026-09-01,dead,20", "live tissue of a unit dead"),
        ("survey", "plot,numbers,date\n{plot},{n},2026-09-01", "no column 'state'"),
        ("survey", "plot,numbers,date,state\n{plot},{last},2026-09-01,alive", "has no number"),
    ],
)
@pytest.mark.few(6)
def test_rows_that_cannot_be_are_refused_and_nothing_is_recorded(reef: Path, kind: str, lines: str, why: str) -> None:
    """A slip of the pen in the records would stand there for good."""
    first, _ = plots_of(reef)
    a = numbers(reef, first)
    before = {t: len(read_records(reef / "records.gpkg", t)) for t in ("planted", "surveys")}
    said = command("record", kind, write(reef, lines.format(plot=first, n=a[0], last=a[-1])), reef)
    assert said.code == 3
    assert why in flat(said.err), said.err
    assert said.err.count("    due:  ") == 1, said.err
    assert before == {t: len(read_records(reef / "records.gpkg", t)) for t in before}


def test_all_faults_of_a_file_are_told_at_once(reef: Path) -> None:
    """One fault per try costs a team an evening."""
    first, _ = plots_of(reef)
    n = numbers(reef, first)[0]
    file = write(
        reef, "plot,numbers,date,genet", "XX-01,1,2026-05-04,", f"{first},999,2026-05-04,", f"{first},{n},x,Q9"
    )
    said = command("record", "planted", file, reef)
    assert said.code == 3
    for why in ("plot 'XX-01'", "has no number 999", "date 'x'"):
        assert why in said.err, why


def test_planting_outside_a_permit_is_recorded_and_told(reef: Path) -> None:
    """It stands on the reef, so it is recorded; whoever answers for the permit must hear of it."""
    edit(
        reef / "plan.toml", "[receiver]",
        '[[permit]]\nauthority = "Reef Office"\nvalid_from = 2026-05-01\nvalid_to = 2026-05-31\n[receiver]',
    )  # fmt: skip
    first, _ = plots_of(reef)
    file = write(reef, "plot,numbers,date", f"{first},{numbers(reef, first)[-1]},2026-06-02")
    said = command("record", "planted", file, reef)
    assert said.code == 0, said.err
    assert "2026-06-02 OUTSIDE the dates of Reef Office" in said.out


def test_nothing_recorded_is_said_and_looks_need_planting(plan: Path) -> None:
    """The first thing a new user tries."""
    said = command("survey", plan)
    assert said.code == 0
    assert "nothing is recorded as planted" in said.out
    said = command("record", "survey", write(plan, "plot,numbers,state", "A,1,alive"), plan)
    assert said.code == 3
    assert "nothing is recorded as planted" in said.err
    assert command("record", "planted", plan / "none.csv", plan).code == 3


def test_numbers_are_read_as_people_write_them() -> None:
    """Spans with any dash, gaps and semicolons; what is no list is refused, not guessed."""
    assert numbers_of("1-3, 7;9") == [1, 2, 3, 7, 9]
    assert numbers_of("12 – 14") == [12, 13, 14]
    for text in ("3-1", "1,,2", "a", "1-2-3", "1 2", "1-999999"):
        assert numbers_of(text) is None, text


@pytest.mark.parametrize(
    ("promise", "damage"),
    [
        (planted_kept.STANDING, ("as_planted", "genet", "another")),
        (planted_kept.STANDING, ("as_planted", "state", "missing")),
        (planted_kept.LIVING, ("survival", "alive", 1)),
        (planted_kept.FILE, None),
        (planted_kept.AGAIN, ("dives", "numbers", None)),
    ],
)
@pytest.mark.few(2)
def test_the_audit_names_damage_to_what_stands(reef: Path, promise: str, damage: tuple[str, str, Any] | None) -> None:
    """A table of survivors that nobody can count again is a claim, not a record."""
    from sitekit.season.plan_tables import write_plan

    if damage is None:
        path = reef / "out" / "as_planted.csv"
        lines = path.read_text("utf-8").splitlines()
        path.write_text("\n".join(lines[:-1]) + "\n", "utf-8")
    else:
        name, column, value = damage
        tables = season(reef)
        crs = tables["colonies"].crs
        if name == "dives":
            first, _ = plots_of(reef)
            row = tables["dives"].index[tables["dives"]["plot"] == first][0]
            value = str(numbers(reef, first)[0])
        else:
            row = tables[name].index[0]
        tables[name].loc[row, column] = value
        write_plan(reef / "out" / "season.gpkg", tables, crs)
    found = json.loads(command("audit", reef, "--json").out)
    assert promise in {f["promise"] for f in found if not f["ok"]}


@pytest.mark.slow
def test_looks_of_one_day_are_corrected_by_the_later_row(reef: Path) -> None:
    """The evening's correction of the morning's typing. Slow: it runs the plan again."""
    first, _ = plots_of(reef)
    n = numbers(reef, first)[0]
    for state in ("dead", "alive"):
        file = write(reef, "plot,numbers,state", f"{first},{n},{state}")
        assert command("record", "survey", file, reef, "--date", "2026-10-01").code == 0
    assert command("run", reef).code == 0
    standing = read_table(reef / "out" / "season.gpkg", "as_planted").set_index(["plot", "sequence"])
    assert standing.loc[(first, n), ["state", "seen"]].tolist() == ["alive", "2026-10-01"]
    assert command("audit", reef).code == 0


def test_records_of_another_hand_are_refused_whole(reef: Path) -> None:
    """A row without a site would be counted by nobody."""
    rows = read_records(reef / "records.gpkg", "planted").assign(site=None)
    with pytest.raises(ValueError, match=r"planted\.site: empty"):
        append_records(reef / "records.gpkg", "planted", rows)


@pytest.mark.slow
def test_a_look_of_a_wrong_year_is_taken_back(reef: Path) -> None:
    """One slip would be the last look for good. Slow: it runs the plan again."""
    first, _ = plots_of(reef)
    n = numbers(reef, first)[0]
    file = write(reef, "plot,numbers,state,date", f"{first},{n},dead,2062-10-01")
    assert command("record", "survey", file, reef).code == 0
    said = command("record", "survey", write(reef, "plot,numbers,state,date", f"{first},{n},none,2062-10-01"), reef)
    assert f"{first}, 2062-10-01: 1 taken back" in said.out
    assert command("run", reef).code == 0
    standing = read_table(reef / "out" / "season.gpkg", "as_planted").set_index(["plot", "sequence"])
    assert standing.loc[(first, n), ["state", "seen"]].tolist() == ["alive", "2026-08-03"]
    assert command("audit", reef).code == 0


def test_a_unit_of_a_guided_sheet_states_the_error_of_its_stretch(reef: Path) -> None:
    """The diver picked the spot: the plan's own place to a hand's breadth would be made up."""
    edit(reef / "plan.toml", "[receiver]", '[sheets]\nkind = "guided"\nsegment_m = 4.0\n[receiver]')
    first, _ = plots_of(reef)
    a = numbers(reef, first)
    rows = [f"{first},{a[-1]},2026-05-04,,", f"{first},{a[-3]},2026-05-04,1.5,R 0.4"]
    file = write(reef, "plot,numbers,date,along_m,offset_m", *rows)
    assert command("record", "planted", file, reef).code == 0
    last = read_records(reef / "records.gpkg", "planted").iloc[-2:]
    assert last["laid_error_m"].tolist() == pytest.approx([0.2 + 5.0, 0.2])  # 4 m of tape, 3 m wide: 5 m across
    assert last["pin_error_m"].tolist() == [1.0, 1.0]
