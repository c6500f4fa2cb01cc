"""The columns of every table: name, type, unit, meaning, once, checked on each read and write."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from sitekit.base.sources import shared_file
from sitekit.errors import Fault, Faults, InputFault

if TYPE_CHECKING:
    pass

_DTYPES = {"text": "str", "integer": "Int64", "real": "float64", "flag": "bool", "date": "str"}


@dataclass(frozen=True)
class Column:
    """One column.

    Parameters
    ----------
    name : str
        Ends in its unit where it has one.
    type : str
        `text`, `integer`, `real`, `flag` or `date` (ISO 8601 text).
    unit, meaning : str
        For people.
    empty : bool
        Whether a cell may be empty.
    """

    name: str
    type: str
    unit: str
    meaning: str
    empty: bool


@dataclass(frozen=True)
class Table:
    """One table: its columns in order, the geometry it carries (None for none), and the file it stands in."""

    name: str
    file: str
    geometry: str | None
    meaning: str
    columns: tuple[Column, ...]

    @property
    def names(self) -> list[str]:
        """Column names in order, without the geometry."""
        return [c.name for c in self.columns]


@cache
def table(name: str) -> Table:
    """Return the definition of a table.

    Raises
    ------
    InputFault
        If no table has that name.
    """
    rows = _definitions()
    if name not in rows:
        raise InputFault(Fault(f"table {name!r}", "is not defined", ", ".join(sorted(rows)), "Use one of these names."))
    row = rows[name]
    return Table(name, row["file"], row["geometry"], row["meaning"], tuple(Column(**c) for c in row["columns"]))


@cache
def _definitions() -> dict[str, Any]:
    return dict(json.loads(shared_file("tables.json").read_text("utf-8")))


def table_names(file: str = "season") -> list[str]:
    """Return the names of the tables of a file (`season` or `records`), in the order of the definitions."""
    return [name for name, row in _definitions().items() if row["file"] == file]


def conform(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return the frame with exactly the table's columns, in order and in their types.

    Raises
    ------
    InputFault
        Naming every missing or unknown column, empty cell and value of another type.
    """
    definition = table(name)
    geometry = [frame.geometry.name] if definition.geometry else []
    with Faults() as faults:
        for column in definition.columns:
            if column.name not in frame.columns:
                faults.add(f"{name}.{column.name}", "the column is missing", f"{column.type} {column.unit}", "Add it.")
        for extra in [c for c in frame.columns if c not in definition.names and c not in geometry]:
            faults.add(f"{name}.{extra}", "the column is unknown", ", ".join(definition.names), "Remove or rename it.")
    with Faults() as faults:
        columns: dict[Any, Any] = {
            c.name: _typed(frame[c.name].reset_index(drop=True), c, name, faults) for c in definition.columns
        }
    if not geometry:
        return pd.DataFrame(columns, index=pd.RangeIndex(len(frame)))
    import geopandas as gpd

    shapes = frame.geometry.reset_index(drop=True)
    whole: pd.DataFrame = gpd.GeoDataFrame({**columns, geometry[0]: shapes}, geometry=geometry[0], crs=frame.crs)
    return whole


def _typed(values: pd.Series[Any], column: Column, name: str, faults: Faults) -> pd.Series[Any]:
    if not len(values):
        dtype = {"integer": "Int64", "flag": "bool", "real": "float64"}.get(column.type, "object")
        return pd.Series([], dtype=dtype)
    absent = values.isna() | (values.astype(object) == "") if column.type in ("text", "date") else values.isna()
    if not column.empty and bool(absent.any()):
        rows = ", ".join(str(int(i) + 1) for i in np.flatnonzero(absent.to_numpy())[:5])
        faults.add(f"{name}.{column.name}", f"empty in row {rows}", column.meaning, "Fill it in.")
        return values
    try:
        if column.type in ("text", "date"):
            return pd.Series([None if a else str(v) for v, a in zip(values, absent, strict=True)], dtype=object)
        if column.type == "integer":
            numbers = pd.to_numeric(values)
            if bool((numbers.dropna() % 1 != 0).any()):
                raise ValueError("not whole")
            return numbers.astype("Int64")
        if column.type == "flag":
            if not set(values.unique()) <= {True, False}:
                raise ValueError("neither true nor false")
            return values.astype(bool)
        return pd.to_numeric(values).astype("float64")
    except (ValueError, TypeError) as error:
        faults.add(f"{name}.{column.name}", str(error), f"{column.type} {column.unit}".strip(), "Correct the values.")
        return values


def build(name: str, rows: list[dict[str, Any]], geometry: list[Any] | None = None, crs: Any = None) -> pd.DataFrame:
    """Return a checked table from row mappings; with geometries it is a GeoDataFrame.

    Parameters
    ----------
    name : str
        Table name.
    rows : list of dict
        Column -> value; optional columns may be left out.
    geometry : list of shapely geometry, optional
        One per row, due where the table carries one.
    crs : pyproj.CRS, optional
        Of the geometries.
    """
    definition = table(name)
    frame = pd.DataFrame({c.name: pd.Series([r.get(c.name) for r in rows], dtype=object) for c in definition.columns})
    if definition.geometry:
        import geopandas as gpd

        frame = gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(list(geometry or []), crs=crs), crs=crs)
    return conform(frame, name)


def empty(name: str, crs: Any = None) -> pd.DataFrame:
    """Return the table without rows, in its types."""
    return _without_rows(name, crs).copy()


@cache
def _without_rows(name: str, crs: Any) -> pd.DataFrame:
    return build(name, [], [], crs)
