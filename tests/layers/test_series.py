"""Temperature series from CSV and NetCDF: units, gaps, longitudes, refusals."""

import numpy as np
import pytest
import scipy.io
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import FileFault
from sitekit.layers.series import Series, fill_short_gaps, nearest_pixel, read_series


def _csv(folder, text):
    path = folder / "sst.csv"
    path.write_text(text, encoding="utf-8")
    return path


def _netcdf(path, *, unit="kelvin", lon=(201.975, 202.025), offset=273.15):
    file = scipy.io.netcdf_file(path, "w")
    for name, values, units in (
        ("time", [0.0, 1.0, 3.0], "days since 2020-01-30"),
        ("lat", [21.675, 21.725], "degrees_north"),
        ("lon", lon, "degrees_east"),
    ):
        file.createDimension(name, len(values))
        variable = file.createVariable(name, "f8", (name,))
        variable[:] = values
        variable.units = units.encode()
    sst = file.createVariable("sst", "f8", ("time", "lat", "lon"))
    sst[:] = 20.0 + offset + np.arange(12.0).reshape(3, 2, 2)
    sst.units = unit.encode()
    station = file.createVariable("station", "f8", ("time",))
    station[:] = [25.0, 26.0, 27.0]
    file.close()
    return path


def test_a_daily_csv_keeps_its_values_and_tells_its_gaps(tmp_path):
    """A gap would close and shift the days after it."""
    path = _csv(tmp_path, "date,sst\n2024-01-04,25.5\n2024-01-01,25.0\n2024-01-02,25.1\n2024-01-05,\n2024-01-06,26\n")
    series = read_series(path, value="sst", unit="degC")
    assert series.step == "day"
    assert series.dates[0] == np.datetime64("2024-01-01")
    np.testing.assert_array_equal(series.sst_c[:, 0], [25.0, 25.1, np.nan, 25.5, np.nan, 26.0])
    assert "2 of 6 days lack a value somewhere; the longest gap is 1 days" in series.notes[0]


def test_short_gaps_are_filled_by_lines_and_long_ones_stay(tmp_path):
    """A long gap filled would invent a summer."""
    path = _csv(tmp_path, "date,sst\n2024-01-01,20\n2024-01-02,20\n2024-01-04,22\n2024-01-05,22\n2024-01-10,22\n")
    filled = fill_short_gaps(read_series(path, value="sst", unit="degC"))
    assert filled.sst_c[2, 0] == pytest.approx(21.0)
    assert np.isnan(filled.sst_c[5:9, 0]).all()
    assert filled.notes[-1].startswith("1 values in gaps of at most 3 days")


@given(st.integers(0, 31), st.integers(1, 20))
def test_a_gap_is_filled_exactly_when_it_is_short_enough(longest, gap):
    """An end counted twice would show."""
    values = np.concatenate(([20.0], np.full(gap, np.nan), [20.0]))[:, None]
    nan = np.array([np.nan])
    days = np.datetime64("2024-01-01") + np.arange(values.size)
    filled = fill_short_gaps(Series(days, values, nan, nan, (np.nan, np.nan), "day", ()), longest=longest)
    assert np.isnan(filled.sst_c).any() == (gap > longest)


def test_months_are_read_from_year_and_month(tmp_path):
    """Monthly tables would be taken for days."""
    series = read_series(_csv(tmp_path, "year,month,v\n2024,11,25\n2024,12,26\n2025,1,27\n"), value="v", unit="degC")
    assert series.step == "month"
    assert series.dates[-1] == np.datetime64("2025-01-01")


def test_kelvin_and_longitudes_of_a_netcdf_grid_are_brought_over(tmp_path):
    """Places would lie on the far side of the earth, or the sea would boil."""
    series = read_series(_netcdf(tmp_path / "a.nc"), value="sst")
    assert series.sst_c.shape == (4, 4)
    north_west = nearest_pixel(series, np.array([-158.02]), np.array([21.73]))[0]
    np.testing.assert_allclose(series.sst_c[[0, 1, 3], north_west], [22.0, 26.0, 30.0])
    assert np.isnan(series.sst_c[2]).all()
    assert series.pixel_deg == pytest.approx((0.05, 0.05))
    assert any("Kelvin" in n for n in series.notes)
    assert nearest_pixel(series, np.array([0.0]), np.array([0.0])).tolist() == [-1]


