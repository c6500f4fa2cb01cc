"""What changed since an earlier packet: names kept where the ground is the same; corners, areas, counts, one row each."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS

from sitekit.errors import Fault, FileFault
from sitekit.pipeline.project import Project
from sitekit.pipeline.work_outlines import Outline, letters

Row = dict[str, Any]
WHOLE = "all work areas"
_COUNTS = (("area_m2", "area [m²]", "{:,.0f}"), ("plots", "plots", "{:.0f}"), ("units", "units", "{:.0f}"),
           ("fragments", "fragments", "{:.0f}"))  # fmt: skip


def earlier_season(project: Project) -> Path | None:
    """Return the season of the earlier packet that the first permit amends; None where it amends none."""
    permit = project.settings.permit[0] if project.settings.permit else None
    return project.input(permit.amends, "permit[1].amends") if permit and permit.amends else None


def earlier_areas(path: Path, crs: CRS) -> gpd.GeoDataFrame:
    """Return the work areas of an earlier season in the working system.

    Raises
    ------
    FileFault
        If the file is no season, or one made before work areas were drawn.
    """
    frame: Any = _layer(path, "work_areas")
    if not len(frame):
        raise FileFault(
            Fault("permit[1].amends", f"{path.name} has no work areas", "the season.gpkg of a packet", "Give that one.")
        )
    return frame.to_crs(crs)


def with_earlier_names(outlines: Sequence[Outline], earlier: gpd.GeoDataFrame) -> list[Outline]:
    """Return the work areas under the names that the earlier packet gave the same ground, in the order of their names.

    An office that knows `OT-C` must find it again as `OT-C`. Of each site the pair that shares most ground is named first;
    an area that shares none takes the first letter after all earlier ones.
    """
    found: list[Outline] = []
    for site in dict.fromkeys(o.site for o in outlines):
        own = [o for o in outlines if o.site == site]
        old = earlier[earlier["site"] == site]
        names, shapes = old["work_area"].tolist(), old.geometry.to_numpy()
        shared = sorted(
            (-float(o.shape.intersection(shape).area), k, j)
            for k, o in enumerate(own)
            for j, shape in enumerate(shapes)
            if o.shape.intersects(shape)
        )
        given: dict[int, str] = {}
        for _, k, j in shared:
            if k not in given and names[j] not in given.values():
                given[k] = names[j]
        free = (n for place in range(len(names) + len(own)) if (n := f"{site}-{letters(place)}") not in names)
        named = [dataclasses.replace(o, name=given[k] if k in given else next(free)) for k, o in enumerate(own)]
        found += sorted(named, key=lambda o: (len(o.name), o.name))
    return found


def _layer(path: Path, name: str) -> Any:
    try:
        return pyogrio.read_dataframe(path, layer=name)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise FileFault(
            Fault("permit[1].amends", f"{path.name} cannot be read: {error}", "the season.gpkg of a packet",
                  "Copy it into the project and name it.")
        ) from error  # fmt: skip


def amendment_rows(path: Path, tables: dict[str, pd.DataFrame], crs: CRS) -> list[Row]:
    """Return the rows of `amendments`: what the earlier packet said, what this one says; equal facts are left out."""
    old_areas, old_corners = earlier_areas(path, crs), _layer(path, "corners")
    areas, corners = tables["work_areas"], tables["corners"]
    old_names, new_names = old_areas["work_area"].tolist(), areas["work_area"].tolist()
    rows: list[Row] = []
    for name in [*new_names, *(n for n in old_names if n not in new_names)]:
        before, now = old_areas[old_areas["work_area"] == name], areas[areas["work_area"] == name]
        if not len(before) or not len(now):
            gone = not len(now)
            rows.append(
                {
                    "work_area": name,
                    "what": "work area",
                    "old": f"{float(before['area_m2'].iloc[0]):,.0f} m²" if gone else "none",
                    "new": "withdrawn" if gone else f"{float(now['area_m2'].iloc[0]):,.0f} m²",
                }
            )
        if len(now) and len(before):
            rows += _changed(name, before.iloc[0], now.iloc[0])
            rows += _corners(name, old_corners, corners)
    rows += _totals(_layer(path, "colonies"), tables["colonies"])
    whole = [f"{float(f['area_m2'].sum()):,.0f}" for f in (old_areas, areas)]
    if whole[0] != whole[1]:
        rows.append({"work_area": WHOLE, "what": "area [m²]", "old": whole[0], "new": whole[1]})
    return rows


def _changed(name: str, before: Any, now: Any) -> list[Row]:
    rows = []
    for column, label, form in _COUNTS:
        old, new = form.format(float(before[column])), form.format(float(now[column]))
        if old != new:
            rows.append({"work_area": name, "what": label, "old": old, "new": new})
    return rows


def _corners(name: str, old: pd.DataFrame, new: pd.DataFrame) -> list[Row]:
    def texts(frame: pd.DataFrame) -> list[str]:
        own = frame[frame["work_area"] == name]
        return [f"{a}, {b}" for a, b in zip(own["latitude_minutes"], own["longitude_minutes"], strict=True)]

    before, now = texts(old), texts(new)
    if before == now:
        return []
    most = max(len(before), len(now))
    return [
        {
            "work_area": name,
            "what": f"corner {k + 1}",
            "old": before[k] if k < len(before) else "none",
            "new": now[k] if k < len(now) else "none",
        }
        for k in range(most)
        if k >= len(before) or k >= len(now) or before[k] != now[k]
    ]


def _totals(old: pd.DataFrame, new: pd.DataFrame) -> list[Row]:
    rows = []
    for species in sorted({*old["species"].astype(str), *new["species"].astype(str)}):
        for column, label in (("units", "units"), ("fragments", "fragments")):
            counts = [int(f.loc[f["species"] == species, column].sum()) for f in (old, new)]
            if counts[0] != counts[1]:
                rows.append(
                    {"work_area": WHOLE, "what": f"{label} of {species}", "old": str(counts[0]), "new": str(counts[1])}
                )
    return rows


def changed_outlines(path: Path, areas: gpd.GeoDataFrame, crs: CRS) -> list[tuple[str, Any, Any]]:
    """Return (name, old outline, new outline) of work areas whose outline changed; None where there is none."""
    old = earlier_areas(path, crs)
    before = dict(zip(old["work_area"], old.geometry, strict=True))
    now = dict(zip(areas["work_area"], areas.geometry, strict=True))
    found = []
    for name in [*now, *(n for n in before if n not in now)]:
        a, b = before.get(name), now.get(name)
        if a is None or b is None or float(np.asarray(shapely.hausdorff_distance(a, b))) > 0.05:
            found.append((str(name), a, b))
    return found
