"""A first look at a raster: place, cells, values, sign; bottom types where its values are few whole numbers."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from sitekit.base.crs import name_of
from sitekit.errors import Fault, FileFault, InputFault
from sitekit.layers.aligned import Seen as Watched
from sitekit.layers.aligned import refuse_hidden_gaps
from sitekit.layers.source_raster import SourceRaster, open_source
from sitekit.pipeline.draft_roles import role_of_name
from sitekit.pipeline.draft_seen import DATUM, Seen, asked, listing, place, plain, proposed

_WHOLE = 4_000_000  # cells read in full; of larger rasters a sample
_WINDOWS, _SIDE = 24, 64  # per side of a sample, cells per side of each window
_MOST_CLASSES = 40
_METRE_WORDS = {"m": "m", "metre": "m", "meter": "m", "metres": "m", "meters": "m", "ft": "ft", "foot": "ft",
                "feet": "ft", "us survey foot": "ft", "fathom": "fathom", "fathoms": "fathom"}  # fmt: skip
_STAND_IN = "EPSG:4326"  # only to open a raster without a system; its place is not told then


def look_at_raster(path: Path) -> list[Seen]:
    """Return what a raster shows, one entry per variable.

    Raises
    ------
    FileFault
        If it cannot be read.
    InputFault
        If it has no place.
    """
    count, kind, names = _opened(path)
    if count >= 3 and kind == "uint8":
        one = Seen(
            path, "picture", [f"picture of {count} bands of 8 bits"], role="layers.picture", why="three 8-bit bands"
        )
        return [one]
    return [_look(path, name if len(names) > 1 else None, count) for name in (names or [""])]


def _opened(path: Path) -> tuple[int, str, list[str]]:
    """Bands, type of the first, names of the variables where there are any."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # told later
            with rasterio.open(path) as file:
                names = [s.rsplit(":", 1)[-1].strip('"') for s in file.subdatasets] if file.count == 0 else []
                return file.count, file.dtypes[0] if file.count else "", names
    except RasterioError as error:
        due = "a raster that GDAL reads"
        raise FileFault(Fault(path.name, f"cannot be read ({plain(error)})", due, "Check that it is whole.")) from error


def _look(path: Path, variable: str | None, count: int) -> Seen:
    one = Seen(path, "raster")
    crs: str | None = None
    try:
        with open_source(path, variable=variable):
            pass
    except InputFault as error:
        if not any("no coordinate system" in f.came for f in error.faults) or len(error.faults) > 1:
            raise
        crs = _STAND_IN
    with open_source(path, variable=variable, crs=crs) as source:
        _where(one, source, known=crs is None)
        values, whole = _sample(source)
        stored = np.dtype(source.file.dtypes[source.band - 1])
        unit = str(source.file.units[source.band - 1] or source.file.tags(source.band).get("units", "")).strip()
    one.facts["variable"] = variable
    held = values[np.isfinite(values)]
    if not held.size:
        raise InputFault(Fault(path.name, "holds no value", "cells with values", "Check its nodata value."))
    spare = np.isfinite(values).mean()
    sample = "" if whole else f" in a sample of {values.size:,} cells"
    one.said.append(f"{held.min():g} to {held.max():g}{sample}; {100 * (1 - spare):.0f} % of the cells have no value")
    different = np.unique(held)
    named = role_of_name(f"{path.stem} {variable or ''}")
    few = different.size <= _MOST_CLASSES and bool((different == np.round(different)).all())
    if few and stored.kind in "iu" and named != "layers.bathymetry" and different.min() >= 0:
        _classes(one, different, whole=whole)
    else:
        _continuous(one, held, named, unit)
    _gaps(one, path, values)
    if variable is not None:
        one.lines.insert(0, proposed("variable", variable))
    if count > 1:
        one.unknown.append(f"which of its {count} bands is meant: 1 was looked at")
        one.lines.append(proposed("band", 1, f"asked: is band 1 of {count} the one that is meant?"))
    if crs is not None:
        one.unknown.append("its coordinate system")
        one.lines.insert(0, asked("crs", 'system of its coordinates, such as "EPSG:32620"'))
    return one