def test_a_station_in_netcdf_has_no_place(tmp_path):
    """A position would be made up."""
    series = read_series(_netcdf(tmp_path / "a.nc"), value="station", unit="degC")
    np.testing.assert_array_equal(series.sst_c[[0, 1, 3], 0], [25.0, 26.0, 27.0])
    assert np.isnan(series.lon_deg).all()
    assert nearest_pixel(series, np.array([-80.0]), np.array([25.0])).tolist() == [0]


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("date,sst\n2024-01-01,300.1\n2024-01-02,300.2\n", "degC", "These look like kelvin: declare unit K"),
        ("date,sst\n2024-01-01,25\n2024-01-02,-9999\n", "degC", "set missing = -9999"),
        ("date,sst\n2024-01-01,25\n", None, "unit None; due: degC or K"),
        ("date,sst\nyesterday,25\n", "degC", "line 2: 'yesterday'; due: a date such as"),
        ("date,sst\n2024-01-01,warm\n", "degC", "line 2: 'warm'; due: a number or nothing"),
        ("date,sst\n2024-01-01,25\n2024-01-01,26\n", "degC", "2024-01-01 twice; due: each date once"),
        ("date,sst\n2024-01-01,25\n2024-01-08,26\n2024-01-15,26\n", "degC", "steps of 7 days; due: days or months"),
        ("day,t\n2024-01-01,25\n", "degC", "columns day, t; due: columns sst, date"),
        ("date,sst,lon\n2024-01-01,25,1\n2024-01-02,25,2\n", "degC", "2 values of lon; due: one place"),
        ("date,sst\n2024-01-01,\n", "degC", "no value at all"),
    ],
)
def test_a_series_that_cannot_be_trusted_is_refused(tmp_path, text, unit, message):
    """Each would make silent nonsense."""
    with pytest.raises(FileFault, match=message):
        read_series(_csv(tmp_path, text), value="sst", unit=unit)


def test_a_named_fill_value_is_read_as_missing(tmp_path):
    """The advice of the refusal would not work."""
    path = _csv(tmp_path, "date,sst\n2024-01-01,25\n2024-01-02,-9999\n2024-01-03,26\n")
    series = read_series(path, value="sst", unit="degC", missing=-9999)
    assert np.isnan(series.sst_c[1, 0])


@pytest.mark.parametrize(
    ("value", "unit", "message"),
    [("sst", "degC", "unit degC declared, kelvin in the file"), ("heat", None, "'heat' cannot be read")],
)
def test_netcdf_contradictions_are_refused(tmp_path, value, unit, message):
    """The wrong one would be believed."""
    with pytest.raises(FileFault, match=message):
        read_series(_netcdf(tmp_path / "a.nc"), value=value, unit=unit)


def test_a_missing_or_strange_file_is_named(tmp_path):
    """The reader would hunt for it."""
    with pytest.raises(FileFault, match="no such file"):
        read_series(tmp_path / "none.csv", value="sst")
    (tmp_path / "a.xls").write_text("x")
    with pytest.raises(FileFault, match=r"a .xls file; due: .csv, .xlsx or .nc"):
        read_series(tmp_path / "a.xls", value="sst")
    with pytest.raises(FileFault, match="40 steps; due: 0 to 31"):
        fill_short_gaps(
            Series(np.array([]), np.zeros((0, 1)), np.zeros(1), np.zeros(1), (1.0, 1.0), "day", ()), longest=40
        )


def test_a_grid_of_one_pixel_has_no_width_and_is_read_as_a_place(tmp_path):
    """It would lie at 0° N, 0° E, a degree wide."""
    with scipy.io.netcdf_file(tmp_path / "one.nc", "w") as file:
        for name, values, unit in (
            ("time", [0.0, 1.0], "days since 2020-01-01"),
            ("lat", [18.05], "degrees_north"),
            ("lon", [309.7], "degrees_east"),
        ):
            file.createDimension(name, len(values))
            axis = file.createVariable(name, "f8", (name,))
            axis[:] = values
            axis.units = unit
        sst = file.createVariable("sst", "f4", ("time", "lat", "lon"))
        sst[:] = 27.0
        sst.units = "degC"
    series = read_series(tmp_path / "one.nc", value="sst")
    assert np.isnan(series.pixel_deg).all()
    np.testing.assert_array_equal(series.sst_c, [[27.0], [27.0]])
