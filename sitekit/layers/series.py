"""Temperature series, daily or monthly, of a station or of pixels: read from a table or NetCDF, in °C, every date once.

Gaps are reported and kept; short ones may be filled, by a stated rule.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
from numpy.typing import NDArray

from sitekit.errors import Faults, FileFault
from sitekit.layers.cells import Reading
from sitekit.layers.rows import TABLES, series_frame

KELVIN = 273.15  # 0 °C, by definition [K]
CELSIUS = ("degc", "c", "celsius", "degree_celsius", "degrees_celsius", "deg_c", "degree_c", "°c")
_KELVIN = ("k", "kelvin", "kelvins", "degree_kelvin", "degrees_kelvin")
UNITS = {**dict.fromkeys(CELSIUS, "c"), **dict.fromkeys(_KELVIN, "k")}


@dataclass(frozen=True)
class Series:
    """A temperature series.

    Parameters
    ----------
    dates : array of datetime64[D], shape (times,)
        Every day, or the first day of every month.
    sst_c : array, shape (times, pixels)
        [°C], NaN where missing; one pixel for a station.
    lon_deg, lat_deg : array, shape (pixels,)
        Pixel centres, longitude -180 to 180; NaN for a station without position.
    pixel_deg : tuple of float
        Width and height of a pixel [deg]; NaN for a station.
    step : str
        `day` or `month`.
    notes : tuple of str
        What was found and changed: gaps, kelvin, longitudes, filling.
    """

    dates: NDArray[np.datetime64]
    sst_c: NDArray[np.float64]
    lon_deg: NDArray[np.float64]
    lat_deg: NDArray[np.float64]
    pixel_deg: tuple[float, float]
    step: str
    notes: tuple[str, ...]


def read_series(
    path: str | Path,
    *,
    value: str,
    unit: str | None = None,
    date: str = "date",
    missing: float | None = None,
    reading: Reading | None = None,
) -> Series:
    """Return the series of a table or NetCDF file.

    Parameters
    ----------
    path : str or Path
        A table (columns: a date, or `year` and `month`; the values; optional `lon` and `lat`, one place), or `.nc`
        (a variable over time, or over time, latitude and longitude).
    value : str
        Column or variable that holds the temperature.
    unit : {"degC", "K"}, optional
        Needed for tables; for NetCDF if the file states none, and refused if it contradicts the file.
    date : str
        Column of dates (year-month-day), tables only.
    missing : float, optional
        A number that stands for missing.
    reading : Reading, optional
        Sheet, header line, encoding of a table.

    Returns
    -------
    Series

    Raises
    ------
    FileFault
        If the file is missing or cannot be read, columns lack, dates are unreadable or double, steps are neither days
        nor months, the unit is missing or contradicted, or values are no sea temperatures (kelvin declared as °C, fill
        values).
    """
    source = Path(path)
    with Faults(FileFault) as faults:
        if not source.is_file():
            faults.add(source, "no such file", "a series as a table or .nc", "Correct the path.")
        elif source.suffix.lower() not in (*TABLES, ".nc"):
            faults.add(source, f"a {source.suffix} file", ".csv, .xlsx or .nc", "Save the series in one of these.")
    said: tuple[str, ...] = ()
    if source.suffix.lower() in TABLES:
        dates, values, lon, lat, said = _read_table(source, value, date, reading)
        pixel, stated = (float("nan"), float("nan")), None
    else:
        dates, values, lon, lat, pixel, stated = _read_netcdf(source, value)
    notes: list[str] = []
    values = _in_celsius(source, values, unit, stated, missing, notes)
    if np.any(lon > 180):
        lon = (lon + 180.0) % 360.0 - 180.0
        notes.append("Longitudes of 0 to 360 were brought to -180 to 180.")
    full, values, step = _every_date(source, dates, values, notes)
    return Series(full, values, lon, lat, pixel, step, (*notes, *said))


def fill_short_gaps(series: Series, *, longest: int = 3) -> Series:
    """Return the series with gaps of at most `longest` steps filled by straight lines between their ends.

    Parameters
    ----------
    series : Series
    longest : int
        Steps, 0 to 31. Three days is ours, no source: sea temperature changes little in that time.

    Returns
    -------
    Series
        Longer gaps, and gaps at the ends, stay; the notes say how many values were filled.

    Raises
    ------
    FileFault
        If `longest` is out of range.
    """
    with Faults(FileFault) as faults:
        if not 0 <= longest <= 31:
            faults.add("longest", f"{longest} steps", "0 to 31", "Long gaps cannot be filled by a line.")
    values = series.sst_c.copy()
    filled = 0
    for pixel in range(values.shape[1]):
        gone = np.isnan(values[:, pixel])
        edge = np.diff(np.concatenate(([False], gone, [False])).astype(np.int8))
        for start, end in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
            if start > 0 and end < len(gone) and end - start <= longest:
                ends = values[[start - 1, end], pixel]
                values[start:end, pixel] = np.interp(np.arange(start, end), [start - 1, end], ends)
                filled += int(end - start)
    note = f"{filled} values in gaps of at most {longest} {series.step}s were filled by straight lines."
    return replace(series, sst_c=values, notes=(*series.notes, note))


def nearest_pixel(series: Series, lon_deg: NDArray[np.float64], lat_deg: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the pixel that holds each place, -1 outside all; a station holds every place.

    Parameters
    ----------
    series : Series
    lon_deg, lat_deg : array
        Places, longitude -180 to 180.
    """
    if np.isnan(series.pixel_deg[0]):
        return np.zeros(np.shape(lon_deg), dtype=np.int64)
    wide, high = (side / 2 * (1 + 1e-6) for side in series.pixel_deg)
    out = np.full(np.shape(lon_deg), -1, dtype=np.int64)
    for k, (lon, lat) in enumerate(zip(series.lon_deg, series.lat_deg, strict=True)):
        away = np.abs((np.asarray(lon_deg) - lon + 180.0) % 360.0 - 180.0)
        out[(out < 0) & (away <= wide) & (np.abs(np.asarray(lat_deg) - lat) <= high)] = k
    return out


