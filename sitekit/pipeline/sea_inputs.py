"""What a plan says about tide, wind, swell and temperature: files read, checked together, made into tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Fault, Faults, InputFault
from sitekit.layers.sea_tables import read_numbers, read_times
from sitekit.layers.series import Series, fill_short_gaps, read_series
from sitekit.pipeline.project import Project
from sitekit.seabed.climatology import OWN_CLIMATOLOGY
from sitekit.seabed.fetch import MOST_DIRECTIONS, directions
from sitekit.seabed.heat import heat_fields
from sitekit.seabed.light import kd_caution
from sitekit.seabed.open_water import OpenWater
from sitekit.seabed.wave_growth import wind_at_ten_metres
from sitekit.seabed.wind import SwellTable, WindTable, table_from_hours
from sitekit.season.settings import Settings

Row = dict[str, Any]


@dataclass
class SeaInputs:
    """What was read, and a row per table for `check`.

    Parameters
    ----------
    heights : dict of str to float
        Height of tide above the depths' datum [m] by name: datum, and with a tide lowest, mean, highest.
    wind, swell : tables or None
    series : Series or None
        Daily temperatures, short gaps filled.
    heat : dict of str to array, shape (pixels,)
        Heat fields.
    rows : list of dict
        `layer`, `said` (what was understood, a line each), `notes`.
    """

    heights: dict[str, float] = field(default_factory=lambda: {"datum": 0.0})
    wind: WindTable | None = None
    swell: SwellTable | None = None
    series: Series | None = None
    heat: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)


def read_sea_inputs(project: Project) -> SeaInputs:
    """Read every file that `[tide]`, `[waves]`, `[light]` and `[heat]` name.

    Raises
    ------
    InputFault
        With the faults of all of them.
    """
    found = SeaInputs()
    parts: list[tuple[Any, Callable[[Project, SeaInputs], Row]]] = [
        (project.settings.tide, _tide),
        (project.settings.waves, _waves),
        (project.settings.light, _light),
        (project.settings.heat, _heat),
    ]
    with Faults() as faults:
        for given, read in parts:
            if given is None:
                continue
            try:
                found.rows.append(read(project, found))
            except InputFault as error:
                faults.found.extend(error.faults)
    return found


def open_water(settings: Settings, swell: SwellTable | None) -> tuple[OpenWater, OpenWater]:
    """Return what is known of the outer sea: for the fields, and for the shelter table, which leaves swell out.

    With a swell file the fields take the outer sea from it alone; a limit on top would count it twice.
    """
    limit = settings.waves.fetch_limit_m if settings.waves else None
    return (OpenWater(swell=swell) if swell else OpenWater(limit)), OpenWater(limit)


def _tide(project: Project, found: SeaInputs) -> Row:
    tide = project.settings.tide
    assert tide is not None
    datum = project.settings.layers.bathymetry.datum
    notes: list[str] = []
    if tide.file is None:
        low, mean, high = (float(v or 0.0) for v in (tide.lowest_m, tide.mean_m, tide.highest_m))
        said = ["heights as given in the plan"]
    else:
        path = project.input(tide.file, "tide.file")
        series = read_times(path, tide.time, [tide.height_m], "tide.file", tide.reading)
        height = series.values[tide.height_m] + (tide.offset_m or 0.0)
        day = series.time.astype("datetime64[D]")
        keep = ~np.isnan(height)
        if tide.first is not None:
            keep &= day >= np.datetime64(tide.first)
        if tide.last is not None:
            keep &= day <= np.datetime64(tide.last)
        wrong = height[np.abs(height) > 20]
        with Faults() as faults:
            if wrong.size:
                faults.add(
                    "tide.file",
                    f"{wrong.size} heights such as {wrong[0]:g} m",
                    "heights between -20 and 20 m",
                    "Give metres; leave missing ones empty.",
                )
            elif not keep.any():
                faults.add(
                    "tide.first, tide.last", "no height of the file falls on these days", "days of the file", "Correct."
                )
        used = height[keep]
        low, mean, high = float(used.min()), float(used.mean()), float(used.max())
        notes += series.notes
        days = np.unique(day[keep])
        said = [f"{path.name}: {used.size} heights on {days.size} days, {days[0]} to {days[-1]}"]
        if tide.offset_m:
            said.append(f"{tide.datum} lies {tide.offset_m:+g} m from {datum}: added")
        notes.append("the lowest height of the file counts; between its rows the water may fall a little lower")
        if days.size < 29:
            notes.append(f"{days.size} days do not hold a whole spring-neap month (29.5 days): lower tides may come")
    found.heights |= {"lowest": low, "mean": mean, "highest": high}
    said.append(f"lowest {low:.2f}, mean {mean:.2f}, highest {high:.2f} m above {datum}")
    if tide.least_work_depth_m is not None:
        said.append(f"cells with under {tide.least_work_depth_m:g} m of water at the lowest tide are excluded")
    return {"layer": "tide", "said": said, "notes": notes, "source": tide.source}


def _waves(project: Project, found: SeaInputs) -> Row:
    waves = project.settings.waves
    assert waves is not None
    notes: list[str] = []
    with Faults() as faults:
        try:
            found.wind, said = _wind(project, notes)
        except InputFault as error:
            said = []
            faults.found.extend(Fault(_keyed(f.where, "waves.wind"), f.came, f.due, f.do) for f in error.faults)
        if waves.swell is not None:
            try:
                columns = ("direction_deg", "height_m", "period_s", "share")
                path = project.input(waves.swell, "waves.swell")
                table, read_as = read_numbers(path, columns, "waves.swell", waves.swell_table.reading)
                notes += [f"{path.name}: {n}" for n in read_as]
                found.swell = SwellTable(*(table[c] for c in columns))
                said.append(
                    f"{path.name}: {found.swell.share.size} seas from outside, up to {found.swell.height_m.max():g} m, "
                    f"{found.swell.period_s.min():g} to {found.swell.period_s.max():g} s"
                )
            except InputFault as error:
                faults.found.extend(Fault(_keyed(f.where, "waves.swell"), f.came, f.due, f.do) for f in error.faults)
        if waves.land_reach_m is not None and project.settings.layers.coastline is None:
            faults.add(
                "waves.land_reach_m",
                f"{waves.land_reach_m:g} m and no [layers.coastline]",
                "areas of land around the grid",
                "Add [layers.coastline], or leave land_reach_m out.",
            )
    said.append(
        f"growth of waves after {waves.method}; near-bed velocity of the significant wave, limit {waves.mobile_ms:g} m/s"
    )
    if waves.swell is not None:
        said.append("where no land lies, the sea of the swell file arrives; wind raises waves on the water shown only")
    elif waves.fetch_limit_m is not None:
        said.append(f"where no land lies, the wind is taken to blow over at least {waves.fetch_limit_m / 1000:g} km")
    else:
        said.append("where no land lies, waves are UNKNOWN, never calm: wind sea only, no swell file, no fetch_limit_m")
    if waves.fetch_limit_m is None:
        notes.append("shelter by wind direction is unknown toward the open sea: no fetch_limit_m")
    if project.settings.layers.coastline is not None and waves.land_reach_m is None:
        notes.append("the coastline is not used: land_reach_m would say how far around it is complete")
    notes.append(
        "straight lines only: no refraction, no diffraction, no currents; one shallow place per way breaks the sea"
    )
    return {"layer": "waves", "said": said, "notes": notes, "source": waves.source}


def _wind(project: Project, notes: list[str]) -> tuple[WindTable, list[str]]:
    waves = project.settings.waves
    assert waves is not None
    path = project.input(waves.wind, "waves.wind")
    if waves.wind_form == "table":
        columns = ("direction_deg", "speed_ms", "share")
        table, read_as = read_numbers(path, columns, "waves.wind", waves.wind_table.reading)
        notes += [f"{path.name}: {n}" for n in read_as]
        wind = WindTable(
            table["direction_deg"], wind_at_ten_metres(table["speed_ms"], waves.anemometer_m), table["share"]
        )
    else:
        hours = read_times(path, "time", ["direction_deg", "speed_ms"], "waves.wind", waves.wind_table.reading)
        wind, summary = table_from_hours(
            hours.values["direction_deg"],
            wind_at_ten_metres(hours.values["speed_ms"], waves.anemometer_m),
            sectors=waves.directions,
        )
        notes += hours.notes
        if summary.missing:
            notes.append(
                f"{summary.missing} of {summary.hours} times lack wind: left out, as if they were like the others"
            )
    if waves.anemometer_m != 10.0:
        notes.append(f"speeds brought from {waves.anemometer_m:g} to 10 m by the power of one seventh")
    wind = _few_directions(wind, waves.directions, notes)
    blows = wind.speed_ms > 0
    calm = float(wind.share[~blows].sum())
    by = {float(d): float(wind.share[blows & (wind.direction_deg == d)].sum()) for d in np.unique(wind.direction_deg)}
    often = max(by, key=lambda d: by[d])
    return wind, [
        f"{path.name}: {int(blows.sum())} winds from {np.unique(wind.direction_deg[blows]).size} directions, up to "
        f"{wind.speed_ms.max():.3g} m/s, calm {calm:.0%}; most often from {often:g}° ({by[often]:.0%})"
    ]


def _few_directions(wind: WindTable, count: int, notes: list[str]) -> WindTable:
    """Put winds of very many directions into equal sectors, so that each direction is looked along once."""
    blows = wind.speed_ms > 0
    if np.unique(wind.direction_deg[blows]).size <= MOST_DIRECTIONS:
        return wind
    sectors = directions(count)
    nearest = np.floor(wind.direction_deg / (360.0 / count) + 0.5).astype(np.int64) % count
    notes.append(f"the directions of the file were put into {count} sectors")
    return WindTable(sectors[nearest], wind.speed_ms, wind.share)


def _light(project: Project, found: SeaInputs) -> Row:
    light = project.settings.light
    assert light is not None
    height = found.heights.get(light.at)
    at = f"tide {light.at}" + ("" if height is None else f" ({height:+.2f} m)")
    said = [
        f"Kd {light.kd_per_m:g} per m, everywhere" if light.kd_per_m else f"Kd from [layers.rasters.{light.raster}]",
        f"share of the light just below the surface, at {at}",
    ]
    return {"layer": "light", "said": said, "notes": [kd_caution(light.kind)], "source": light.source}


def _heat(project: Project, found: SeaInputs) -> Row:
    heat = project.settings.heat
    assert heat is not None
    path = project.input(heat.file, "heat.file")
    series = read_series(
        path, value=heat.value, unit=heat.units, date=heat.date, missing=heat.missing, reading=heat.reading
    )
    with Faults() as faults:
        if series.step != "day":
            faults.add(
                "heat.file",
                f"{path.name} holds one value a {series.step}",
                "a value a day",
                "Monthly means hide the days that count (see docs/methods-waves-light-heat.md): find the daily series.",
            )
    found.series = fill_short_gaps(series, longest=heat.fill_days) if heat.fill_days else series
    found.heat = heat_fields(
        found.series.sst_c,
        found.series.dates,
        first_year=heat.first_year,
        last_year=heat.last_year,
        limit_c=heat.limit_c,
        mmm_c=heat.mmm_c,
    )
    with Faults() as faults:
        if np.isnan(found.heat["mmm_c"]).all():
            faults.add(
                "heat.first_year, heat.last_year",
                f"a month without 20 known days in every one of {heat.first_year} to {heat.last_year}",
                "twelve months with a mean",
                "Take other years, or give mmm_c, the published maximum monthly mean.",
            )
    pixels = found.series.sst_c.shape[1]
    place = "one place" if pixels == 1 else f"{pixels} pixels of {series.pixel_deg[0]:g}° × {series.pixel_deg[1]:g}°"
    said = [f"{path.name}: {place}, {series.dates[0]} to {series.dates[-1]}, {series.dates.size} days"]
    said += [
        f"{label} {_span(found.heat[name])}"
        for name, label in (
            ("mmm_c", "maximum monthly mean [°C]"),
            ("dhw_weeks", "most degree heating weeks [°C-weeks]"),
            ("days_above", f"days a year at {heat.limit_c:g} °C or more"),
        )
    ]
    notes = [*found.series.notes]
    if heat.mmm_c is None:
        notes.append(OWN_CLIMATOLOGY)
    return {"layer": "heat", "said": said, "notes": notes, "source": heat.source}


def _span(values: NDArray[np.float64]) -> str:
    known = values[~np.isnan(values)]
    if not known.size:
        return "unknown"
    low, high = float(known.min()), float(known.max())
    return f"{low:.2f}" if round(low, 2) == round(high, 2) else f"{low:.2f} to {high:.2f}"


def _keyed(where: str, key: str) -> str:
    return where if key in where else f"{key}, {where}"
