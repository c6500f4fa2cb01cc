"""Each kind of damage to the written files is named by the promise it breaks.

`mapped` damage changes one file, and the manifest is written again, so that no hash gives it away. `everywhere` damage
is what a faulty layout would do: season, map and list agree, and only the promise itself can tell.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from sitekit.audit import clearances_kept, counts_agree, files_whole, places_allowed, positions_agree, spacing_kept
from sitekit.audit.written import READABLE
from sitekit.base.tables import build
from sitekit.errors import FileFault
from tests.audit.conftest import LIVING, Plan, local, make

Change = Callable[[Plan], None]


def _features(change: Callable[[list[Any]], Any]) -> Change:
    def apply(plan: Plan) -> None:
        plan.edit_json("colonies.geojson", lambda data: change(data["features"]))

    return apply


def _shift(features: list[Any], lon: float, lat: float) -> None:
    place = features[7]["geometry"]["coordinates"]
    place[0] += lon
    place[1] += lat


def _cut_decimals(features: list[Any]) -> None:
    for f in features:
        f["geometry"]["coordinates"] = [round(v, 5) for v in f["geometry"]["coordinates"]]


def _turn(features: list[Any], sign: tuple[int, int] | None) -> None:
    for f in features:
        x, y = f["geometry"]["coordinates"]
        f["geometry"]["coordinates"] = [y, x] if sign is None else [x * sign[0], y * sign[1]]


def _list_row(change: Callable[[str], str]) -> Change:
    def apply(plan: Plan) -> None:
        plan.edit_lines("colonies.csv", lambda lines: [*lines[:5], change(lines[5]), *lines[6:]])

    return apply


def _other_place(row: str) -> str:
    """The last digit but two of the latitude, 0.1 mm × 100, turned."""
    cells = row.split(",")
    at = next(i for i, c in enumerate(cells) if c.startswith(("17.", "18.")) and len(c) == 12)
    digit = "1" if cells[at][-3] != "1" else "2"
    cells[at] = cells[at][:-3] + digit + cells[at][-2:]
    return ",".join(cells)


def _truncate(plan: Plan) -> None:
    path = plan.out / "colonies.geojson"
    path.write_bytes(path.read_bytes()[:9000])


def _raise_score(plan: Plan) -> None:
    with rasterio.open(plan.out / "score_APAL.tif", "r+") as file:
        file.write(file.read(1) * np.float32(1.1), 1)


def _drop_candidate(plan: Plan) -> None:
    plan.edit_json("candidates.geojson", lambda data: data["features"].pop())


def _stretch_candidate(plan: Plan) -> None:
    def change(data: Any) -> None:
        ring = data["features"][1]["geometry"]["coordinates"][0][0]
        ring[2][1] += 1e-5

    plan.edit_json("candidates.geojson", change)


def _season(name: str, change: Callable[[pd.DataFrame], pd.DataFrame]) -> Change:
    def apply(plan: Plan) -> None:
        def within(tables: dict[str, pd.DataFrame]) -> None:
            tables[name] = change(tables[name].copy())

        plan.edit_season(within)

    return apply


def _fewer(frame: pd.DataFrame) -> pd.DataFrame:
    frame.loc[0, "number"] -= 1
    return frame


MAPPED: dict[str, tuple[Change, set[str]]] = {
    "a unit moved 5 mm on the map": (
        _features(lambda f: _shift(f, 0.0, 4.5e-8)),
        {positions_agree.MAP_POSITIONS, positions_agree.LIST_POSITIONS},
    ),
    "a unit dropped from the map": (
        _features(lambda f: f.pop(3)),
        {counts_agree.UNITS, positions_agree.MAP_POSITIONS, positions_agree.LIST_POSITIONS},
    ),
    "a unit doubled on the map": (
        _features(lambda f: f.append(f[3])),
        {
            counts_agree.UNITS, positions_agree.MAP_POSITIONS, positions_agree.LIST_POSITIONS,
            spacing_kept.SEPARATION, spacing_kept.TOLERANCE,
        },
    ),
    "axes swapped on the map": (
        _features(lambda f: _turn(f, None)), {positions_agree.MAP_POSITIONS, places_allowed.IN_CANDIDATE},
    ),
    "latitude's sign turned on the map": (
        _features(lambda f: _turn(f, (1, -1))), {positions_agree.MAP_POSITIONS, places_allowed.IN_CANDIDATE},
    ),
    "decimals cut to five": (
        _features(_cut_decimals), {positions_agree.MAP_POSITIONS, spacing_kept.SEPARATION, spacing_kept.TOLERANCE},
    ),
    "a genet changed on the map": (
        _features(lambda f: f[2]["properties"].update(genet="a9")), {positions_agree.ROWS, counts_agree.UNITS},
    ),
    "the map cut off in the middle": (_truncate, {READABLE, counts_agree.UNITS}),
    "a genet changed in the list": (
        _list_row(lambda r: r.replace("a1", "a2") if "a1" in r else r.replace("a2", "a1")),
        {positions_agree.ROWS, counts_agree.UNITS},
    ),
    "a count changed in the list": (_list_row(lambda r: r.replace(",1,1,", ",1,2,")), {positions_agree.ROWS}),
    "a place changed in the list": (
        _list_row(_other_place), {positions_agree.LIST_POSITIONS},
    ),
    "a row lost from the list": (
        lambda p: p.edit_lines("colonies.csv", lambda x: [*x[:5], *x[6:]]),
        {counts_agree.UNITS, positions_agree.LIST_POSITIONS},
    ),
    "a candidate deleted from the map": (
        _drop_candidate, {counts_agree.CANDIDATES, positions_agree.OUTLINES, places_allowed.IN_CANDIDATE},
    ),
    "a candidate's corner moved 1 m": (_stretch_candidate, {positions_agree.OUTLINES, positions_agree.AREAS}),
    "the score raster changed": (_raise_score, {places_allowed.PASSES}),
    "the allotment cut by one": (_season("allotment", _fewer), {counts_agree.ALLOTTED}),
    "the allotment raised by one": (
        _season("allotment", lambda f: f.assign(number=f["number"] + 1)), {counts_agree.ALLOTTED},
    ),
    "a site no longer chosen": (_season("sites", lambda f: f.assign(chosen=False)), {counts_agree.KNOWN}),
    "a bound below what is planted": (
        _season("candidate_species", lambda f: f.assign(bound=10)), {counts_agree.BOUND},
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", MAPPED)
@pytest.mark.few(8)
def test_damage_to_one_file_is_named_without_its_hash(plan: Plan, kind: str) -> None:
    """A fault that only the hash shows would pass unseen when it comes from the run itself."""
    change, due = MAPPED[kind]
    change(plan)
    plan.rehash()
    found = plan.broken()
    assert due <= set(found), f"{sorted(due - set(found))} not broken; broken: {sorted(found)}"


@pytest.mark.parametrize("kind", list(MAPPED)[:3])
@pytest.mark.few(1)
def test_damage_to_one_file_breaks_its_hash(plan: Plan, kind: str) -> None:
    """An edit in out/ must be seen even where its content is harmless."""
    MAPPED[kind][0](plan)
    assert files_whole.UNEDITED in plan.broken()


def _at(column: str, value: Any, row: int = 4) -> Callable[[Any], Any]:
    def change(frame: Any) -> Any:
        frame.loc[row, column] = value
        return frame

    return change


def _moved(x: float, y: float, row: int = 4) -> Callable[[Any], Any]:
    return _at("geometry", shapely.Point(*local(x, y)), row)


def _nearer(frame: Any) -> Any:
    """The fifth unit 1.30 m from the fourth: wider than asked, narrower than planned."""
    there = frame.geometry.iloc[3]
    frame.loc[4, "geometry"] = shapely.Point(there.x + 1.3, there.y)
    return frame


def _too_near(frame: Any) -> Any:
    there = frame.geometry.iloc[3]
    frame.loc[4, "geometry"] = shapely.Point(there.x + 1.199, there.y)
    return frame


EVERYWHERE: dict[str, tuple[Callable[[Any], Any], str, str]] = {
    "on sand": (_moved(27.5, 20.5), places_allowed.BOTTOM, "WS-5 is on sand"),
    "in a forbidden area": (_moved(20.5, 30.5), places_allowed.FORBIDDEN, "WS-5 is in Core"),
    "outside its candidate": (_moved(27.5, 20.5), places_allowed.IN_CANDIDATE, "WS-5 is 2.50 m outside C01"),
    "on a cell that does not pass": (_moved(27.5, 20.5), places_allowed.PASSES, "WS-5: score nan"),
    "outside the area of interest": (_moved(0.5, 0.5), places_allowed.IN_AREA, "WS-5 is outside"),
    "too near a living colony": (
        _moved(LIVING[0][0] + 1.2, LIVING[0][1]), clearances_kept.LIVING, "WS-5: 1.20 m to living.csv row 1, due 1.5 m",
    ),
    "too near an excluded cell": (_moved(5.3, 20.3), clearances_kept.EDGES, "WS-5 is 0.30 m from an excluded cell"),
    "too near its neighbour": (_too_near, spacing_kept.SEPARATION, "WS-4 and WS-5: 1.19"),
    "nearer than the tolerance allows": (_nearer, spacing_kept.TOLERANCE, "WS-4 and WS-5: 1.3"),
    "with a depth that is not there": (_at("depth_m", 9.0), places_allowed.DEPTH, "WS-5: 9.00 m is listed"),
    "with a tag used twice": (_at("tag", "T0001"), counts_agree.TAGS, "tag T0001 is used 2 times"),
    "with a candidate that is not there": (_at("candidate", "C99"), counts_agree.KNOWN, "candidate C99 is unknown"),
    "with too many fragments": (_at("fragments", 2), counts_agree.FRAGMENTS, "due 1 of 1"),
    "with a genet the stock lacks": (_at("genet", "a9"), counts_agree.GENETS, "APAL a9: 1 fragments planned, 0 ready"),
    "with another score than its cell": (_at("score", 0.99), places_allowed.PASSES, "score 0.9900 is listed"),
    "lost": (lambda f: f.drop(index=4).reset_index(drop=True), counts_agree.WANTED, "50 asked for, 49 placed"),
}  # fmt: skip


@pytest.mark.parametrize("kind", EVERYWHERE)
@pytest.mark.few(5)
def test_a_fault_of_the_plan_itself_is_named(plan: Plan, kind: str) -> None:
    """When all files agree on a wrong place or number, only an independent look can tell."""
    change, promise, detail = EVERYWHERE[kind]
    plan.edit_everywhere(change)
    plan.rehash()
    found = plan.broken()
    assert promise in found, sorted(found)
    assert detail in found[promise]
    agree = {files_whole.UNEDITED, positions_agree.MAP_POSITIONS, positions_agree.LIST_POSITIONS, positions_agree.ROWS}
    assert not agree & set(found)


def test_a_sequence_number_used_twice_is_named(plan: Plan) -> None:
    """Two units under one number cannot be told apart under water; the season alone can hold that, the map refuses."""
    _season("colonies", _at("sequence", 1))(plan)
    plan.rehash()
    assert "WS-1 is used 2 times" in plan.broken()[counts_agree.SEQUENCE]


@pytest.mark.parametrize("name", ["map.html", "score_ACER.tif", "colonies.csv", "candidates.geojson", "season.gpkg"])
@pytest.mark.few(1)
def test_a_missing_file_is_named_even_if_the_manifest_forgot_it(plan: Plan, name: str) -> None:
    """Deleting a file together with its line in the manifest would otherwise hide it."""
    (plan.out / name).unlink()
    assert f"{name} is missing" in plan.broken()[files_whole.PRESENT]
    plan.rehash()
    found = plan.broken()
    assert files_whole.PRESENT in found or name in ("colonies.csv",)
    assert found


def test_a_foreign_file_is_named(plan: Plan) -> None:
    """A file nobody wrote would travel to the permit office with the rest."""
    (plan.out / "notes.txt").write_text("x", "utf-8")
    assert plan.broken() == {files_whole.NOTHING_ELSE: "notes.txt is not of this plan"}


def test_the_page_of_weights_is_no_foreign_file(plan: Plan) -> None:
    """`sitekit explore` writes it among the results; a season is not broken because somebody tried weights."""
    (plan.out / "explore.html").write_text("x", "utf-8")
    assert plan.broken() == {}


def test_a_wrong_hash_in_the_manifest_is_named(plan: Plan) -> None:
    """A manifest that does not fit its files proves nothing."""
    plan.edit_json("manifest.json", lambda m: m["files"].update({"map.html": "0" * 64}))
    assert plan.broken() == {files_whole.UNEDITED: "map.html was changed"}


def test_a_broken_manifest_breaks_every_promise_that_needs_it(plan: Plan) -> None:
    """A promise that cannot be looked at is not kept."""
    (plan.out / "manifest.json").write_text("{", "utf-8")
    found = plan.broken()
    assert {READABLE, files_whole.UNEDITED, files_whole.SAME_SETTINGS, files_whole.SAME_INPUTS} <= set(found)


def test_settings_and_inputs_changed_after_the_run_are_named(plan: Plan) -> None:
    """A plan that was made from other files than those that lie beside it defends nothing."""
    toml = plan.folder / "plan.toml"
    toml.write_text(toml.read_text("utf-8").replace("greatest_depth_m = 12.0", "greatest_depth_m = 13.0"), "utf-8")
    with open(plan.folder / "stock.csv", "a", encoding="utf-8") as file:
        file.write("APAL,a3,5,healthy,2026-04-01,10\n")
    assert set(plan.broken()) == {files_whole.SAME_SETTINGS, files_whole.SAME_INPUTS}


def test_a_permit_that_is_not_held_is_named(plan: Plan) -> None:
    """Units in an area whose permit is not among those held may not be planted."""
    toml = plan.folder / "plan.toml"
    toml.write_text(toml.read_text("utf-8").replace('permit_held = ["Park"]', 'permit_held = ["Other"]'), "utf-8")
    plan.rehash()
    assert "whose permit is not held" in plan.broken()[places_allowed.PERMIT]


def test_a_sound_plan_keeps_every_promise(plan: Plan) -> None:
    """An audit that cries wolf is not read."""
    findings = plan.audit()
    assert plan.broken() == {}
    assert len(findings) >= 30
    assert len({f.promise for f in findings}) == len(findings)
    assert all(f.figure is not None for f in findings)


def test_a_plan_without_units_keeps_its_other_promises(plan: Plan) -> None:
    """A season whose reef has no room is still a plan; only the units asked for and never listed are missed."""

    def emptied(tables: dict[str, pd.DataFrame]) -> None:
        for name in ("colonies", "allotment"):
            tables[name] = tables[name].iloc[:0]

    plan.edit_season(emptied)
    plan.edit_everywhere(lambda f: f)
    plan.rehash()
    assert set(plan.broken()) == {counts_agree.WANTED}

    def left_behind(number: int) -> None:
        rest = {"genet": "g1", "fragments": number, "goes": "stays in the nursery", "reason": "rules"}
        rows = [{"species": code, "number": number, **rest} for code in ("ACER", "APAL")]
        plan.edit_season(lambda tables: tables.update(unallotted=build("unallotted", rows)))
        plan.rehash()

    # what the choice hands out less than is wanted must be listed as staying behind, to the last unit
    left_behind(49)
    assert set(plan.broken()) == {counts_agree.WANTED}
    left_behind(60)
    assert plan.broken() == {}


def test_an_audit_without_a_plan_is_refused(tmp_path: Path, plan: Plan) -> None:
    """Nothing to audit must not look like nothing to complain about."""
    from sitekit.audit.plan import audit_plan

    (tmp_path / "empty").mkdir()
    with pytest.raises(FileFault, match=r"holds no plan.*sitekit run"):
        audit_plan(tmp_path / "empty", plan.settings)


def test_a_proposed_area_forbids_only_where_the_plan_names_its_rule(tmp_path: Path) -> None:
    """Units in a bay that a draft would close called broken, or a rule that the team insists on not looked at."""
    plan = make(tmp_path)
    frame = gpd.read_file(plan.folder / "areas.geojson")
    frame.loc[frame["name"] == "Park", ["rule", "STATUS"]] = ["forbidden", "Proposed"]
    frame.to_file(plan.folder / "areas.geojson")
    plan.rehash()
    assert places_allowed.FORBIDDEN not in plan.broken()
    toml = plan.folder / "plan.toml"
    text = toml.read_text("utf-8")
    toml.write_text(
        text.replace("[layers.area]", '[layers.protected.rules]\nPark = "forbidden"\n[layers.area]'), "utf-8"
    )
    plan.rehash()
    assert "is in Park" in plan.broken()[places_allowed.FORBIDDEN]
