"""Plots read again from the tables: every way of laying them wrong is named, sound ones pass."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from pyproj import CRS

from sitekit.audit.plots_kept import APART, PINS, PLOT_TAGS, READINGS, SHARE, audit_plots
from sitekit.audit.promises import Finding
from sitekit.audit.written import Written
from sitekit.base.tables import build
from sitekit.season.settings import Settings, settings_from

WEST, NORTH = 573_900.0, 1_996_100.0
UTM = CRS.from_epsg(32622)
TURN = 0.2195  # meridian convergence of UTM 22N near these plots, degrees east; the finding allows 0.05


def plan(**changes: Any) -> Settings:
    data: dict[str, Any] = {
        "plan": {"name": "Test reef", "date": datetime.date(2026, 5, 1), "cell_m": 1.0},
        "layers": {
            "bathymetry": {"file": "d.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
        },
        "species": [{"code": "APAL", "name": "Acropora palmata", "criteria": "elkhorn"}],
        "score": {"passing": 0.6},
        "candidates": {"least_area_m2": 50.0},
        "spacing": {"separation_m": 1.0, "lay_tolerance_m": 0.2, "clearance_m": 0.5},
        **changes,
    }
    return settings_from(data)


def row(name: str, x: float, y: float, bearing: float, *, circle: bool, tag: str | None = None) -> dict[str, Any]:
    s, c = math.sin(math.radians(bearing)), math.cos(math.radians(bearing))
    length = 5.0 if circle else 18.0
    return {
        "plot": name, "site": "WS", "role": "planted", "shape": "circle" if circle else "rectangle",
        "pin_x_m": x, "pin_y_m": y, "second_pin_x_m": x + length * s, "second_pin_y_m": y + length * c,
        "bearing_true_deg": (bearing + TURN) % 360, "length_m": length, "tape_m": 1.02 * length,
        "width_m": 10.0 if circle else 4.0, "hard_pct": 100.0, "robust_pct": 100.0, "depth_min_m": 3.0,
        "depth_max_m": 4.0, "units": 3, "numbers": "1–3", "tag": tag,
    }  # fmt: skip


def outline(plot: dict[str, Any]) -> shapely.Polygon:
    if plot["shape"] == "circle":
        turn = np.arange(64) * math.pi / 32
        return shapely.Polygon(
            np.column_stack([plot["pin_x_m"] + 5 * np.cos(turn), plot["pin_y_m"] + 5 * np.sin(turn)])
        )
    line = shapely.LineString([(plot["pin_x_m"], plot["pin_y_m"]), (plot["second_pin_x_m"], plot["second_pin_y_m"])])
    return line.buffer(2.0, cap_style="flat")


def units(plot: dict[str, Any], first: int) -> tuple[list[dict[str, Any]], list[shapely.Point]]:
    """Three units: readings on a slope of 1.02 along and 1.05 across the tape."""
    s = (plot["second_pin_x_m"] - plot["pin_x_m"]) / plot["length_m"]
    c = (plot["second_pin_y_m"] - plot["pin_y_m"]) / plot["length_m"]
    rows, points = [], []
    for k in range(3):
        along, offset, angle = 1.5 + k, (-1.2, 0.0, 1.8)[k], None
        u, v = along / 1.02, offset / 1.05
        if plot["shape"] == "circle":
            angle, offset = 40.0 * k, 0.0
            u, v = along * math.cos(math.radians(angle)), along * math.sin(math.radians(angle))
        points.append(shapely.Point(plot["pin_x_m"] + u * s + v * c, plot["pin_y_m"] + u * c - v * s))
        rows.append(
            {
                "tag": f"{first + k:04d}", "sequence": first + k, "site": "WS", "candidate": "C01", "plot": plot["plot"],
                "species": "APAL", "genet": "a1", "units": 1, "fragments": 1, "depth_m": 3.0, "along_m": along,
                "offset_m": offset, "angle_deg": angle, "score": 0.9,
            }
        )  # fmt: skip
    return rows, points


@pytest.fixture(scope="module")
def tables(tmp_path_factory: pytest.TempPathFactory) -> Written:
    plots = [
        row("WS-01", WEST + 20, NORTH - 30, 90.0, circle=False),
        row("WS-02", WEST + 70, NORTH - 60, 30.0, circle=True),
    ]
    rows: list[dict[str, Any]] = []
    points: list[shapely.Point] = []
    for plot in plots:
        own, at = units(plot, len(rows) + 1)
        rows, points = rows + own, points + at
    out = tmp_path_factory.mktemp("out")
    with rasterio.open(
        out / "score_APAL.tif", "w", driver="GTiff", width=100, height=100, count=1, dtype="float32", crs=UTM.to_wkt(),
        transform=rasterio.transform.from_origin(WEST, NORTH, 1.0, 1.0),
    ) as file:  # fmt: skip
        file.write(np.full((1, 100, 100), 0.8, np.float32))
    return Written(
        out,
        tables={
            "candidates": build("candidates", [], [], UTM),
            "plots": build("plots", plots, [outline(p) for p in plots], UTM),
            "colonies": build("colonies", rows, points, UTM),
        },
    )


def broken(written: Written, settings: Settings | None = None) -> dict[str, Finding]:
    found = audit_plots(written.out, settings or plan(), written)
    return {f.promise: f for f in found if not f.ok}


def damaged(written: Written, name: str, change: Callable[[Any], None]) -> Written:
    frame = written.tables[name].copy()
    change(frame)
    return Written(written.out, tables={**written.tables, name: frame})


def test_sound_plots_pass(tables: Written) -> None:
    """An audit that finds faults in a sound plan would be switched off; rectangles on a slope and circles both count."""
    assert broken(tables) == {}
    assert len(audit_plots(tables.out, plan(), tables)) == 5


def _put(column: str, value: Any, at: int = 0) -> Callable[[Any], None]:
    def change(frame: Any) -> None:
        frame.loc[at, column] = value

    return change


def _shift_plot(frame: Any) -> None:
    for column in ("pin_x_m", "second_pin_x_m"):
        frame.loc[1, column] -= 40.0
    for column in ("pin_y_m", "second_pin_y_m"):
        frame.loc[1, column] += 12.0
    frame.loc[1, "geometry"] = shapely.affinity.translate(frame.geometry.iloc[1], -40.0, 12.0)


def _shift_unit(frame: Any) -> None:
    frame.loc[1, "geometry"] = shapely.affinity.translate(frame.geometry.iloc[1], 0.0, 0.2)


DAMAGE: dict[str, tuple[str, Callable[[Any], None], str, str]] = {
    "too near each other": ("plots", _shift_plot, APART, "WS-01 and WS-02 are"),
    "a pin not at the tape's end": ("plots", _put("second_pin_x_m", WEST + 36), PINS, "WS-01: pins"),
    "a wrong bearing": ("plots", _put("bearing_true_deg", 92.0), PINS, "off the bearing"),
    "a grid bearing sold as true": ("plots", _put("bearing_true_deg", 90.0), PINS, "off the bearing"),
    "an outline beside its pins": ("plots", _put("geometry", shapely.box(0, 0, 18, 4)), PINS, "from the outline"),
    "a circle around another pin": ("plots", _put("geometry", shapely.Point(0, 0).buffer(5), 1), PINS, "middle"),
    "an along that is 0.1 m off": ("colonies", _put("along_m", 1.6), READINGS, "WS-1: listed 1.6 m along"),
    "an offset on the other side": ("colonies", _put("offset_m", 1.2), READINGS, "WS-1"),
    "a unit moved by 0.2 m": ("colonies", _shift_unit, READINGS, "WS-2"),
    "a reading before the pin": ("colonies", _put("along_m", -0.2), READINGS, "listed -0.2 m"),
    "an angle of 3° more": ("colonies", _put("angle_deg", 43.0, 4), READINGS, "WS-5: listed 2.5 m along, 43°"),
    "an unknown plot": ("colonies", _put("plot", "WS-09"), READINGS, "WS-09"),
    "less hard bottom than asked for": ("plots", _put("hard_pct", 70.0), SHARE, "70.0 % listed"),
    "a tag before its turn": ("colonies", _put("tag", "0009", 2), PLOT_TAGS, "tag 0004 comes after 0009"),
    "a plot tagged though units are": ("plots", _put("tag", "0001"), PLOT_TAGS, "plot WS-01 has a tag"),
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_each_fault_is_named(tables: Written, kind: str) -> None:
    """A fault that is not named would be laid on the bottom."""
    name, change, promise, detail = DAMAGE[kind]
    found = broken(damaged(tables, name, change))
    assert promise in found, sorted(found)
    assert detail in found[promise].detail


def test_more_hard_bottom_than_passes_is_named(tables: Written) -> None:
    """A share computed on another raster would promise rock where sand is."""
    found = broken(tables, plan(score={"passing": 0.85}))
    assert "0.0 % pass" in found[SHARE].detail


def test_tags_follow_the_list_on_hand(tables: Written) -> None:
    """Divers take tags off the string in its order; another order costs a tank of air."""
    (tables.out / "tags.txt").write_text("0006\n0005\n0004\n0003\n0002\n0001\n", "utf-8")
    settings = plan(tagging={"numbers_from": "tags.txt"})
    assert "comes after" in broken(tables, settings)[PLOT_TAGS].detail
    turned = damaged(tables, "colonies", lambda f: f.__setitem__("tag", [f"{k:04d}" for k in range(6, 0, -1)]))
    assert broken(turned, settings) == {}


def test_tags_of_plots_stand_once_on_plots_and_on_no_unit(tables: Written) -> None:
    """With one tag per plot, a tag on a unit or on two plots names the wrong thing."""
    settings = plan(tagging={"which": "plot"})
    assert "has a tag of its own" in broken(tables, settings)[PLOT_TAGS].detail
    bare = damaged(tables, "colonies", lambda f: f.__setitem__("tag", pd.Series([None] * 6, dtype=object)))
    assert broken(damaged(bare, "plots", lambda f: f.__setitem__("tag", ["0001", "0002"])), settings) == {}
    twice = damaged(bare, "plots", lambda f: f.__setitem__("tag", ["0001", "0001"]))
    assert "two plots" in broken(twice, settings)[PLOT_TAGS].detail


def test_a_missing_raster_is_a_broken_promise(tables: Written, tmp_path: Path) -> None:
    """What cannot be looked at must not count as kept."""
    bare = Written(tmp_path, tables=tables.tables)
    assert broken(bare)[SHARE].figure is None


def test_a_plan_without_plots_says_nothing(tables: Written) -> None:
    """A promise that was not made is not judged."""
    none = damaged(tables, "plots", lambda f: f.drop(index=f.index, inplace=True))
    assert audit_plots(none.out, plan(), none) == []
