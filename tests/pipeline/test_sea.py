"""Tide, waves, light and heat from a plan: what check says, what criteria may read, what is refused."""

import copy
import json
from dataclasses import replace

import numpy as np
import pytest
import rasterio
import scipy.io
from affine import Affine

from sitekit.base.tables import build
from sitekit.errors import InputFault
from sitekit.pipeline import fields, layers, score, sea_rules
from sitekit.pipeline.fields import SEA_FILE, SEA_RASTER
from sitekit.pipeline.project import Machine, Project
from sitekit.pipeline.report import check_lines
from sitekit.pipeline.sea_inputs import read_sea_inputs
from sitekit.pipeline.sea_values import sea_at
from sitekit.pipeline.shelter import shelter_rows
from sitekit.season.settings import settings_from
from sitekit.suitability.exclusions import UNWORKABLE

WEST, NORTH, CELL = 574_000.0, 1_996_000.0, 4.0
ROWS, COLS = 60, 80

PLAN = {
    "plan": {"name": "Sea trial", "date": "2026-04-15", "cell_m": CELL, "fictional": True},
    "layers": {
        "bathymetry": {"file": "depth.tif", "sign": "depth", "units": "m", "datum": "MLLW", "depth_error_m": 0.3}
    },
    "species": [{"code": "APAL", "name": "elkhorn", "criteria": None}],
    "criteria": [
        {
            "name": "depth",
            "field": "depth_m",
            "curve": {"shape": "trapezoid", "at": [0.5, 1.0, 5.0, 9.0]},
            "weight": 1.0,
            "source": "test",
        }
    ],
    "score": {"passing": 0.5},
    "candidates": {"least_area_m2": 50.0},
    "spacing": {"separation_m": 1.0, "lay_tolerance_m": 0.2, "clearance_m": 1.0},
    "tide": {"file": "tide.csv", "datum": "MLLW", "least_work_depth_m": 1.5, "source": "test"},
    "waves": {
        "wind": "wind.csv",
        "method": "jonswap1973",
        "gaps": "unknown",
        "shelter_wind_ms": 8.0,
        "swell": "swell.csv",
        "at": "lowest",
        "source": "test",
    },
    "light": {"kd_per_m": 0.2, "kind": "par", "at": "highest", "source": "test"},
    "heat": {
        "file": "sst.csv",
        "value": "sst",
        "units": "degC",
        "limit_c": 29.0,
        "first_year": 2020,
        "last_year": 2021,
        "source": "test",
    },
}
WIND = "direction_deg,speed_ms,share\n270,8,0.5\n90,6,0.3\n0,0,0.2\n"
SWELL = "direction_deg,height_m,period_s,share\n90,1.0,9,1\n"
TIDE = "time,height_m\n" + "".join(
    f"2026-05-0{1 + h // 24}T{h % 24:02d}:00,{0.3 * np.sin(h / 2):.3f}\n" for h in range(48)
)


def depths():
    """Land 5 cells wide in the west, then a slope to 10 m."""
    return np.repeat((np.arange(COLS) - 5.0)[None, :] * 0.14, ROWS, axis=0).astype(np.float32)


def sst(kelvin=0.0):
    days = np.arange("2020-01-01", "2022-01-01", dtype="datetime64[D]")
    values = 27.0 + 2.5 * np.sin(2 * np.pi * (np.arange(days.size) - 120) / 365.25) + kelvin
    return "date,sst\n" + "".join(f"{d},{v:.2f}\n" for d, v in zip(days, values, strict=True))


@pytest.fixture
def make(tmp_path):
    """Write the files and return a project; changes go in as {"table.key": value}, None drops a key or a table."""

    def made(changes=None, files=None, threads=1):
        texts = {"wind.csv": WIND, "swell.csv": SWELL, "tide.csv": TIDE, "sst.csv": sst()} | (files or {})
        for name, text in texts.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        shape = {"driver": "GTiff", "height": ROWS, "width": COLS, "count": 1, "dtype": "float32"}
        with rasterio.open(
            tmp_path / "depth.tif", "w", crs="EPSG:32622", transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH), **shape
        ) as file:
            file.write(depths(), 1)
        plan = copy.deepcopy(PLAN)
        for path, value in (changes or {}).items():
            table, _, key = path.partition(".")
            where, key = (plan[table], key) if key else (plan, table)
            if value is None:
                where.pop(key)
            else:
                where[key] = value
        return Project(tmp_path, settings_of(plan), Machine(threads=threads), results=tmp_path / f"out{threads}")

    return made


