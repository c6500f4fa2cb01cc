"""Graticule, contours, areas and their names on one map; labels give way to one another, numbers of corners never do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from sitekit.base.crs import transform_points
from sitekit.base.notation import Axis, angle_text
from sitekit.base.wording import length_unit, say
from sitekit.layers.grid import Grid
from sitekit.outputs.map_html.contours import contour_lines
from sitekit.outputs.paper.pen import Align, Box, Pen, around
from sitekit.outputs.permit_pdf.packet import Sea, rows_of
from sitekit.outputs.permit_pdf.symbols import (
    CONSTRAINTS,
    INKS,
    PROTECTED,
    Draw,
    area_swatch,
    constraint,
    constraint_ink,
    line_swatch,
)
from sitekit.outputs.permit_pdf.symbols import protected_area as draw_protected
from sitekit.outputs.permit_pdf.window import Window

# Steps of a graticule [minutes] with the decimals their labels need.
_STEPS = (
    (0.01, 2), (0.02, 2), (0.05, 2), (0.1, 1), (0.2, 1), (0.5, 1), (1.0, 0), (2.0, 0), (5.0, 0), (10.0, 0),
    (30.0, 0), (60.0, 0), (120.0, 0), (300.0, 0), (600.0, 0),
)  # fmt: skip
_INTERVALS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
MOST_CONTOURS = 9
NAME_PT = 6.5  # letters of names on a map: smaller ones run together in a copy at 100 dpi (looked at)
Legend = list[tuple[str, Draw]]


# What a name should not cut, in points: the first of them that leaves it a place is heeded.
Off = Sequence[Any]
Label = tuple[Any, float, Axis, int]  # line on the sheet, degrees, axis, decimals of a minute


def graticule(pen: Pen, window: Window, crs: CRS, datum: CRS) -> list[Label]:
    """Draw meridians and parallels of the office's datum; return what `label_graticule` prints."""
    found: list[Label] = []
    west, south, east, north = window.degrees(crs, datum)
    for axis, low, high in (("lon", west, east), ("lat", south, north)):
        step, decimals = next((s for s in _STEPS if (high - low) * 60 / s[0] <= 4.5), _STEPS[-1])
        for k in range(math.ceil(low * 60 / step), math.floor(high * 60 / step) + 1):
            value = k * step / 60
            across = np.linspace(south, north, 17) if axis == "lon" else np.linspace(west, east, 17)
            fixed = np.full(17, value)
            lon, lat = (fixed, across) if axis == "lon" else (across, fixed)
            x, y = transform_points((lon + 180.0) % 360.0 - 180.0, lat, datum, crs)
            line = window.shape(shapely.LineString(np.column_stack([x, y])))
            if line.is_empty or line.geom_type != "LineString":
                continue
            pen.line(shapely.get_coordinates(line), 0.4, "dotted")
            found.append((line, value, "lon" if axis == "lon" else "lat", decimals))
    return found


def label_graticule(pen: Pen, window: Window, labels: Sequence[Label]) -> None:
    """Print the values of meridians and parallels inside the map's edge, where they are free."""
    for line, value, axis, decimals in labels:
        _graticule_label(pen, window, line, value, axis, decimals)


def _graticule_label(pen: Pen, window: Window, line: Any, value: float, axis: Axis, decimals: int) -> None:
    shown = (value + 180.0) % 360.0 - 180.0 if axis == "lon" else value
    text = angle_text(round(shown, 9), axis, "DDM", decimals)
    left, bottom, right, top = window.box
    xy = shapely.get_coordinates(line)
    if axis == "lon":
        x = float(xy[np.argmin(xy[:, 1]), 0])
        places: list[tuple[float, float, Align]] = [(x, bottom + 3, "centre"), (x, top - 9, "centre")]
    else:
        y = float(xy[np.argmin(xy[:, 0]), 1]) - 2.2
        places = [(left + 3, y, "left"), (right - 3, y, "right")]
    pen.try_text(places, text, NAME_PT, inside=window.box)


