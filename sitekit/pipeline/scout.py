"""What divers who looked brought back: read from the returned form, and put in place of the layers where they looked."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.windows import Window

from sitekit.base.files import write_json
from sitekit.errors import InputFault
from sitekit.layers.blocks import run_blocks
from sitekit.layers.cells import Refused, listed
from sitekit.layers.grid import Grid
from sitekit.layers.rows import read_rows
from sitekit.layers.substrate import substrate_codes
from sitekit.layers.tiled import Block, Output
from sitekit.pipeline.fields import RASTERS, raster
from sitekit.pipeline.project import Project
from sitekit.sites.scout import BOTTOM_POINTS, FORM_COLUMNS, Returned, read_forms

APPLIED = f"{RASTERS}/scouted.json"  # what each form changed, for the tables
MACROALGAE = "macroalgae_pct"  # a user's raster of this name takes the cover that was seen


@dataclass(frozen=True)
class FormsRead:
    """The returned forms as read, how the file was understood, rows set aside."""

    forms: list[Returned]
    said: tuple[str, ...] = ()
    refused: tuple[Refused, ...] = ()


def returned_forms(project: Project) -> list[Returned]:
    """Return the forms of `[scout] from`, in the order of its lines; none without the file."""
    return forms_reading(project).forms


def forms_reading(project: Project) -> FormsRead:
    """Return the forms of `[scout] from`, a table of any kind, and how it was understood; nothing without the file.

    Raises
    ------
    InputFault
        Naming every fault of the file.
    """
    scout = project.settings.scout
    if scout.from_file is None:
        return FormsRead([])
    path = project.input(scout.from_file, "scout.from")
    table = read_rows(path, "scout", scout.reading)
    if table.broken and not scout.accept_partial:
        raise InputFault(*listed([r.fault() for r in table.broken], "scout", path.name, len(table.broken)))
    numbers = [n for n in FORM_COLUMNS if n.endswith(("_deg", "_m", "_pct"))]
    table = table.with_points(numbers)
    rows = [dict(zip(table.names, cells, strict=True)) for cells in table.cells]
    wrong: dict[int, str] | None = {} if scout.accept_partial else None
    forms = read_forms(
        rows, [s.code for s in project.settings.site], sorted(substrate_codes()), lines=table.lines, wrong=wrong
    )
    refused = [replace(r, layer="scout") for r in table.broken]
    for line, why in (wrong or {}).items():
        refused.append(Refused("scout", path.name, line, table.text_of(table.lines.index(line)), why))
    return FormsRead(forms, table.said, tuple(refused))


def override_layers(project: Project, grid: Grid, names: set[str]) -> list[str]:
    """Put what was seen in place of the aligned layers; return the files written, with a note of what changed.

    Each look at the bottom counts for the cells nearer to it than half the distance between looks, cover for all five. The
    difference between the depth read and the mapped one is added to the map, whole at the waypoint and falling to nothing
    at the distance of the outer looks, so that no step is made; only where the height of tide was noted with it.

    Parameters
    ----------
    project : Project
        With the rasters of this run written.
    grid : Grid
        The working grid.
    names : set of str
        Names of the aligned rasters.
    """
    forms = returned_forms(project)
    if not forms:
        return []
    turn = Transformer.from_crs("EPSG:4326", grid.crs, always_xy=True)
    step = project.settings.scout.points_m
    codes = substrate_codes()
    changed: dict[int, list[str]] = {f.line: [] for f in forms}
    looks: dict[str, list[tuple[int, float, float, float, float]]] = {}
    for form in (f for f in forms if f.known):
        x, y = turn.transform(form.longitude_deg, form.latitude_deg)
        for point, (east, north) in BOTTOM_POINTS.items():
            at = (float(x + east * step), float(y + north * step))
            if point in form.bottom and "substrate" in names:
                looks.setdefault("substrate", []).append((form.line, *at, step / 2, codes[form.bottom[point]]))
        around = (float(x), float(y), 1.5 * step)
        if form.charted_depth_m is not None:
            looks.setdefault("depth", []).append((form.line, *around[:2], step, form.charted_depth_m))
        if form.macroalgae_pct is not None and f"raster_{MACROALGAE}" in names:
            looks.setdefault(f"raster_{MACROALGAE}", []).append((form.line, *around, form.macroalgae_pct))
    for name, many in sorted(looks.items()):
        counts = _repaint(project, grid, name, many)
        label = name.removeprefix("raster_")
        for line, cells in counts.items():
            changed[line].append(
                f"{label} in {cells} cells" if cells else f"{label}: outside the grid, nothing changed"
            )
    write_json(project.target(APPLIED), {str(k): "; ".join(v) for k, v in changed.items()})
    return [APPLIED]


def applied(project: Project) -> dict[int, str]:
    """Return what each form changed, by the line of the form."""
    path = project.result(APPLIED)
    if not project.settings.scout.from_file or not path.exists():
        return {}
    return {int(k): str(v) for k, v in json.loads(path.read_text("utf-8")).items()}


def _repaint(
    project: Project, grid: Grid, name: str, looks: list[tuple[int, float, float, float, float]]
) -> dict[int, int]:
    """Write a raster again with discs of new values; return the cells changed per line of the form."""
    counts = {look[0]: 0 for look in looks}
    path = raster(project, name)
    whole = name == "substrate"
    beside = path.with_name(f"{path.stem}.scouted.tif")
    mapped = _mapped(path, grid, looks) if name == "depth" else {}

    def block(arrays: Any, part: Block) -> dict[str, NDArray[Any]]:
        values = np.array(arrays["old"])
        x, y = grid.window(part.row, part.col, (part.rows, part.cols)).centres()
        for line, east, north, radius, value in looks:
            off = np.hypot(x[None, :] - east, y[:, None] - north)
            disc = off <= radius
            if name == "depth":
                disc &= np.isfinite(values)
                values[disc] += ((value - mapped[line]) * (1.0 - off[disc] / radius)).astype(values.dtype)
            else:
                values[disc] = value
            counts[line] += int(disc.sum())
        return {"new": values}

    output = (
        Output(beside, "uint8", ((name, ""),), 0)
        if whole
        else Output(beside, "float32", ((name, _unit(project, name)),), float("nan"))
    )
    work: Callable[..., Any] = block
    run_blocks(grid, {"old": path}, {"new": output}, work, threads=1, memory_gb=project.machine.memory_gb)
    beside.replace(path)
    return counts


def _mapped(path: Path, grid: Grid, looks: list[tuple[int, float, float, float, float]]) -> dict[int, float]:
    """Return the mapped depth at each waypoint, by the line of the form; where there is none, what was read."""
    found: dict[int, float] = {}
    with rasterio.open(path) as file:
        for line, east, north, _, value in looks:
            row, col = grid.cell_of(np.array([east]), np.array([north]))
            found[line] = value
            if grid.holds(row, col)[0]:
                cell = float(file.read(1, window=Window(int(col[0]), int(row[0]), 1, 1))[0, 0])
                found[line] = cell if np.isfinite(cell) else value
    return found


def _unit(project: Project, name: str) -> str:
    user = project.settings.layers.rasters.get(name.removeprefix("raster_"))
    return user.units if user is not None else "m"