Read = tuple[NDArray[np.datetime64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def _read_table(path: Path, value: str, date: str, reading: Reading | None) -> tuple[*Read, tuple[str, ...]]:
    """Dates, values and place of a table, and how it was understood."""
    table, said = series_frame(path, (value, date, "year", "month", "lon", "lat"), str(path), reading, all_due=False)
    monthly = date not in table and {"year", "month"} <= set(table.columns)
    lacking = [c for c in (value, *(() if monthly else (date,))) if c not in table]
    with Faults(FileFault) as faults:
        if lacking:
            faults.add(
                path, f"columns {', '.join(table.columns)}", f"columns {', '.join(lacking)}", "Name the columns."
            )
    text = table["year"] + "-" + table["month"].str.zfill(2) + "-01" if monthly else table[date]
    when = pd.to_datetime(text, format="ISO8601", errors="coerce", utc=True)
    empty = table[value].isin(["", "NA", "NaN", "nan"])
    number = pd.to_numeric(table[value].mask(empty), errors="coerce").reset_index(drop=True)
    empty = empty.reset_index(drop=True)
    with Faults(FileFault) as faults:
        for row in np.flatnonzero(when.isna())[:3]:
            faults.add(
                f"{path}, line {table.index[row]}", f"{text.iloc[row]!r}", "a date such as 2024-08-31", "Correct it."
            )
        for row in np.flatnonzero(number.isna() & ~empty)[:3]:
            at = f"{path}, line {table.index[row]}"
            faults.add(at, f"{table[value].iloc[row]!r}", "a number or nothing", "Correct it.")
    place = [
        pd.to_numeric(table[c], errors="coerce").to_numpy(np.float64)[:1] if c in table else np.array([np.nan])
        for c in ("lon", "lat")
    ]
    with Faults(FileFault) as faults:
        for column in ("lon", "lat"):
            if column in table and table[column].nunique() > 1:
                faults.add(path, f"{table[column].nunique()} values of {column}", "one place", "Split it by place.")
    days = when.dt.tz_localize(None).to_numpy().astype("datetime64[D]")
    return days, number.to_numpy(np.float64)[:, None], place[0], place[1], said


def _read_netcdf(path: Path, value: str) -> tuple[*Read, tuple[float, float], str | None]:
    """Dates, values, places, pixel side and stated unit of a NetCDF variable."""
    try:
        with rasterio.Env(GDAL_PAM_ENABLED="NO"), _quiet_open(path, value) as data:
            block = data.read(masked=True).astype(np.float64).filled(np.nan)
            scale = np.array(data.scales)[:, None, None] if data.scales else 1.0
            offset = np.array(data.offsets)[:, None, None] if data.offsets else 0.0
            tags, transform, unit = data.tags(), data.transform, (data.units or (None,))[0]
            unit = unit or tags.get(f"{value}#units")
        block = block * scale + offset
        alone = "NETCDF_DIM_EXTRA" not in tags
        if alone:
            with _quiet_open(path, "time") as axis:
                steps, since = axis.read(1).ravel().astype(np.float64), axis.tags(1).get("units", "")
        else:
            steps = np.array([float(t) for t in tags["NETCDF_DIM_time_VALUES"].strip("{}").split(",")])
            since = tags.get("time#units", "")
        dates = _dates_since(steps, since)
        if transform == rasterio.Affine.identity() and block.shape[1:] != (1, 1) and not alone:
            raise ValueError("its axes have no even steps")
    except (rasterio.errors.RasterioError, KeyError, ValueError) as error:
        with Faults(FileFault) as faults:
            faults.add(
                path,
                f"variable {value!r} cannot be read ({error})",
                "a variable over time, or over time, latitude and longitude",
                "Check the variable's name and that its first axis is called time.",
            )
    if alone or transform == rasterio.Affine.identity():  # one pixel has no step, so its width is unknown
        return dates, block.reshape(-1, 1), np.array([np.nan]), np.array([np.nan]), (np.nan, np.nan), unit
    rows, cols = np.indices(block.shape[1:])
    lon = transform.c + (cols + 0.5) * transform.a
    lat = transform.f + (rows + 0.5) * transform.e
    flat = block.reshape(block.shape[0], -1)
    size = (abs(transform.a), abs(transform.e))
    return dates, flat, np.asarray(lon.ravel(), np.float64), np.asarray(lat.ravel(), np.float64), size, unit


def _quiet_open(path: Path, variable: str) -> rasterio.io.DatasetReader:
    """Open one variable; a series without a position is no fault here."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        return rasterio.open(f'NETCDF:"{path}":{variable}')


def _dates_since(steps: NDArray[np.float64], since: str) -> NDArray[np.datetime64]:
    """Dates of a time axis given as "days since 2000-01-01" (or hours, seconds)."""
    word, _, start = since.partition(" since ")
    seconds = {"day": 86400, "hour": 3600, "minute": 60, "second": 1}.get(word.strip().rstrip("s"))
    if seconds is None or not start:
        raise ValueError(f"time in {since!r}")
    origin = np.datetime64(start.strip()[:10], "s")
    return (origin + np.round(steps * seconds).astype("timedelta64[s]")).astype("datetime64[D]")


def _in_celsius(
    path: Path,
    values: NDArray[np.float64],
    unit: str | None,
    stated: str | None,
    missing: float | None,
    notes: list[str],
) -> NDArray[np.float64]:
    """Bring values to °C after the declared or stated unit, or refuse."""
    if missing is not None:
        gone = values == missing
        values = np.where(gone, np.nan, values)
        notes.append(f"{int(gone.sum())} values of {missing:g} were read as missing.")
    declared, told = UNITS.get((unit or "").lower()), UNITS.get((stated or "").lower().replace(" ", "_"))
    used = declared or told
    with Faults(FileFault) as faults:
        if used is None:
            faults.add(path, f"unit {unit or stated!r}", "degC or K", "State the unit of the series.")
        elif declared and told and declared != told:
            faults.add(path, f"unit {unit} declared, {stated} in the file", "one unit", "Correct the declaration.")
    if used == "k":
        values = values - KELVIN
        notes.append("Kelvin was brought to °C (less 273.15).")
    with Faults(FileFault) as faults:
        wrong = values[(values < -3) | (values > 45)]
        if wrong.size:
            raw = wrong[0] + (KELVIN if used == "k" else 0.0)
            advice = f"If {raw:g} stands for missing, set missing = {raw:g}."
            if used == "c" and np.all(wrong > 260):
                advice = "These look like kelvin: declare unit K."
            faults.add(path, f"{wrong.size} values such as {raw:g}", "sea temperatures, -3 to 45 °C", advice)
        if np.all(np.isnan(values)):
            faults.add(path, "no value at all", "at least one known value", "Check column or variable.")
    return values


def _every_date(
    path: Path, dates: NDArray[np.datetime64], values: NDArray[np.float64], notes: list[str]
) -> tuple[NDArray[np.datetime64], NDArray[np.float64], str]:
    """Put the rows in order, one per day or month, and note what is missing."""
    order = np.argsort(dates, kind="stable")
    dates, values = dates[order], values[order]
    gaps = np.diff(dates).astype(np.int64)
    found, times = np.unique(gaps, return_counts=True)
    usual = int(found[np.argmax(times)]) if found.size else 1  # the commonest step, the shorter if two are
    with Faults(FileFault) as faults:
        if np.any(gaps == 0):
            faults.add(path, f"{dates[1:][gaps == 0][0]} twice", "each date once", "Remove or average the double rows.")
        elif usual != 1 and not 28 <= usual <= 31:
            faults.add(path, f"steps of {usual} days", "days or months", "Average to days or months.")
    monthly = usual != 1
    kind = "M" if monthly else "D"
    at = dates.astype(f"datetime64[{kind}]").astype(np.int64)
    with Faults(FileFault) as faults:
        if np.any(np.diff(at) == 0):
            faults.add(path, "two rows in one month", "one per month", "Give daily or monthly values, not both.")
    full = np.arange(at[0], at[-1] + 1).astype(f"datetime64[{kind}]")
    whole = np.full((full.size, values.shape[1]), np.nan)
    whole[at - at[0]] = values
    gone = np.isnan(whole).any(axis=1)
    if gone.any():
        edge = np.diff(np.concatenate(([False], gone, [False])).astype(np.int8))
        longest = int((np.flatnonzero(edge == -1) - np.flatnonzero(edge == 1)).max())
        word = "month" if monthly else "day"
        notes.append(
            f"{int(gone.sum())} of {full.size} {word}s lack a value somewhere; the longest gap is {longest} {word}s. "
            "Gaps stay gaps."
        )
    return full.astype("datetime64[D]"), whole, "month" if monthly else "day"