def contours(pen: Pen, window: Window, sea: Sea | None) -> tuple[float, list[tuple[float, Any]]]:
    """Draw depth contours; return their interval, 0 where there are none, and what `label_contours` prints.

    Both are in the unit of lengths in force.
    """
    part = None if sea is None else _seen(sea, window)
    if part is None or not np.isfinite(part.depth).any():
        return 0.0, []
    per = length_unit()[1]
    span = float(np.nanmax(part.depth) - np.nanmin(part.depth)) / per
    interval = next((i for i in _INTERVALS if span / i <= MOST_CONTOURS), _INTERVALS[-1])
    found = contour_lines(part.depth, part.grid, interval * per)
    if not found:
        return interval, []
    cut = shapely.intersection(np.array([line for _, line in found]), shapely.box(*window.ground))
    pieces, of = shapely.get_parts(shapely.transform(cut, window.points), return_index=True)
    kept = (shapely.get_type_id(pieces) == shapely.GeometryType.LINESTRING) & (shapely.length(pieces) >= 6)
    labels: list[tuple[float, Any]] = []
    for k, thin, piece in zip(of[kept], shapely.simplify(pieces[kept], 0.15), pieces[kept], strict=True):
        depth = round(found[k][0] / per, 6)
        pen.line(shapely.get_coordinates(thin), 0.6 if round(depth / interval) % 5 == 0 else 0.35)
        labels.append((depth, piece))
    return interval, labels


def label_contours(pen: Pen, window: Window, labels: Sequence[tuple[float, Any]], off: Off = ()) -> None:
    """Print depths on contours, longest first, where they are free and cut nothing of the first of `off`."""
    for depth, part in sorted(labels, key=lambda item: -item[1].length):
        if part.length > 45:
            _along(pen, window, part, f"{depth:g}", NAME_PT, next(iter(off), None))


def _seen(sea: Sea, window: Window) -> Sea | None:
    """The depths of a window and of two cells round it, so that contours run on to its edge."""
    west, south, east, north = window.ground
    room = 2 * sea.grid.cell
    x, y = sea.grid.centres()
    cols = np.flatnonzero((x >= west - room) & (x <= east + room))
    rows = np.flatnonzero((y >= south - room) & (y <= north + room))
    if not len(cols) or not len(rows):
        return None
    top, left = int(rows[0]), int(cols[0])
    depth = sea.depth[top : rows[-1] + 1, left : cols[-1] + 1]
    grid = sea.grid
    origin = (grid.west + left * grid.cell, grid.north - top * grid.cell)
    return Sea(depth, Grid(grid.crs, *origin, grid.cell, (len(rows), len(cols))))


def _along(pen: Pen, window: Window, line: Any, text: str, size: float, off: Any) -> None:
    """Label a line once, where it is free: in its middle first."""
    places: list[tuple[float, float, Align]] = []
    for share in (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9):
        spot = line.interpolate(share, normalized=True)
        places.append((spot.x, spot.y - 0.35 * size, "centre"))
    pen.try_text(places, text, size, inside=window.box, pad=2.0, off=off)


def protected(pen: Pen, window: Window, frame: gpd.GeoDataFrame | None) -> tuple[Legend, list[tuple[Any, str]]]:
    """Draw the protected areas; return legend and names to print on the map."""
    items: Legend = []
    names: list[tuple[Any, str]] = []
    if frame is None:
        return items, names
    ground = shapely.box(*window.ground)
    for row in rows_of(frame):
        if not row.geometry.intersects(ground):
            continue
        inside = _polygons(row.geometry.intersection(ground))
        border = row.geometry.boundary.intersection(ground)
        draw_protected(pen, window.shape(inside), window.shape(border, clip=False), row.rule)
        whole = row.geometry.covers(ground)
        rule = say(f"permit.rule_{row.rule}")
        name, style, weight = PROTECTED[row.rule]
        named = say("permit.area_rule", name=row.name, rule=say("permit.whole_map", rule=rule) if whole else rule)
        items.append((named, area_swatch(name, style, weight, INKS[row.rule])))
        if not whole:
            names.append((inside, str(row.name)))
    return items, names


