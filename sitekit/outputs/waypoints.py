"""Pins for the boat: one table turned into CSV with every notation, GPX and KML."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from sitekit.base.notation import angle_text
from sitekit.outputs.gpx import DECIMALS, Waypoint, normal_longitude, write_gpx
from sitekit.outputs.kml import write_kml
from sitekit.outputs.tables import write_csv

CAUTION = "Planning aid only; not for navigation."
BOAT_DECIMALS = 3  # of a minute, as boat receivers show them: 0.9 m


def waypoint_list(waypoints: pd.DataFrame, *, datum: str, fictional: bool = False) -> list[Waypoint]:
    """Return the table `waypoints` as pins for receivers, in its own order.

    Parameters
    ----------
    waypoints : DataFrame
        The table.
    datum : str
        What charted depths are counted from.
    fictional : bool
        Says FICTIONAL in every description.
    """
    found = []
    for row in waypoints.to_dict("records"):
        text = (
            f"{row['full_name']}, pin {row['pin']}{' as set' if row['as_set'] else ' planned'}, plot {row['plot']}; "
            f"charted depth {row['depth_min_m']:.1f} to {row['depth_max_m']:.1f} m below {datum}. {CAUTION}"
        )
        if isinstance(row.get("role"), str) and row["role"] != "planted":
            text = f"{row['role']} plot, nothing is planted: " + text
        variation = None
        if pd.notna(row["leg_true_deg"]) and pd.notna(row["leg_magnetic_deg"]):
            variation = (row["leg_true_deg"] - row["leg_magnetic_deg"] + 180.0) % 360.0 - 180.0
        found.append(
            Waypoint(
                str(row["name"]),
                float(row["longitude_deg"]),
                float(row["latitude_deg"]),
                ("FICTIONAL. " if fictional else "") + text,
                float(row["depth_max_m"]),
                variation,
            )
        )
    return found


def waypoints_table(waypoints: pd.DataFrame) -> pd.DataFrame:
    """Return the table with positions in decimal degrees, DDM, DMS and UTM, all WGS 84."""
    out = waypoints.copy().reset_index(drop=True)
    lon = [normal_longitude(v) for v in out["longitude_deg"].astype(float)]
    lat = out["latitude_deg"].astype(float).tolist()
    out["longitude_deg"] = lon
    for style, decimals in (("DDM", BOAT_DECIMALS), ("DMS", 2)):
        out[f"latitude_{style.lower()}"] = [angle_text(v, "lat", style, decimals) for v in lat]  # type: ignore[arg-type]
        out[f"longitude_{style.lower()}"] = [angle_text(v, "lon", style, decimals) for v in lon]  # type: ignore[arg-type]
    out["datum"] = "WGS 84"
    first = [
        "order", "name", "full_name", "plot", "site", "pin", "as_set", "latitude_deg", "longitude_deg", "latitude_ddm",
        "longitude_ddm", "latitude_dms", "longitude_dms", "utm_zone", "easting_m", "northing_m", "datum",
    ]  # fmt: skip
    return out[[*first, *[c for c in out.columns if c not in first]]]


def write_waypoints(
    folder: Path, waypoints: pd.DataFrame, *, title: str, about: Sequence[str], datum: str, fictional: bool = False
) -> list[str]:
    """Write `waypoints.csv`, `.gpx` and `.kml`; return their names.

    Parameters
    ----------
    folder : Path
        Target.
    waypoints : DataFrame
        The table `waypoints`.
    title : str
        Name of the plan.
    about : sequence of str
        Run, date, cautions: goes into GPX and KML.
    datum : str
        Of depths.
    fictional : bool
        Stamps every pin and row.

    Raises
    ------
    InputFault
        Naming every pin that a receiver would refuse.
    FileFault
        If a file cannot be written.
    """
    table = waypoints_table(waypoints)
    if fictional:
        table["FICTIONAL"] = True
    degrees = {"latitude_deg": DECIMALS, "longitude_deg": DECIMALS}
    metres = dict.fromkeys(("easting_m", "northing_m", "leg_m", "depth_min_m", "depth_max_m"), 2)
    write_csv(folder / "waypoints.csv", table, decimals={**degrees, **metres, "leg_true_deg": 1, "leg_magnetic_deg": 1})
    pins = waypoint_list(waypoints, datum=datum, fictional=fictional)
    description = " ".join([*(["FICTIONAL."] if fictional else []), *about])
    write_gpx(folder / "waypoints.gpx", pins, name=title, description=description)
    write_kml(folder / "waypoints.kml", pins, name=title, description=description)
    return ["waypoints.csv", "waypoints.gpx", "waypoints.kml"]