def settings_of(plan):
    import datetime

    plan["plan"]["date"] = datetime.date(2026, 4, 15)
    return settings_from(plan)


def bands(project):
    with rasterio.open(project.result(SEA_RASTER)) as file:
        return dict(zip(file.descriptions, file.read(), strict=True))


def test_fields_are_what_the_tables_say(make):
    """A tide taken with the wrong sign, or a band under another's name, would show."""
    project = make()
    figures = layers.run(project, "x").figures
    held = bands(project)
    depth = depths()
    heights = json.loads(project.result(SEA_FILE).read_text("utf-8"))["heights_m"]
    assert heights["lowest"] == pytest.approx(-0.3, abs=0.01)
    np.testing.assert_allclose(held["lowest_tide_depth_m"], np.maximum(depth + heights["lowest"], 0), atol=1e-5)
    np.testing.assert_allclose(held["light_share"], np.exp(-0.2 * np.maximum(depth + heights["highest"], 0)), rtol=1e-5)
    assert np.isnan(held["wave_height_m"][:, :5]).all()
    middle = held["wave_height_m"][20:40, 20:]
    assert (middle > 0.5).all()
    assert (held["share_above_mobile"][20:40, 20:50] == 1.0).all()
    assert (held["dhw_weeks"] == held["dhw_weeks"][0, 0]).all()
    assert [row["layer"] for row in figures["sea"]] == ["tide", "waves", "light", "heat"]


def test_check_says_what_was_understood(make):
    """A planner would not see that a column was read in other units, or a gap left out."""
    lines = "\n".join(check_lines(layers.run(make(), "x").figures["sea"]))
    for said in (
        "tide.csv: 48 heights on 2 days, 2026-05-01 to 2026-05-02",
        "cells with under 1.5 m of water at the lowest tide are excluded",
        "2 days do not hold a whole spring-neap month",
        "wind.csv: 2 winds from 2 directions, up to 8 m/s, calm 20%; most often from 270° (50%)",
        "swell.csv: 1 seas from outside, up to 1 m, 9 to 9 s",
        "growth of waves after jonswap1973",
        "shelter by wind direction is unknown toward the open sea: no fetch_limit_m",
        "Kd 0.2 per m, everywhere",
        "Kd(PAR)",
        "sst.csv: one place, 2020-01-01 to 2021-12-31, 731 days",
        "not the published climatology",
        "heat cannot rank cells inside it",
        "source: test",
    ):
        assert said in lines


def test_without_swell_the_open_sea_is_unknown_never_calm(make):
    """The reef front would come out as the calmest place."""
    project = make({"waves.swell": None})
    rows = layers.run(project, "x").figures["sea"]
    held = bands(project)
    assert np.isnan(held["wave_height_m"]).all()
    np.testing.assert_allclose(held["unknown_wave_share"][20:40, 20:], 0.3, atol=1e-6)
    lines = "\n".join(check_lines(rows))
    assert "waves are UNKNOWN, never calm" in lines
    assert "field wave_height_m: unknown everywhere" in lines
    assert "100% of the water has wind from unknown, open directions" in lines


def test_cells_too_shallow_to_work_in_have_their_own_reason(make):
    """Divers would be sent into the surf, or the map would call it too shallow for coral."""
    project = make()
    layers.run(project, "x")
    score.run(project, "x")
    with rasterio.open(project.result("reasons_APAL.tif")) as file:
        reasons = file.read(2)
    lowest = sea_rules.lowest_tide_m(project)
    expected = depths() + lowest < 1.5
    np.testing.assert_array_equal(reasons == UNWORKABLE, expected)


def criterion(field):
    return {
        "name": "calm",
        "field": field,
        "curve": {"shape": "fall", "at": [0.1, 1.5]},
        "weight": 1.0,
        "source": "test",
    }


def test_a_wave_field_is_a_criterion(make):
    """The score would not feel the waves, or feel another field's numbers."""
    project = make({"criteria": [*PLAN["criteria"], criterion("wave_height_m")]})
    layers.run(project, "x")
    score.run(project, "x")
    with rasterio.open(project.result("score_APAL.tif")) as file:
        found = file.read(1)
    height = bands(project)["wave_height_m"]
    calm = np.clip((1.5 - height) / 1.4, 0, 1)
    near = (slice(20, 40), slice(20, 38))  # depth scores 1 there
    np.testing.assert_allclose(found[near], np.sqrt(calm[near]), rtol=1e-4)


