"""Each kind of file that people have: read, asked about or refused, with the exit code that docs/formats.md states."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.audit.conftest import PLAN, make
from tests.formats import awkward
from tests.formats.awkward import Maker
from tests.season.conftest import command, digests

PAGE = Path(__file__).resolve().parents[2] / "docs" / "formats.md"
COLONIES = '[[layers.colonies]]\nfile = "living.csv"\n'
STATED = 'origin = "wild"\nposition_error_m = 3.0\n'


@dataclass(frozen=True)
class Case:
    """One sample: how it is named in the plan, what must be said of it, and what answers the question it raises.

    Parameters
    ----------
    make : callable
        Writes it.
    outcome : {"read", "asked", "refused"}
    draft, check : int
        Exit codes of `sitekit check --draft FILE` and of `sitekit check` on a plan that names the file.
    said : str
        Pattern of what the draft says.
    told : str
        Pattern of what the check of the plan says.
    stated : str
        Lines of its table that a person gave without being asked.
    answer : str
        Lines that answer what was asked: with them the check ends with 0 and asks no more.
    replaces : str
        Lines of the small plan that its table takes the place of.
    table : str
        Head of its table.
    """

    make: Maker
    outcome: str
    draft: int
    check: int
    said: str
    told: str
    stated: str = ""
    answer: str = ""
    replaces: str = COLONIES
    table: str = "[[layers.colonies]]"


CASES: dict[str, Case] = {
    "two_header_rows.xlsx": Case(awkward.two_header_rows, "read", 0, 0, "line 3 taken as units", "line 3 taken as units"),
    "merged_cells.xlsx": Case(awkward.merged_cells, "read", 0, 0, r"merged downwards \(C2:C15", "merged downwards"),
    "numbers_and_text.csv": Case(
        awkward.numbers_and_text, "asked", 0, 3, "accept_partial = .* 1 rows cannot be used .lines 5.", "line 5",
        answer="accept_partial = true\n",
    ),
    "quote_marks.csv": Case(awkward.quote_marks, "read", 0, 0, "18 cells read as degrees", "18 cells read as degrees"),
    "swapped_rows.csv": Case(
        awkward.swapped_rows, "asked", 0, 3, "look swapped", "look swapped", answer='swapped_rows = "swap"\n'
    ),
    "feet_in_some_years.csv": Case(
        awkward.feet_in_some_years, "asked", 0, 0, "depths from 'depth_m'", "ASKED: .* 9 depths of 2020.* ft[?]",
        answer='depth_units_by_year = { 2020 = "ft" }\n',
    ),
    "dates_of_1900.xlsx": Case(
        awkward.dates_of_1900, "asked", 0, 3, "a date of 1900", "a date of 1900", answer="accept_partial = true\n"
    ),
    "formula_cells.xlsx": Case(
        awkward.formula_cells, "asked", 0, 3, "never worked out", "never worked out", answer="accept_partial = true\n"
    ),
    "hidden_sheet.xlsx": Case(awkward.hidden_sheet, "read", 0, 0, "hidden sheets not read: last year", "hidden sheets"),
    "two_sheets.xlsx": Case(
        awkward.two_sheets, "asked", 0, 3, 'sheet = "outplants 2025"', "has 2 sheets with cells",
        answer='sheet = "Sheet"\n',
    ),
    "folders_and_styles.kml": Case(
        awkward.folders_and_styles, "asked", 0, 0, "what is folders_and_styles.kml for", "14 placemarks", stated=STATED
    ),
    "tracks_only.gpx": Case(
        awkward.tracks_only, "refused", 3, 3, "1 tracks, 0 routes and no waypoint", "a track is no place", stated=STATED
    ),
    "waypoints.gpx": Case(
        awkward.waypoints, "asked", 0, 0, "what is waypoints.gpx for", "1 tracks and 0 routes left out", stated=STATED
    ),
    "bomb.kmz": Case(awkward.bomb, "refused", 3, 3, "grows .* times", "grows .* times", stated=STATED),
    "giant.csv": Case(awkward.giant, "refused", 3, 3, "2,048 MiB", "2,048 MiB"),
    "decimal_commas.csv": Case(awkward.decimal_commas, "read", 0, 0, "semicolons between columns", "decimal comma"),
    "windows_letters.csv": Case(awkward.windows_letters, "read", 0, 0, "read as cp1252", "read as cp1252"),
    "older_datum.csv": Case(awkward.older_datum, "read", 0, 0, "datum shift: WGS 72 to", "datum shift: WGS 72 to"),
    "eastings.csv": Case(awkward.eastings, "read", 0, 0, "zones from 'utm_zone'", "zones from 'utm_zone'"),
    "eastings_without_zone.csv": Case(
        awkward.eastings_without_zone, "asked", 0, 3, 'crs = "."', "without a system", answer='crs = "EPSG:32622"\n'
    ),
    "darwin_core.csv": Case(
        awkward.darwin_core, "asked", 0, 3, '"wild" or "outplant"', "wild or outplant", answer='origin = "wild"\n'
    ),
    "zipped_shapefile.zip": Case(
        awkward.zipped_shapefile, "asked", 0, 0, "shapefile corals/corals.shp", "shapefile corals/corals.shp", stated=STATED
    ),
    "old_spreadsheet.csv": Case(awkward.old_spreadsheet, "refused", 3, 3, "old kind", "Save it as .xlsx"),
    "empty_table.csv": Case(awkward.empty_table, "refused", 3, 3, "no colony", "no colony"),
    "areas_without_rules.geojson": Case(
        awkward.areas_without_rules, "asked", 0, 3, '"Core" = "."', "a category alone never decides",
        answer='rules = { Core = "forbidden", Park = "permit" }\n',
        replaces='[layers.protected]\nfile = "areas.geojson"\nrule_field = "rule"\n', table="[layers.protected]",
    ),
    "depths_without_a_system.tif": Case(
        awkward.depths_without_a_system, "asked", 0, 3, "its coordinate system", "no coordinate system",
        stated='sign = "depth"\nunits = "ft"\ndatum = "MLLW"\ndepth_error_m = 0.3\n', answer='crs = "EPSG:32622"\n',
        replaces=PLAN[PLAN.index("[layers.bathymetry]") : PLAN.index("[layers.substrate]")],
        table="[layers.bathymetry]",
    ),
    "stock_of_dates.xlsx": Case(
        awkward.stock_of_dates, "asked", 0, 3, "genet is a date", "genet is a date", answer="accept_partial = true\n",
        replaces='[stock]\nfile = "stock.csv"\n', table="[stock]",
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def reef(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small plan's input files; tests add one file each and take it away again."""
    return make(tmp_path_factory.mktemp("samples")).folder


