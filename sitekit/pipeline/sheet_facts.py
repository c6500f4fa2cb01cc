"""What stands on sheets and in receivers: waypoints in visiting order, heads of sheets, letters, stretches of tape."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from sitekit.base.crs import WGS84, transform_points, utm_zone
from sitekit.base.geodesy import inverse
from sitekit.base.north import declination, magnetic_bearing
from sitekit.fieldwork.segments import genet_letters, segments
from sitekit.fieldwork.visits import boat_order, receiver_names, rounded_bearing
from sitekit.fieldwork.weather import sheltered_sectors
from sitekit.pipeline.tides import NO_TIDE, Tides

Shelter = Mapping[str, Sequence[tuple[float, str]]]


@dataclass(frozen=True)
class Planned:
    """When a plot is planted: dates, and on each the local hours the boat is out."""

    dates: tuple[datetime.date, ...]
    hours: tuple[tuple[str, str], ...]


def visiting(plots: pd.DataFrame, start: tuple[float, float] | None, first_sites: Sequence[str] = ()) -> list[int]:
    """Return rows of plots in the order the boat visits them: site after site, plots of a site together.

    Parameters
    ----------
    plots : DataFrame
        The table `plots`.
    start : tuple of float, optional
        Harbour, working system [m].
    first_sites : sequence of str
        Sites in an order that stands already, e.g. that of the queue.
    """
    x, y = plots["pin_x_m"].to_numpy(float), plots["pin_y_m"].to_numpy(float)
    sites = list(dict.fromkeys(plots["site"].astype(str)))
    middle = {s: (float(x[(plots["site"] == s)].mean()), float(y[(plots["site"] == s)].mean())) for s in sites}
    known = [s for s in dict.fromkeys(first_sites) if s in middle]
    rest = [s for s in sites if s not in known]
    order = boat_order([middle[s][0] for s in rest], [middle[s][1] for s in rest], start=start)
    out: list[int] = []
    here = start
    for site in [*known, *(rest[k] for k in order)]:
        rows = np.flatnonzero((plots["site"] == site).to_numpy())
        own = rows[boat_order(x[rows], y[rows], start=here)].tolist()
        out += own
        here = float(x[own[-1]]), float(y[own[-1]])
    return out


def pins_of(plots: pd.DataFrame, crs: Any) -> dict[str, np.ndarray[Any, Any]]:
    """Return longitude and latitude of both pins of each plot, −180 ≤ longitude < 180 [°]; NaN without a second pin."""
    out = {}
    for name, x, y in (("first", "pin_x_m", "pin_y_m"), ("second", "second_pin_x_m", "second_pin_y_m")):
        lon, lat = transform_points(plots[x].to_numpy(float), plots[y].to_numpy(float), crs, WGS84)
        known = np.isfinite(plots[x].to_numpy(float))
        out[f"{name}_lon"] = np.where(known, (lon + 180.0) % 360.0 - 180.0, np.nan)
        out[f"{name}_lat"] = np.where(known, lat, np.nan)
    return out


def waypoint_rows(
    plots: pd.DataFrame,
    order: Sequence[int],
    pins: Mapping[str, np.ndarray[Any, Any]],
    *,
    name_length: int,
    date: datetime.date,
    harbour: tuple[str, float, float] | None,
    shelter: Shelter,
    as_set: Mapping[str, set[int]],
) -> list[dict[str, Any]]:
    """Return the table `waypoints`: first pins in visiting order with their legs, second pins behind each."""
    entries: list[tuple[int, int, float, float]] = []
    for k in order:
        for pin, name in ((1, "first"), (2, "second")):
            lon, lat = float(pins[f"{name}_lon"][k]), float(pins[f"{name}_lat"][k])
            if np.isfinite(lon):
                entries.append((k, pin, lon, lat))
    full = [f"{plots['plot'].iloc[k]} {'A' if pin == 1 else 'B'}" for k, pin, _, _ in entries]
    short = receiver_names(full, name_length)
    place = {k: i for i, k in enumerate(order, start=1)}
    before = harbour
    rows = []
    for (k, pin, lon, lat), name, long_name in zip(entries, short, full, strict=True):
        plot = plots.iloc[k]
        zone = utm_zone(lon, lat)
        east, north = transform_points([lon], [lat], WGS84, zone)
        row: dict[str, Any] = {
            "order": place[k],
            "name": name,
            "full_name": long_name,
            "plot": plot["plot"],
            "site": plot["site"],
            "role": plot["role"],
            "pin": pin,
            "as_set": pin in as_set.get(str(plot["plot"]), set()),
            "longitude_deg": lon,
            "latitude_deg": lat,
            "easting_m": float(east[0]),
            "northing_m": float(north[0]),
            "utm_zone": zone.name.rsplit(" ", 1)[-1],
            "depth_min_m": plot["depth_min_m"],
            "depth_max_m": plot["depth_max_m"],
            "lee": lee_text(shelter, str(plot["site"])),
        }
        if pin == 1:
            if before is not None:
                way = inverse(before[1], before[2], lon, lat)
                true = float(np.asarray(way.azimuth_deg).ravel()[0])
                field = declination(lon, lat, date)
                row |= {
                    "leg_m": float(np.asarray(way.distance_m).ravel()[0]),
                    "leg_true_deg": true,
                    "leg_magnetic_deg": None if field is None else float(magnetic_bearing(true, field.declination_deg)),
                    "leg_from": before[0],
                }
            before = (str(plot["plot"]), lon, lat)
        rows.append(row)
    return rows


def lee_text(shelter: Shelter, site: str) -> str | None:
    """Return the sectors in which a site is sheltered as text; None where shelter was not worked out."""
    if site not in shelter:
        return None
    sectors = sheltered_sectors(shelter[site])
    if not sectors:
        return "none known"
    return ", ".join(f"{a:03.0f}–{b:03.0f}°" if a != b else f"{a:03.0f}°" for a, b in sectors)


def sheet_rows(
    plots: pd.DataFrame,
    order: Sequence[int],
    pins: Mapping[str, np.ndarray[Any, Any]],
    *,
    kind: str,
    date: datetime.date,
    datum: str,
    depth_error_m: float,
    tides: Tides,
    planned: Mapping[str, Planned],
    species: Mapping[str, str],
    as_set: Mapping[str, set[int]],
) -> list[dict[str, Any]]:
    """Return the table `sheets`: one row per planted plot in visiting order."""
    rows = []
    for i, k in enumerate(order, start=1):
        plot = plots.iloc[k]
        name = str(plot["plot"])
        if plot["role"] != "planted" or not plot["units"]:
            continue
        days = planned.get(name)
        day = days.dates[0] if days and days.dates else date
        lon, lat = float(pins["first_lon"][k]), float(pins["first_lat"][k])
        field = declination(lon, lat, day)
        true = float(plot["bearing_true_deg"])
        low, high, note = _tide_of(tides, days)
        least, most = float(plot["depth_min_m"]), float(plot["depth_max_m"])
        second = float(pins["second_lon"][k]), float(pins["second_lat"][k])
        usable = field is not None and field.usable
        rows.append(
            {
                "plot": name,
                "order": i,
                "site": plot["site"],
                "kind": kind,
                "species": species.get(name, ""),
                "longitude_deg": lon,
                "latitude_deg": lat,
                "second_longitude_deg": second[0] if np.isfinite(second[0]) else None,
                "second_latitude_deg": second[1] if np.isfinite(second[1]) else None,
                "bearing_true_deg": rounded_bearing(true),
                "bearing_magnetic_deg": rounded_bearing(float(magnetic_bearing(true, field.declination_deg)))
                if field is not None and usable
                else None,
                "declination_deg": field.declination_deg if field is not None and usable else None,
                "declination_error_deg": field.uncertainty_deg if field is not None and usable else None,
                "bearing_date": day.isoformat() if usable else None,
                "bearing_note": "WMM2025" if usable else "no magnetic bearing: no model holds on this day or place",
                "tape_m": plot["tape_m"],
                "depth_min_m": least,
                "depth_max_m": most,
                "datum": datum,
                "depth_error_m": depth_error_m,
                "tide_low_m": low,
                "tide_high_m": high,
                "tide_depth_min_m": None if low is None else least + low,
                "tide_depth_max_m": None if high is None else most + high,
                "tide_note": note,
                "dates": ", ".join(d.isoformat() for d in days.dates) if days and days.dates else None,
                "numbers": plot["numbers"],
                "pins_as_set": ", ".join(f"pin {'AB'[p - 1]}" for p in sorted(as_set.get(name, set()))) or None,
            }
        )
    return rows


def _tide_of(tides: Tides, days: Planned | None) -> tuple[float | None, float | None, str]:
    """Lowest and highest tide in the planned hours, and what they are for."""
    if tides.highest_m is None or tides.lowest_m is None:
        return None, None, NO_TIDE
    if days is None or not days.dates:
        return tides.lowest_m, tides.highest_m, "lowest to highest tide given; no day planned"
    if not tides.times.size:
        return tides.lowest_m, tides.highest_m, "lowest to highest tide as typed in; no predictions"
    found = [tides.between(d, a, b) for d, (a, b) in zip(days.dates, days.hours, strict=True)]
    known = [f for f in found if f is not None]
    if len(known) < len(found):
        return tides.lowest_m, tides.highest_m, "lowest to highest predicted; no prediction for a planned day"
    hours = f"{min(a for a, _ in days.hours)}–{max(b for _, b in days.hours)}"
    return min(f[0] for f in known), max(f[1] for f in known), f"{hours} on the planned day{'s' * (len(found) > 1)}"


def letter_rows(colonies: pd.DataFrame) -> tuple[list[dict[str, Any]], dict[tuple[str, str], str]]:
    """Return the table `genet_letters`, and the letter of each species and genet."""
    keys = list(zip(colonies["species"].astype(str), colonies["genet"].astype(str), strict=True))
    letters = genet_letters(keys)
    return [{"letter": v, "species": s, "genet": g} for (s, g), v in letters.items()], letters


def segment_rows(plots: pd.DataFrame, colonies: pd.DataFrame, step_m: float) -> list[dict[str, Any]]:
    """Return the table `segments`: counts per genet and stretch of tape of every rectangular plot."""
    rows = []
    own = {str(n): part for n, part in colonies.groupby("plot", sort=False)}
    for plot in plots.to_dict("records"):
        part = own.get(str(plot["plot"]))
        if part is None or part["along_m"].isna().any():
            continue
        found = segments(
            part["along_m"].to_numpy(float),
            part["species"].astype(str).tolist(),
            part["genet"].astype(str).tolist(),
            tape_m=float(plot["tape_m"]),
            step_m=step_m,
        )
        rows += [
            {
                "plot": plot["plot"],
                "from_m": s.from_m,
                "to_m": s.to_m,
                "species": s.species,
                "genet": s.genet,
                "number": s.number,
            }
            for s in found
        ]
    return rows
