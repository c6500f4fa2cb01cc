"""Positions on an older datum, read as a table's rows are, against worked examples of the EPSG guidance note."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from pyproj import CRS

from sitekit.base.crs import WGS84, transform_points
from sitekit.base.geodesy import distance
from sitekit.base.positions import read_angle
from sitekit.base.sources import shared_file
from sitekit.layers.points import read_points

ROWS = {r["id"]: r for r in json.loads(shared_file("reference/datum.json").read_text("utf-8"))}


def on_ellipsoid(x: float, y: float, z: float) -> tuple[float, float]:
    """Longitude and latitude on WGS 84 [degrees] of a geocentric position [m], by iterating on the latitude."""
    a, f = 6378137.0, 1 / 298.257223563
    e2, p = f * (2 - f), math.hypot(x, y)
    lat = math.atan2(z, p * (1 - e2))
    for _ in range(6):
        lat = math.atan2(z + e2 * a / math.sqrt(1 - e2 * math.sin(lat) ** 2) * math.sin(lat), p)
    return math.degrees(math.atan2(y, x)), math.degrees(lat)


def published(due: dict[str, Any]) -> tuple[float, float]:
    if "x_m" in due:
        return on_ellipsoid(due["x_m"], due["y_m"], due["z_m"])
    return read_angle(due["lon"], "lon"), read_angle(due["lat"], "lat")


# A column of a table holds names and codes of datums only.
CASES = [(key, by) for key, row in ROWS.items() for by in (False, True) if not by or "EPSG:" in row["inputs"]["crs"]]


@pytest.mark.parametrize(("key", "by_column"), CASES)
def test_a_table_on_an_older_datum_lands_where_the_example_says(tmp_path: Path, key: str, by_column: bool) -> None:
    """An old survey planted 5 to 200 m from where it was, with a note that all is well.

    The system is told by the plan (`crs`), and where it has a code also by a column of the table.
    """
    row = ROWS[key]
    given, utm = row["inputs"], CRS(row["inputs"]["working_crs"])
    column = (",geodeticDatum", f",{given['crs']}") if by_column else ("", "")
    path = tmp_path / "old.csv"
    path.write_text(f"latitude,longitude{column[0]}\n{given['lat']},{given['lon']}{column[1]}\n", "utf-8")
    system = None if by_column else given["crs"]
    frame, notes = read_points(path, to_crs=utm, crs=system, origin="wild", position_error_m=1.0)
    lon, lat = transform_points(frame.geometry.x, frame.geometry.y, utm, WGS84)
    due = published(row["expected"])
    assert float(distance(lon, lat, [due[0]], [due[1]])[0]) <= row["tolerance"]["m"]
    unshifted = float(distance([read_angle(given["lon"], "lon")], [read_angle(given["lat"], "lat")], lon, lat)[0])
    assert unshifted > 100 * row["tolerance"]["m"]
    (said,) = (n for n in notes if n.startswith("datum shift: "))
    assert row["expected"]["operation"] in said