def constraints(pen: Pen, window: Window, frame: gpd.GeoDataFrame | None) -> tuple[Legend, list[tuple[Any, str]]]:
    """Draw seagrass, heritage, cables and the like; return legend and names to print on the map."""
    items: Legend = []
    names: list[tuple[Any, str]] = []
    if frame is None:
        return items, names
    ground = shapely.box(*window.ground)
    keys = list(dict.fromkeys(frame["constraint"].tolist()))
    shown = set()
    for row in rows_of(frame):
        if not row.geometry.intersects(ground):
            continue
        inside = row.geometry.intersection(ground)
        border = row.geometry.boundary.intersection(ground)
        place = keys.index(row.constraint)
        constraint(pen, window.shape(inside), window.shape(border, clip=False), place)
        if row.constraint not in shown:
            hatch_name, style = CONSTRAINTS[place % len(CONSTRAINTS)]
            ink = constraint_ink(place)
            area = "Polygon" in row.geometry.geom_type
            items.append(
                (str(row.label), area_swatch(hatch_name, style, 0.6, ink) if area else line_swatch(style, 1.1, ink))
            )
            shown.add(row.constraint)
        names.append((inside, str(row.label)))
    return items, names


def name_areas(pen: Pen, window: Window, names: Sequence[tuple[Any, str]], off: Off = ()) -> None:
    """Print names of areas where there is room for them and no outline is cut; borders of areas only if need be."""
    outlines = off[-1] if off else None
    borders = shapely.union_all(
        [shapely.transform(shapely.boundary(inside), window.points) for inside, _ in names] + [outlines or None]
    )
    done: set[str] = set()
    for inside, name in sorted(names, key=lambda n: -n[0].area):
        if name in done:
            continue
        spots = [inside.representative_point(), inside.centroid]
        spots += [p.representative_point() for p in shapely.get_parts(inside)[:3]]
        places: list[tuple[float, float, Align]] = []
        for spot in spots:
            x, y = window.points([(spot.x, spot.y)])[0]
            places += [(x + dx, y + dy, "centre") for dx in (0.0, -30.0, 30.0) for dy in (0.0, 9.0, -9.0, 18.0, -18.0)]
        for lines in (borders, outlines):
            if pen.try_text(places, name, NAME_PT, inside=_shrunk(window.box), pad=1.5, off=lines):
                done.add(name)
                break


def numbered(
    pen: Pen, x: float, y: float, text: str, size: float, inside: Box, *, bold: bool = True, off: Off = (),
    clear: float = 0.0,
) -> Box | None:  # fmt: skip
    """Print a label beside a point; where it is crowded it moves off with a leader line.

    `clear` is the radius [pt] of what it names.
    """
    for lines in (*off, None):
        for gap in (4.0, 9.0, 16.0, 25.0, 36.0, 50.0, 70.0)[: 4 if lines is not None else None]:
            box = pen.try_text(_ring(x, y, gap + clear, size), text, size, bold=bold, inside=inside, pad=0.8, off=lines)
            if box is not None:
                if gap > 6:
                    end = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
                    pen.line([(x, y), end], 0.3)
                return box
    return None


def _ring(x: float, y: float, gap: float, size: float) -> Iterator[tuple[float, float, Align]]:
    yield from around(x, y, gap, size)
    if gap > 6:
        for k in range(16):
            turn = 2 * math.pi * (k + 0.5) / 16
            dx, dy = math.cos(turn), math.sin(turn)
            yield x + gap * dx, y + gap * dy - 0.35 * size, "left" if dx > 0.3 else "right" if dx < -0.3 else "centre"


def _shrunk(box: Box) -> Box:
    return box[0] + 2, box[1] + 2, box[2] - 2, box[3] - 2


def _polygons(shape: Any) -> Any:
    return shapely.MultiPolygon([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])
