"""Responses, exclusions and depths as one deflated block of bytes, small enough to ride in a page."""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.outputs.explore_page.scene import ExploreScene

DEPTH_STEP_M = 0.1
NO_DEPTH = 65535
_LEVEL = 6  # 9 takes four times as long for 1 %


def pack_cells(scene: ExploreScene) -> str:
    """Return the cells as base64 of a zlib stream.

    Returns
    -------
    str
        Planes of bytes: exclusion codes of the whole grid; then depth in steps of 0.1 m of the whole grid; then the codes
        of each response of the cells that are not excluded, row by row. Numbers of two bytes stand as differences from
        the one before (modulo 65536), all low bytes, then all high bytes.
    """
    exclusion = np.ascontiguousarray(scene.exclusion, dtype=np.uint8)
    inside = exclusion == 0
    steps = np.rint(np.nan_to_num(scene.depth.astype(np.float64)) / DEPTH_STEP_M) + 10_000  # land lies above 0
    depth = np.where(np.isnan(scene.depth), NO_DEPTH, np.clip(steps, 0, NO_DEPTH - 1)).astype(np.uint16)
    planes = [exclusion.ravel(), *_differences(depth.ravel())]
    for codes in scene.responses:
        planes += _differences(codes[inside])
    whole = np.concatenate(planes)
    return base64.b64encode(zlib.compress(whole.tobytes(), _LEVEL)).decode("ascii")


def unpack_cells(packed: str, scene: ExploreScene) -> tuple[NDArray[np.uint8], NDArray[np.uint16]]:
    """Return exclusion codes and, per response, the codes of the cells that are not excluded, as the page reads them."""
    data = np.frombuffer(zlib.decompress(base64.b64decode(packed)), dtype=np.uint8)
    cells = scene.exclusion.size
    exclusion = data[:cells]
    n = int((exclusion == 0).sum())
    rest = data[3 * cells :].reshape(-1, 2, n).astype(np.uint16)
    codes: NDArray[np.uint16] = np.cumsum(rest[:, 0] | rest[:, 1] << 8, axis=1, dtype=np.uint16)
    return exclusion.reshape(scene.exclusion.shape), codes


def _differences(values: NDArray[np.uint16]) -> list[NDArray[np.uint8]]:
    steps = np.diff(values, prepend=np.uint16(0)).astype(np.uint16)
    return [(steps & 255).astype(np.uint8), (steps >> 8).astype(np.uint8)]


def outlines(scene: ExploreScene) -> dict[str, Any]:
    """Return candidates and sites in cells from the north-west corner, for drawing."""
    west, _, _, north = scene.grid.bounds
    cell = scene.grid.cell

    def places(points: Any) -> list[float]:
        xy = np.asarray(points, dtype=np.float64)[:, :2]
        return [round(float(v), 2) for v in np.stack([(xy[:, 0] - west) / cell, (north - xy[:, 1]) / cell], 1).ravel()]

    found: dict[str, Any] = {"candidates": [], "sites": []}
    if scene.candidates is not None:
        for name, shape in zip(scene.candidates["candidate"], scene.candidates.geometry, strict=True):
            parts = [p for p in getattr(shape, "geoms", [shape]) if p.geom_type == "Polygon"]
            rings = [places(r.coords) for p in parts for r in (p.exterior, *p.interiors)]
            found["candidates"].append([name, rings])
    if scene.sites is not None:
        for name, coded, point in zip(
            scene.sites["site"], scene.sites["coded"], scene.sites.geometry.representative_point(), strict=True
        ):
            found["sites"].append([name, bool(coded), *places([(point.x, point.y)])])
    return found