def _where(one: Seen, source: SourceRaster, *, known: bool) -> None:
    high, wide = source.file.height, source.file.width
    west, south, east, north = source.corners
    if not known:
        one.said.append(f"{high} × {wide} cells, {west:g} to {east:g}, {south:g} to {north:g}; no system stated")
        return
    size = source.resolution_m((west + east) / 2, (south + north) / 2)
    one.extent = source.extent
    one.facts["cell_m"] = max(size)
    if not one.facts.get("variable") and source.file.count == 1:
        one.facts["crs"] = source.crs
    one.said.append(
        f"{high} × {wide} cells of {size[0]:.3g} × {size[1]:.3g} m, {name_of(source.crs)}, {place(source.extent)}"
    )


def _sample(source: SourceRaster) -> tuple[NDArray[np.float64], bool]:
    """All values, or those of windows spread evenly over a large raster."""
    high, wide = source.file.height, source.file.width
    if high * wide <= _WHOLE:
        return source.read(0, 0, high, wide), True
    rows = np.linspace(0, max(high - _SIDE, 0), _WINDOWS).astype(int)
    cols = np.linspace(0, max(wide - _SIDE, 0), _WINDOWS).astype(int)
    parts = [source.read(int(r), int(c), min(_SIDE, high), min(_SIDE, wide)) for r in rows for c in cols]
    return np.concatenate([p.ravel() for p in parts]), False


def _classes(one: Seen, different: NDArray[np.float64], *, whole: bool) -> None:
    numbers = [f"{v:g}" for v in different]
    one.said.append(f"whole numbers {listing(numbers, _MOST_CLASSES)}")
    one.role, one.why = "layers.substrate", f"{len(numbers)} different whole numbers"
    one.unknown.append("what each number stands for" + ("" if whole else ", and whether there are more numbers"))
    one.facts["classes"] = dict.fromkeys(numbers, "")


def _continuous(one: Seen, held: NDArray[np.float64], named: str, unit: str) -> None:
    below = float((held < 0).mean())
    fits = "elevation" if below > 0.5 else "depth"
    reason = f"{100 * below:.0f} % of the values are negative, which fits {fits!r}"
    if 0.0 < below < 1.0 and min(below, 1 - below) > 0.3:
        reason += " poorly: both signs are common"
    told = _METRE_WORDS.get(unit.lower())
    if named not in ("", "layers.bathymetry"):
        one.role, one.why = "", ""
        one.said.append(f"its name speaks for {named}, its values do not")
    elif named or _deep(held):
        one.role, one.why = "layers.bathymetry", "the name of the file" if named else "values like depths"
    if one.role:
        one.said.append(f"sign: {reason}")
        one.lines.append(asked("sign", f'"elevation" (sea floor negative) or "depth" (positive down)? {reason}'))
        if told:
            one.lines.append(proposed("units", told, f"the file says {unit}"))
        else:
            one.lines.append(asked("units", '"m", "ft" or "fathom"?'))
        one.lines.append(asked("datum", DATUM))
        one.lines.append(asked("depth_error_m", "error of the depths as its surveyor states it [m]"))
        one.unknown += ["its vertical datum", "the error of its depths"] + ([] if told else ["its unit"])
        one.facts["lowest"], one.facts["highest"] = float(held.min()), float(held.max())
        return
    one.unknown.append("what its values are" + (f" (unit {unit!r})" if unit else ""))
    one.role, one.why = "layers.rasters", "a raster that is neither depths nor classes"
    one.lines += [asked("label", "what does it show?"),
                  proposed("units", unit, "the file says so") if unit else asked("units", "unit of its values"),
                  asked("source", "where is it from?")]  # fmt: skip


def _deep(held: NDArray[np.float64]) -> bool:
    """Whether values may be depths or heights around a reef: most within 200 of zero, not all of one share 0-1."""
    middle = float(np.median(np.abs(held)))
    return 1.0 < middle < 200.0


def _gaps(one: Seen, path: Path, values: NDArray[np.float64]) -> None:
    watched = Watched()
    watched.watch(values)
    try:
        refuse_hidden_gaps(path.name, watched)
    except InputFault as error:
        fault = error.faults[0]
        value: Any = fault.do.rsplit("=", 1)[1].strip(" .")
        one.unknown.append(f"it {fault.came}")
        one.lines.append(proposed("nodata", float(value), f"it {fault.came}: delete this line if that is a real value"))
