"""Planned colonies packed small: ten bytes each, so that 100,000 of them ride in one page.

Rows are ordered by plot and sequence, so that plots, sequences and tags become runs; positions are whole centimetres.
"""

from __future__ import annotations

import base64
import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.outputs.map_html.mercator import Screen
from sitekit.outputs.map_html.plain_text import plain_text

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

STEP = 0.01  # m; positions, along, offset and depth
WIDE_LIMIT = 50_000  # rows; above it along and offset are left to the dive sheets, to keep the page small
_NONE16 = 65535
_TAIL = re.compile(r"^(.*?)(\d{1,9})$", re.DOTALL)


def pack_colonies(frame: GeoDataFrame | None, screen: Screen) -> dict[str, Any]:
    """Return the colonies for the page.

    Parameters
    ----------
    frame : GeoDataFrame, optional
        Points in the working CRS with `species, genet, tag, sequence, site, plot, depth_m`, and perhaps `along_m`,
        `offset_m`, `fragments`; None means the run places no colonies.
    screen : Screen
        Plane of the page.

    Returns
    -------
    dict
        `count`, `step`, `genets` (species, genet, number), `plots` (site, plot, first row), `tags` (prefix, width,
        first number, rows), `sequences` (first number, rows), `columns` and `data` (base64 of planes of bytes, low byte
        first: east ×3, north ×3, genet ×2, depth ×2 in steps, 65535 for none, then along ×2 and offset ×2 + 32768).

    Notes
    -----
    Three bytes of east and north reach 167 km at 1 cm; wider plans take wider steps, which `step` tells.
    """
    if frame is None or len(frame) == 0:
        return {"given": frame is not None, "count": 0, "genets": [], "plots": [], "tags": [], "sequences": []}
    table = pd.DataFrame({c: frame[c].to_numpy() if c in frame.columns else None for c in _COLUMNS})
    table["x"], table["y"] = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    for column in ("site", "plot", "species", "genet", "tag"):
        table[column] = [plain_text(v) for v in table[column]]
    table["sequence"] = pd.to_numeric(table["sequence"]).fillna(0).astype(np.int64)
    table = table.sort_values(["site", "plot", "sequence", "tag"], kind="stable", ignore_index=True)

    placed = screen.forward(table["x"].to_numpy(), table["y"].to_numpy(), frame.crs) - (screen.west, screen.south)
    low = np.minimum(placed.min(axis=0), 0.0)
    span = float((placed - low).max())
    step = STEP * max(1.0, float(np.ceil(span / (STEP * (2**24 - 1)))))
    steps = np.rint((placed - low) / step).astype(np.int64)
    genets, genet_of = _indexed(table, ["species", "genet"])
    plots, first = _runs_of(table, ["site", "plot"])
    planes = [
        *_bytes(steps[:, 0], 3),
        *_bytes(steps[:, 1], 3),
        *_bytes(genet_of, 2),
        *_bytes(_tall(table["depth_m"]), 2),
    ]
    wide = len(table) <= WIDE_LIMIT and bool(table["along_m"].notna().any())
    if wide:
        planes += [*_bytes(_tall(table["along_m"]), 2), *_bytes(_tall(table["offset_m"], 32768), 2)]
    numbers = np.bincount(genet_of, minlength=len(genets))
    return {
        "given": True,
        "count": len(table),
        "step": step,
        "west": float(low[0]),
        "south": float(low[1]),
        "genets": [[*key, int(n)] for key, n in zip(genets, numbers, strict=True)],
        "plots": [[*key, int(row)] for key, row in zip(plots, first, strict=True)],
        "tags": tag_runs(list(table["tag"])),
        "sequences": _number_runs(table["sequence"].to_numpy()),
        "wide": wide,
        "data": base64.b64encode(np.concatenate(planes).tobytes()).decode("ascii"),
    }


def unpack_places(packed: dict[str, Any]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the eastings and northings [m] from the map's south-west corner that a packed set of colonies holds."""
    count = packed["count"]
    planes = np.frombuffer(base64.b64decode(packed["data"]), dtype=np.uint8).reshape(-1, count).astype(np.int64)
    east, north = (planes[k] + (planes[k + 1] << 8) + (planes[k + 2] << 16) for k in (0, 3))
    return packed["west"] + east * packed["step"], packed["south"] + north * packed["step"]


_COLUMNS = ("species", "genet", "tag", "sequence", "site", "plot", "depth_m", "along_m", "offset_m")


def tag_runs(tags: list[str]) -> list[list[Any]]:
    """Return tags as runs [prefix, digits, first number, rows] that count up by one; a lone text is [text, 0, 0, 1]."""
    runs: list[list[Any]] = []
    for tag in tags:
        match = _TAIL.match(tag)
        if match is None:
            runs.append([tag, 0, 0, 1])
            continue
        prefix, digits = match.groups()
        last = runs[-1] if runs else None
        number = int(digits)
        if last and last[1] == len(digits) and last[0] == prefix and last[2] + last[3] == number:
            last[3] += 1
        else:
            runs.append([prefix, len(digits), number, 1])
    return runs


def _number_runs(numbers: NDArray[np.int64]) -> list[list[int]]:
    starts = np.flatnonzero(np.diff(numbers, prepend=numbers[0] - 2) != 1)
    return [[int(numbers[s]), int(n)] for s, n in zip(starts, np.diff([*starts, len(numbers)]), strict=True)]


def _indexed(table: pd.DataFrame, columns: list[str]) -> tuple[list[tuple[str, ...]], NDArray[np.int64]]:
    keys = list(zip(*(table[c] for c in columns), strict=True))
    order = sorted(set(keys))
    place = {key: i for i, key in enumerate(order)}
    return order, np.array([place[k] for k in keys], dtype=np.int64)


def _runs_of(table: pd.DataFrame, columns: list[str]) -> tuple[list[tuple[str, ...]], list[int]]:
    keys: list[tuple[str, ...]] = []
    first: list[int] = []
    for row, key in enumerate(zip(*(table[c] for c in columns), strict=True)):
        if not keys or keys[-1] != key:
            keys.append(key)
            first.append(row)
    return keys, first


def _tall(values: pd.Series[Any], zero: int = 0) -> NDArray[np.int64]:
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=np.float64)
    steps = np.clip(np.rint(np.nan_to_num(numbers) / STEP) + zero, 0, _NONE16 - 1)
    return np.where(np.isnan(numbers), _NONE16, steps).astype(np.int64)


def _bytes(values: NDArray[np.int64], count: int) -> list[NDArray[np.uint8]]:
    return [((values >> (8 * k)) & 255).astype(np.uint8) for k in range(count)]
