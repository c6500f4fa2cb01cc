r"""Tables for spreadsheets: CSV in UTF-8 with a byte order mark, units in headers, text that cannot run.

A spreadsheet takes a cell that begins with one of ``= + - @`` (or a tab or line break before it) for a formula, also
in a file from a stranger. Such *text* gets an apostrophe in front; numbers never, so that a negative offset stays a
number. A text that begins with an apostrophe gets a second one, so that reading can undo it: one leading apostrophe,
where there is one, is taken off.

References
----------
RFC 4180 (Shafranovich, 2005): common format of CSV files; OWASP, "CSV Injection" (recalled, unverified): the list of
dangerous first characters.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from sitekit.base.files import write_bytes
from sitekit.base.notation import Style, angle_text
from sitekit.base.tables import table
from sitekit.errors import Fault, InputFault
from sitekit.outputs.vector import POINT_DECIMALS, colony_names

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
_DECIMALS = {"m": 2, "m²": 1, "%": 1, "cm": 1, "°": 1, "0-1": 4}  # of a unit, for columns without their own
_OWN_DECIMALS = {
    "along_m": 1, "offset_m": 1,  # a tape in surge is read to 0.1 m (design section 5)
    "longitude_deg": 9, "latitude_deg": 9,  # fewer would break spacing
}  # fmt: skip


def defused(text: str) -> str:
    """Return a text cell that no spreadsheet runs.

    Examples
    --------
    >>> defused("=2+3"), defused("APAL-7"), defused("-7")
    ("'=2+3", 'APAL-7', "'-7")
    """
    return "'" + text if text.startswith(_DANGEROUS) else text


def write_csv(path: Path, frame: pd.DataFrame, *, decimals: dict[str, int] | None = None) -> None:
    r"""Write a table as CSV with byte order mark and `\r\n` line ends (RFC 4180), whole or not at all.

    Parameters
    ----------
    path : Path
        Target.
    frame : DataFrame
        Columns named with their unit; a geometry column is left out. Empty values give empty cells, flags `true` or
        `false`, numbers plain decimals (no exponent, no negative zero).
    decimals : dict of str to int, optional
        Column -> decimals of its numbers; other real columns carry up to 9, without trailing zeros.

    Raises
    ------
    InputFault
        If a number is infinite.
    FileFault
        If the file cannot be written.
    """
    names = [c for c in frame.columns if str(frame[c].dtype) != "geometry"]
    cells = [_column(frame[name], (decimals or {}).get(name), f"{path.name}, {name}") for name in names]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([defused(str(n)) for n in names])
    writer.writerows(zip(*cells, strict=True))
    write_bytes(path, text.getvalue().encode("utf-8-sig"))


def _column(values: pd.Series[Any], decimals: int | None, where: str) -> list[str]:
    absent = values.isna().to_numpy()
    if pd.api.types.is_bool_dtype(values.dtype):
        return ["" if a else ("true" if v else "false") for v, a in zip(values, absent, strict=True)]
    if pd.api.types.is_integer_dtype(values.dtype):
        return ["" if a else str(int(v)) for v, a in zip(values, absent, strict=True)]
    if pd.api.types.is_float_dtype(values.dtype):
        numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
        if bool(np.isinf(numbers).any()):
            raise InputFault(Fault(where, "a number is infinite", "finite numbers", "Please report this."))
        return ["" if a else _plain(v, decimals) for v, a in zip(numbers.tolist(), absent, strict=True)]
    return ["" if a else _cell(v, where) for v, a in zip(values, absent, strict=True)]


def _cell(value: Any, where: str) -> str:
    """One cell of a column of mixed values: numbers stay numbers, all else is text."""
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if isinstance(value, (float, np.floating)):
        return _column(pd.Series([float(value)]), None, where)[0]
    return defused(str(value))


def _plain(value: float, decimals: int | None) -> str:
    text = f"{value:.{9 if decimals is None else decimals}f}"
    if decimals is None:
        text = text.rstrip("0").rstrip(".")
    return text.lstrip("-") if float(text) == 0.0 else text


def table_decimals(name: str) -> dict[str, int]:
    """Return the decimals printed for each real column of a table of `shared/tables.json`."""
    columns = [c for c in table(name).columns if c.type == "real"]
    return {c.name: _OWN_DECIMALS.get(c.name, _DECIMALS.get(c.unit, 4)) for c in columns}


def colonies_table(colonies: GeoDataFrame, notation: Style = "DDM") -> pd.DataFrame:
    """Return the planned colonies with positions that people and programs read.

    Parameters
    ----------
    colonies : GeoDataFrame
        The table `colonies` in the working CRS.
    notation : {"DDM", "DMS", "DD"}
        Of the two text columns; the two number columns are always decimal degrees.

    Returns
    -------
    DataFrame
        `colony` (site and sequence), the table's own columns, then `latitude_wgs84_deg`, `longitude_wgs84_deg`
        [degrees, 9 decimals, as in `colonies.geojson`] and `latitude_wgs84_ddm`, `longitude_wgs84_ddm` (text, to 4
        decimals of a minute, 0.2 m).
    """
    places = colonies.geometry.to_crs(4326)
    latitude, longitude = places.y.to_numpy(dtype=np.float64), places.x.to_numpy(dtype=np.float64)
    out = pd.DataFrame(colonies.drop(columns=colonies.geometry.name)).reset_index(drop=True)
    out.insert(0, "colony", colony_names(colonies))
    out["latitude_wgs84_deg"], out["longitude_wgs84_deg"] = latitude, longitude
    ending = notation.lower() if notation != "DD" else "text"
    out[f"latitude_wgs84_{ending}"] = [angle_text(v, "lat", notation) for v in latitude.tolist()]
    out[f"longitude_wgs84_{ending}"] = [angle_text(v, "lon", notation) for v in longitude.tolist()]
    return out


def write_colonies_csv(path: Path, colonies: GeoDataFrame, *, notation: Style = "DDM", fictional: bool = False) -> None:
    """Write `out/colonies.csv`: one row per planned colony with decimal degrees and degrees with decimal minutes.

    Parameters
    ----------
    path : Path
        Target.
    colonies : GeoDataFrame
        The table `colonies` in the working CRS.
    notation : {"DDM", "DMS", "DD"}
        Of the text columns.
    fictional : bool
        Adds a last column `FICTIONAL` that is true in every row.
    """
    out = colonies_table(colonies, notation)
    if fictional:
        out["FICTIONAL"] = True
    degrees = {"latitude_wgs84_deg": POINT_DECIMALS, "longitude_wgs84_deg": POINT_DECIMALS}
    write_csv(path, out, decimals={**table_decimals("colonies"), **degrees})


def write_table_csv(path: Path, frame: pd.DataFrame, name: str, *, fictional: bool = False) -> None:
    """Write a table of `shared/tables.json` as CSV, in its columns and with the decimals its units deserve.

    Parameters
    ----------
    path : Path
        Target.
    frame : DataFrame
        Rows of that table.
    name : str
        Table name, e.g. `"candidates"`.
    fictional : bool
        Adds a last column `FICTIONAL` that is true in every row.
    """
    out = pd.DataFrame(frame[table(name).names]).reset_index(drop=True)
    if fictional:
        out["FICTIONAL"] = True
    write_csv(path, out, decimals=table_decimals(name))
