"""Shapes of any kind as somebody drew them (areas, lines, points), in the working system: coastlines, cables, wrecks."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from sitekit.base.crs import datum_note, read_crs
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.vector_file import read_vector


def read_shapes(
    path: Path, *, to_crs: CRS, crs: str | None = None, where: str = "shapes", name_field: str | None = None
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Read areas, lines and points and bring them into a system.

    Parameters
    ----------
    path : Path
        Any vector file: what GDAL reads, a zipped shapefile, GPX, KML, KMZ.
    to_crs : pyproj.CRS
        The working system.
    crs : str, optional
        Where the file does not say.
    where : str
        The layer's name, for messages.
    name_field : str, optional
        Column with names; where it is not given a column `name` is taken, else the row's number.

    Returns
    -------
    GeoDataFrame, tuple of str
        Columns `name`, `line` (row in the file from 1) and geometry, `attrs["source_crs"]` the file's system; and notes.

    Raises
    ------
    FileFault
        If the file is missing or unreadable.
    InputFault
        If it has no shapes, no system, no such column, or lies where the working system cannot reach.
    """
    if not Path(path).is_file():
        raise FileFault(Fault(where, f"{path.name} is missing", "a vector file", "Correct the path."))
    frame, said = read_vector(path, where)
    columns = [c for c in frame.columns if c not in (frame.geometry.name, "line")]
    if name_field is not None and name_field not in columns:
        raise InputFault(
            Fault(
                f"{where}.name_field", f"no column {name_field!r}", "one of " + ", ".join(columns), "Correct the name."
            )
        )
    line = frame["line"].to_numpy(np.int64)
    keep = (frame.geometry.notna() & ~frame.geometry.is_empty).to_numpy(dtype=bool)
    if not keep.any():
        raise InputFault(Fault(where, f"{path.name} holds no shape", "at least one", "Give another file."))
    notes = [*said, *([f"{int((~keep).sum())} rows without a shape left out"] if not keep.all() else [])]
    if crs is not None:
        frame = frame.set_crs(read_crs(crs, f"{where}.crs"), allow_override=True)
    if frame.crs is None:
        raise InputFault(
            Fault(where, f"{path.name} does not say its coordinate system", "a system", "Add `crs`, e.g. EPSG:4326.")
        )
    shift = datum_note(CRS(frame.crs), to_crs, *shapely.get_coordinates(frame.geometry.to_numpy()[keep]).T)
    notes += [f"datum shift: {shift}"] if shift else []
    column = name_field or next((c for c in columns if c.lower() == "name"), None)
    names = [
        str(v).strip() if column and v is not None and str(v).strip() not in ("", "nan", "None") else f"row {n}"
        for v, n in zip(frame[column] if column else [None] * len(frame), line, strict=True)
    ]
    shapes = frame.geometry.to_crs(to_crs).to_numpy()[keep]
    broken = ~shapely.is_valid(shapes)
    if broken.any():
        notes.append(f"{int(broken.sum())} shapes cross themselves: repaired")
        shapes = np.where(broken, shapely.make_valid(shapes), shapes)
    if not np.isfinite(shapely.bounds(shapes)).all() or not bool((np.abs(shapely.bounds(shapes)) < 1e12).all()):
        raise InputFault(
            Fault(where, f"{path.name} lies outside {to_crs.name}", "shapes in the area", "Check axis order and crs.")
        )
    out = gpd.GeoDataFrame(
        {"name": [n for n, k in zip(names, keep, strict=True) if k], "line": line[keep]},
        geometry=list(shapes),
        crs=to_crs,
    )
    out.attrs["source_crs"] = CRS(frame.crs).name
    return out, tuple(notes)