def test_a_field_needs_its_table(make):
    """A criterion would read nothing."""
    project = make({"waves": None, "criteria": [criterion("wave_height_m"), *PLAN["criteria"]]})
    with pytest.raises(InputFault, match="reads 'wave_height_m'; due: one of"):
        fields.check_fields(project.settings, fields.species_criteria(project.settings))


def test_heat_of_one_pixel_cannot_rank_cells(make):
    """All cells would get the same number, and the plan would look as if heat had been weighed."""
    project = make({"criteria": [*PLAN["criteria"], criterion("dhw_weeks")]})
    layers.run(project, "x")
    with pytest.raises(InputFault, match="one pixel or station of \\[heat\\] covers the whole grid"):
        score.run(project, "x")


def heat_grid(path, lon, lat):
    """Daily temperatures in kelvin on pixels, the northern one warmer."""
    days = np.arange("2020-01-01", "2022-01-01", dtype="datetime64[D]")
    with scipy.io.netcdf_file(path, "w") as file:
        for name, values, unit in (
            ("time", days.astype(np.int64), "days since 1970-01-01"),
            ("lat", lat, "degrees_north"),
            ("lon", lon, "degrees_east"),
        ):
            file.createDimension(name, len(values))
            axis = file.createVariable(name, "f8", (name,))
            axis[:] = values
            axis.units = unit
        warm = np.arange(len(lat) * len(lon)).reshape(len(lat), len(lon))
        sst = file.createVariable("sst", "f4", ("time", "lat", "lon"))
        season = 299.0 + 2.5 * np.sin(2 * np.pi * (np.arange(days.size) - 120) / 365.25)
        sst[:] = season[:, None, None] + 0.3 * warm
        sst.units = "kelvin"


def test_heat_on_several_pixels_is_spread_by_place_and_may_rank(make, tmp_path):
    """Rows counted from the south, or longitudes to 360, would give a cell its neighbour's heat."""
    heat_grid(tmp_path / "sst.nc", np.array([309.69, 309.70, 309.71]), np.array([18.0495, 18.0505, 18.0515]))
    changes = {"heat.file": "sst.nc", "heat.units": None, "criteria": [*PLAN["criteria"], criterion("dhw_weeks")]}
    project = make(changes)
    rows = layers.run(project, "x").figures["sea"]
    held = bands(project)["mmm_c"]
    south, north = held[-1, 40], held[0, 40]
    assert np.isfinite(held).any()
    assert north > south
    lines = "\n".join(check_lines(rows))
    assert "Kelvin was brought to °C" in lines
    assert "Longitudes of 0 to 360" in lines or "pixels touch the grid" in lines
    score.run(project, "x")


def test_explain_lists_the_sea_of_a_cell(make):
    """The wave height of a neighbour, or a calm where nothing is known, would be told."""
    project = make()
    layers.run(project, "x")
    held = bands(project)
    found = {v.field: v for v in sea_at(project, (31, 44))}
    for name, values in held.items():
        assert found[name].value == pytest.approx(float(values[31, 44]))
    assert found["dhw_weeks"].everywhere
    assert not found["wave_height_m"].everywhere
    on_land = {v.field: v for v in sea_at(project, (31, 2))}
    assert on_land["wave_height_m"].value is None
    assert on_land["wave_height_m"].line().startswith("wave_height_m: unknown (")


def test_threads_do_not_change_a_byte(make):
    """A plan would depend on the machine."""
    one, two = make(threads=1), make(threads=2)
    layers.run(one, "x")
    layers.run(two, "x")
    for name in (SEA_RASTER, SEA_FILE, fields.SEA_WINDS):
        assert one.result(name).read_bytes() == two.result(name).read_bytes()