@pytest.fixture
def with_sample(reef: Path, request: pytest.FixtureRequest) -> Iterator[tuple[Path, str, Case]]:
    name: str = request.param
    CASES[name].make(reef / name)
    yield reef, name, CASES[name]
    (reef / name).unlink()


def rows_of_the_page() -> dict[str, list[str]]:
    """Sample -> the other cells of its row."""
    rows = re.findall(r"^\| `([\w.]+)` \|(.*)\|$", PAGE.read_text("utf-8"), re.MULTILINE)
    return {name: [c.strip() for c in rest.split("|")] for name, rest in rows}


@pytest.mark.parametrize("with_sample", CASES, indirect=True)
@pytest.mark.few(18)
def test_a_sample_is_read_asked_about_or_refused_as_the_page_says(with_sample: tuple[Path, str, Case]) -> None:
    """A file dropped on the first day because nobody could say what was wrong with it."""
    folder, name, case = with_sample
    before = digests(folder) if (folder / name).stat().st_size < 2**20 else None
    draft = command("check", "--draft", folder / name)
    assert draft.code == case.draft, draft.err
    assert re.search(case.said, draft.out + draft.err, re.DOTALL), draft.out + draft.err
    if before is not None:
        assert digests(folder) == before

    table = f'{case.table}\nfile = "{name}"\n{case.stated}'
    plan = folder / "plan.toml"
    assert PLAN.count(case.replaces) == 1
    try:
        plan.write_text(PLAN.replace(case.replaces, table), "utf-8")
        said = command("check", plan)
        assert said.code == case.check, said.err
        assert re.search(case.told, said.out + said.err, re.DOTALL), said.out + said.err
        assert "Traceback" not in said.err
        if case.answer:
            plan.write_text(PLAN.replace(case.replaces, table + case.answer), "utf-8")
            again = command("check", plan)
            assert again.code == 0, again.err
            assert "ASKED" not in again.out
    finally:
        plan.write_text(PLAN, "utf-8")

    row = rows_of_the_page()[name]
    assert row[1:4] == [case.outcome, str(case.draft), str(case.check)]


def test_the_page_tells_of_no_sample_that_is_not_tried() -> None:
    """A promise on the page that no test keeps."""
    assert set(rows_of_the_page()) == set(CASES)
