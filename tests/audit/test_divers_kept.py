"""Damage to what divers and skipper carry is named; a whole pack keeps its promises."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import shapely
from pyproj import CRS, Transformer

from sitekit.audit.divers_kept import MINUTES, ONCE, PINS, PLOTS, PULLED, audit_divers
from sitekit.audit.written import read_written
from sitekit.base.tables import build
from sitekit.outputs.waypoints import write_waypoints
from sitekit.season.plan_tables import read_table, write_plan

UTM = CRS.from_epsg(32622)
PARTS = ("plots", "colonies", "waypoints", "dives", "pull_list")
Damage = Callable[[Path], None]


def pack(out: Path) -> None:
    """Two pins, one plot, four units on two dives of two pairs and a harvest."""
    turn = Transformer.from_crs(UTM, 4326, always_xy=True)
    ends = [(574_000.0, 1_996_000.0), (574_018.0, 1_996_000.0)]
    plot = {
        "plot": "OT-01", "site": "OT", "role": "planted", "shape": "rectangle", "pin_x_m": ends[0][0],
        "pin_y_m": ends[0][1], "second_pin_x_m": ends[1][0], "second_pin_y_m": ends[1][1], "bearing_true_deg": 90.0,
        "length_m": 18.0, "tape_m": 18.0, "width_m": 4.0, "hard_pct": 100.0, "robust_pct": 90.0, "depth_min_m": 9.0,
        "depth_max_m": 10.0, "units": 4, "numbers": "1–4",
    }  # fmt: skip
    ways = [
        {
            "order": 1, "name": f"OT01{'AB'[p]}", "full_name": f"OT-01 {'AB'[p]}", "plot": "OT-01", "site": "OT",
            "pin": p + 1, "as_set": False, "longitude_deg": turn.transform(*xy)[0], "latitude_deg": turn.transform(*xy)[1],
            "easting_m": xy[0], "northing_m": xy[1], "utm_zone": "22N", "depth_min_m": 9.0, "depth_max_m": 10.0,
        }
        for p, xy in enumerate(ends)
    ]  # fmt: skip
    units = [
        {"sequence": k, "site": "OT", "plot": "OT-01", "species": "ACER", "genet": "g", "units": 1, "fragments": 1,
         "depth_m": 9.0, "score": 0.9}
        for k in range(1, 5)
    ]  # fmt: skip
    dives = [
        {
            "dive": f"D01-{k}", "day": 1, "date": "2026-05-04", "round": r, "pair": pair, "kind": kind, "site": "OT",
            "plot": "OT-01" if numbers else None, "numbers": numbers, "units": n, "fragments": f, "depth_m": 10.3,
            "first_of_day": first, "gas_min": 35.0, "table_row_ft": 40.0 if first else None,
            "table_min": 163.0 if first else None, "supervisor_min": 45.0, "allowed_min": 35.0, "limited_by": "gas",
            "bottom_min": 30.0, "work_min": 25.0, "gas_used": 50.0, "gas_unit": "ft³", "turn_pressure": 900.0,
            "pressure_unit": "psi", "start": start, "end": "12:00",
        }
        for k, r, pair, kind, numbers, n, f, first, start in (
            ("HA", 0, "A", "harvest", None, 0, 5, True, "07:10"), ("1A", 1, "A", "plant", "1–2", 2, 2, False, "09:00"),
            ("1B", 1, "B", "plant", "3, 4", 2, 2, True, "09:00"),
        )
    ]  # fmt: skip
    pulls = [
        {"day": 1, "date": "2026-05-04", "structure": "tree 1", "species": "ACER", "genet": "g", "letter": "A",
         "take": 4 - spare, "spare": spare, "crate": "x"}
        for spare in (0,)
    ]  # fmt: skip
    waypoints = build("waypoints", ways)
    tables = {
        "plots": build("plots", [plot], [shapely.box(574_000, 1_995_998, 574_018, 1_996_002)], UTM),
        "colonies": build("colonies", units, [shapely.Point(574_000 + k, 1_996_000) for k in range(4)], UTM),
        "waypoints": waypoints, "dives": build("dives", dives), "pull_list": build("pull_list", pulls),
    }  # fmt: skip
    write_plan(out / "season.gpkg", tables, UTM)
    write_waypoints(out, waypoints, title="t", about=["x"], datum="MLLW")


def season(name: str, change: Callable[[pd.DataFrame], Any]) -> Damage:
    def damage(out: Path) -> None:
        tables = {part: read_table(out / "season.gpkg", part) for part in PARTS}
        change(tables[name])
        write_plan(out / "season.gpkg", tables, UTM)

    return damage


def cell(column: str, row: int, value: Any) -> Callable[[pd.DataFrame], None]:
    def change(frame: pd.DataFrame) -> None:
        frame.loc[row, column] = value

    return change


def text(name: str, old: str, new: str) -> Damage:
    def damage(out: Path) -> None:
        whole = (out / name).read_text("utf-8")
        assert old in whole
        (out / name).write_text(whole.replace(old, new, 1), "utf-8")

    return damage


DAMAGE: dict[str, tuple[Damage, set[str]]] = {
    "a pin moved 2 m in the receiver's file": (text("waypoints.gpx", 'lon="-50.30', 'lon="-50.31'), {PINS}),
    "a pin lost from the globe": (text("waypoints.kml", "<name>OT01B</name>", "<name>OT01C</name>"), {PINS}),
    "the receiver's file cut off": (lambda out: (out / "waypoints.gpx").write_bytes(b"<gpx"), {PINS}),
    "the list of pins deleted": (lambda out: (out / "waypoints.csv").unlink(), {PINS}),
    "a plot's pin moved": (season("plots", cell("pin_x_m", 0, 574_001.0)), {PLOTS}),
    "a unit on two dives": (season("dives", cell("numbers", 2, "2, 4")), {ONCE}),
    "a unit nobody planned": (season("dives", cell("numbers", 2, "3, 9")), {ONCE}),
    "a unit lost from a dive": (season("dives", cell("numbers", 2, "3")), {ONCE}),
    "a dive made longer": (season("dives", cell("bottom_min", 1, 40.0)), {MINUTES}),
    "a limit raised above the gas": (season("dives", cell("allowed_min", 1, 44.0)), {MINUTES}),
    "a later dive without the supervisor": (season("dives", cell("supervisor_min", 1, None)), {MINUTES}),
    "a nursery dive that does not count": (season("dives", cell("first_of_day", 1, True)), {MINUTES}),
    "a fragment too few pulled": (season("pull_list", cell("take", 0, 3)), {PULLED}),
}


def broken(out: Path) -> set[str]:
    return {f.promise for f in audit_divers(read_written(out)) if not f.ok}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack without a fault; never changed."""
    folder = tmp_path_factory.mktemp("pack")
    pack(folder)
    return folder


def test_a_whole_pack_keeps_its_promises(whole: Path) -> None:
    """An audit that cries wolf is switched off."""
    found = audit_divers(read_written(whole))
    assert {f.promise for f in found} == {PINS, PLOTS, ONCE, MINUTES, PULLED}
    assert [str(f) for f in found if not f.ok] == []


@pytest.mark.parametrize("kind", DAMAGE)
@pytest.mark.few(6)
def test_each_kind_of_damage_is_named(whole: Path, tmp_path: Path, kind: str) -> None:
    """A fault on a sheet that no check sees goes to sea."""
    out = shutil.copytree(whole, tmp_path / "out")
    change, due = DAMAGE[kind]
    change(out)
    assert broken(out) == due


def test_a_plan_without_dives_makes_no_such_promise(tmp_path: Path) -> None:
    """Scouting plans have neither pins nor dives."""
    write_plan(tmp_path / "season.gpkg", {}, UTM)
    assert audit_divers(read_written(tmp_path)) == []