def test_shelter_of_sites_by_wind(make):
    """A site in the lee of the land would be called exposed, or the ocean side sheltered."""
    import shapely

    project = make({"waves.fetch_limit_m": 20_000.0})
    layers.run(project, "x")
    rows = [
        {"site": code, "coded": True, "chosen": True, "reason": "test", "scouted": False, "answers": "{}"}
        for code in ("NEAR", "FAR")
    ]
    y = NORTH - CELL * ROWS / 2
    places = [shapely.Point(WEST + CELL * c, y) for c in (10.5, 70.5)]
    table = shelter_rows(project, build("sites", rows, places, "EPSG:32622"))
    west = table[table["direction_deg"] == 270.0].set_index("site")
    assert west.loc["NEAR", "rank"] == 1
    assert west.loc["FAR", "rank"] == 2
    assert west.loc["NEAR", "arriving_m"] < west.loc["FAR", "arriving_m"] < 0.3
    east = table[table["direction_deg"] == 90.0].set_index("site")
    assert east.loc["FAR", "arriving_m"] > 0.5
    assert east.loc["FAR", "arriving_m"] > east.loc["NEAR", "arriving_m"] > 0.3  # shallow water on the way
    assert east["open"].all()
    assert west.loc["NEAR", "depth_m"] == pytest.approx(0.7, abs=0.02)


BAD_WIND = "direction_deg,speed_ms,share\n400,8,0.5\n90,-6,0.4\n"
BAD_SST = sst().replace("2020-03-05,", "2020-03-05,-9999 ")


def test_every_fault_of_the_sea_is_told_at_once(make):
    """A user would mend one file at a time."""
    files = {
        "wind.csv": BAD_WIND,
        "swell.csv": "direction_deg,height_m,period_s,share\n90,1.0,0,1\n",
        "tide.csv": TIDE.replace("0.000", "a"),
        "sst.csv": sst(273.15),
    }
    with pytest.raises(InputFault) as caught:
        layers.run(make(files=files), "x")
    text = str(caught.value)
    for said in (
        "direction_deg: 1 values such as 400; due: 0 to 360 degrees",
        "speed_ms: 1 values such as -6; due: 0 to 90 m/s",
        "share: the shares sum to 0.9; due: 1 (within 0.005)",
        "period_s: 1 values such as 0; due: 0.5 to 30 s",
        "tide.csv line 2, height_m: 'a'; due: a number",
        "These look like kelvin: declare unit K.",
    ):
        assert said in text


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"tide.datum": "MSL"}, "counted from 'MLLW': add tide.offset_m"),
        ({"tide": None}, "waves.at is 'lowest' and there is no \\[tide\\]"),
        ({"tide.lowest_m": 0.1}, "either a file or lowest_m"),
        ({"tide.file": None, "tide.lowest_m": 0.5, "tide.mean_m": 0.1, "tide.highest_m": 1.0}, "lowest_m ≤ mean_m"),
        ({"light.kd_per_m": 0.0}, "light.kd_per_m: 0.0"),
        ({"light.kd_per_m": None}, "either kd_per_m"),
        ({"light.kd_per_m": None, "light.raster": "kd"}, "light.raster names 'kd'; known: no"),
        ({"waves.method": "guess"}, "waves.method: 'guess'"),
        ({"waves.directions": 4}, "waves.directions: 4"),
        ({"waves.gaps": None}, "waves.gaps: nothing"),
        ({"waves.swel": "x"}, "unknown key 'swel'"),
        ({"heat.last_year": 2019}, "last_year 2019 is before first_year 2020"),
        ({"heat.limit_c": 302.0}, "heat.limit_c: 302.0"),
    ],
)
def test_settings_that_do_not_fit_are_refused(make, changes, message):
    """They would make silent nonsense."""
    with pytest.raises(InputFault, match=message):
        make(changes)


@pytest.mark.parametrize(
    ("changes", "files", "message"),
    [
        ({}, {"sst.csv": BAD_SST}, "line 66: '-9999 "),
        ({"tide.first": "2027-01-01"}, {}, "no height of the file falls on these days"),
        ({"heat.first_year": 1990, "heat.last_year": 1991}, {}, "1990 to 1991; due: years of the series"),
        ({"waves.land_reach_m": 5000.0}, {}, "5000 m and no \\[layers.coastline\\]"),
        ({}, {"wind.csv": "direction,speed,share\n1,2,1\n"}, "no column 'direction_deg'"),
    ],
)
def test_files_that_do_not_fit_are_refused(make, changes, files, message):
    """They would give calm, deep or cool water."""
    import datetime

    if "tide.first" in changes:
        changes = {"tide.first": datetime.date(2027, 1, 1)}
    with pytest.raises(InputFault, match=message):
        read_sea_inputs(make(changes, files))


def test_an_hourly_series_of_wind_is_summed_up_and_its_gaps_told(make):
    """Missing hours would count as calm."""
    hours = "".join(
        f"2026-01-{1 + h // 24:02d}T{h % 24:02d}:00,{270 if h % 3 else 90},{8 if h % 3 else 5}\n"
        for h in range(240)
        if h % 10
    )
    project = make({"waves.wind_form": "hours"}, {"wind.csv": "time,direction_deg,speed_ms\n" + hours})
    found = read_sea_inputs(project)
    assert found.wind is not None
    assert found.wind.share.sum() == pytest.approx(1.0)
    assert (found.wind.speed_ms > 0).all()
    notes = next(r["notes"] for r in found.rows if r["layer"] == "waves")
    assert any("times are missing" in n for n in notes)
    assert any("lack wind: left out" in n for n in notes)


def test_shallow_species_ask_for_a_depth_to_work_in(make):
    """Nobody would have said in how little water the team works."""
    project = make({"tide.least_work_depth_m": None})
    with pytest.raises(InputFault, match="APAL may stand in under 2 m of water"):
        sea_rules.check_work_depth(project.settings, fields.species_criteria(project.settings))
    deep = copy.deepcopy(PLAN["criteria"])
    deep[0]["curve"]["at"] = [4.0, 6.0, 12.0, 20.0]
    other = make({"tide.least_work_depth_m": None, "criteria": deep})
    sea_rules.check_work_depth(other.settings, fields.species_criteria(other.settings))
    charted = make({"tide": None, "waves.at": "datum", "light.at": "datum", "exclusions": {"least_depth_m": 2.0}})
    sea_rules.check_work_depth(charted.settings, fields.species_criteria(charted.settings))


def test_a_plan_without_the_sea_has_no_sea_files(make):
    """Old plans would stop."""
    project = make({"tide": None, "waves": None, "light": None, "heat": None, "exclusions": {"least_depth_m": 1.0}})
    done = layers.run(project, "x")
    assert not any("sea" in name for name in done.files)
    assert done.figures["sea"] == []
    assert sea_rules.lowest_tide_m(project) is None
    score.run(replace(project), "x")


def test_memory_is_told_before_a_run_and_too_little_refused(make):
    """A night's run would end for want of memory, or take more than it was given."""
    told = []
    project = make()
    layers.run(replace(project, machine=Machine(threads=2, talk=told.append)), "x")
    assert any("cells in blocks that take up to 0." in line and "of 0.8 GB" in line for line in told)
    with pytest.raises(InputFault, match="--memory-gb: 1e-05 GB; due: at least"):
        layers.run(replace(project, machine=Machine(threads=2, memory_gb=1e-5)), "x")


def write_kd(folder, least):
    values = np.linspace(least, 0.4, COLS, dtype=np.float32)[None, :].repeat(ROWS, axis=0)
    shape = {"driver": "GTiff", "height": ROWS, "width": COLS, "count": 1, "dtype": "float32"}
    with rasterio.open(
        folder / "kd.tif", "w", crs="EPSG:32622", transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH), **shape
    ) as file:
        file.write(values, 1)
    return values


KD = {"file": "kd.tif", "label": "Kd", "units": "1/m", "source": "test"}


def test_light_from_a_raster_of_kd(make, tmp_path):
    """One coefficient would stand for the whole reef."""
    kd = write_kd(tmp_path, 0.1)
    bathymetry = PLAN["layers"]["bathymetry"]
    layers_ = {"bathymetry": bathymetry, "rasters": {"kd": KD}}
    project = make({"light.kd_per_m": None, "light.raster": "kd", "light.at": "datum", "layers": layers_})
    layers.run(project, "x")
    want = np.exp(-kd * np.maximum(depths(), 0))
    np.testing.assert_allclose(bands(project)["light_share"], want, rtol=1e-4)


def test_kd_of_zero_is_refused_and_the_raster_named(make, tmp_path):
    """Water that takes no light would make any depth bright."""
    write_kd(tmp_path, -0.1)
    layers_ = {"bathymetry": PLAN["layers"]["bathymetry"], "rasters": {"kd": KD}}
    project = make({"light.kd_per_m": None, "light.raster": "kd", "layers": layers_})
    with pytest.raises(InputFault, match=r"\[layers\.rasters\.kd\], read by light\.raster: \d+ values such as -0\.1"):
        layers.run(project, "x")
    assert not project.result(SEA_RASTER).exists()
