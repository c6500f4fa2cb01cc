"""Shape of the bottom: slope, aspect, ruggedness and position index of a depth raster.

Bit-exact over blocks: slope and aspect look at 3 × 3 cells only; sums over larger windows are sums of integers (depth
in units of 0.1 mm, unit normals in units of 2⁻ᵏ), so that their order does not matter. Where the sum over a window fits
in 32 bits the 32-bit kernel runs, else the 64-bit one; both give the same integers.

No answer (NaN) where the window leaves the data or touches a gap: a one-sided window would read a slope as a crest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.errors import Faults
from sitekit.seabed.gradient import slope_aspect
from sitekit.seabed.position import position_index
from sitekit.seabed.ruggedness import vector_ruggedness
from sitekit.seabed.windows import disc_half_widths, disc_size

FIELDS = ("slope_deg", "aspect_deg", "ruggedness", "position_index_m")
# Deeper than any sea floor (10,935 m, Challenger Deep, recalled); keeps depths in 0.1 mm inside 32 bits.
GREATEST_DEPTH_M = 12_000.0
MOST_RADIUS_CELLS = 2_000  # keeps the number of cells in a window below 2²⁴

Depths = NDArray[np.float32]


def terrain(
    depth_m: Depths,
    cell_m: float,
    *,
    inner_m: float,
    outer_m: float,
    ruggedness_radius_m: float,
    halo: int = 0,
    fields: Sequence[str] = FIELDS,
) -> dict[str, NDArray[np.float32]]:
    """Slope, aspect, ruggedness and position index of a bottom.

    Parameters
    ----------
    depth_m : array of float32, shape (rows, columns)
        Depth [m], positive down, row 0 in the north; NaN = gap.
    cell_m : float
        Side of a cell [m], > 0.
    inner_m, outer_m : float
        Radii of the ring for the position index [m], 0 ≤ inner < outer: cells whose centres lie at inner ≤ distance
        ≤ outer are averaged.
    ruggedness_radius_m : float
        Radius of the disc for ruggedness [m]; 1.5 cells is the 3 × 3 window of the paper.
    halo : int
        Rows and columns on each side that serve as neighbours only; the result is smaller by twice that number.
    fields : sequence of str
        Which of `FIELDS` to compute.

    Returns
    -------
    dict of str to array of float32, shape (rows − 2 halo, columns − 2 halo)
        `slope_deg` 0–90; `aspect_deg` 0 ≤ value < 360, compass direction of steepest descent of the bottom, NaN on
        level cells; `ruggedness` 0–1, no unit; `position_index_m` [m], positive on crests, negative in hollows.

    Raises
    ------
    InputFault
        If a size is not positive, a window is too wide, the ring is empty, or a depth cannot be a depth.

    Notes
    -----
    Slope and aspect: gradient from eight neighbours (Horn 1981, Proc. IEEE 69, weights 1-2-1). The centre itself must
    be known. Ruggedness: 1 − |Σ n| / N over unit normals n (Sappington, Longshore & Thompson 2007, J. Wildl. Manage.
    71); level cells enter as (0, 0, 1). Position index: mean depth of the ring minus depth of the cell (Weiss 2001;
    Lundblad et al. 2006, Marine Geodesy 29, with depth positive down, hence the turned sign).

    Examples
    --------
    >>> import numpy as np
    >>> east = np.arange(7, dtype=np.float32) * np.ones((7, 1), np.float32)   # 1 m deeper with each metre east
    >>> out = terrain(east, 1.0, inner_m=1.0, outer_m=2.0, ruggedness_radius_m=1.5)
    >>> float(out["slope_deg"][3, 3]), float(out["aspect_deg"][3, 3]), float(out["position_index_m"][3, 3])
    (45.0, 90.0, 0.0)
    >>> bool(np.isnan(out["slope_deg"][0, 0]))
    True
    """
    _check(depth_m, cell_m, (inner_m, outer_m, ruggedness_radius_m), fields)
    need = terrain_halo(cell_m, outer_m=outer_m, ruggedness_radius_m=ruggedness_radius_m, fields=fields)
    if halo < need:
        depth_m = np.pad(depth_m, need - halo, constant_values=np.nan)
    padded = np.ascontiguousarray(depth_m, dtype=np.float32)
    edge = max(halo, need)
    rows, cols = padded.shape[0] - 2 * edge, padded.shape[1] - 2 * edge
    gaps, low, high = _range(padded)
    if high > GREATEST_DEPTH_M or low < -GREATEST_DEPTH_M:
        with Faults() as faults:
            worst = high if high > GREATEST_DEPTH_M else low
            faults.add(
                "depth",
                f"{worst:g} m",
                f"between −{GREATEST_DEPTH_M:g} and {GREATEST_DEPTH_M:g} m",
                "State the layer's `nodata` value, or correct its `units`.",
            )
    out = {name: np.empty((rows, cols), np.float32) for name in fields}
    nothing = np.empty((0, 0), np.float32)
    if "slope_deg" in out or "aspect_deg" in out:
        slope_aspect(padded, cell_m, edge, out.get("slope_deg", nothing), out.get("aspect_deg", nothing))
    if "ruggedness" in out:
        widths = disc_half_widths(ruggedness_radius_m / cell_m)
        vector_ruggedness(padded, (cell_m, edge, bool(gaps)), widths, out["ruggedness"])
    if "position_index_m" in out:
        outer = disc_half_widths(outer_m / cell_m)
        inner = disc_half_widths(inner_m / cell_m, open_disc=True)
        position_index(padded, (edge, bool(gaps), low, high), outer, inner, out["position_index_m"])
    return out


def terrain_halo(cell_m: float, *, outer_m: float, ruggedness_radius_m: float, fields: Sequence[str] = FIELDS) -> int:
    """Cells a block must see beyond its border on each side.

    Parameters
    ----------
    cell_m, outer_m, ruggedness_radius_m, fields
        As in `terrain`.

    Returns
    -------
    int
        1 for slope and aspect alone; one more than the disc for ruggedness; the disc for the position index.
    """
    need = 1
    if "ruggedness" in fields:
        need = max(need, len(disc_half_widths(ruggedness_radius_m / cell_m)))
    if "position_index_m" in fields:
        need = max(need, len(disc_half_widths(outer_m / cell_m)) - 1)
    return need


def _check(depth_m: Depths, cell_m: float, radii_m: tuple[float, float, float], fields: Sequence[str]) -> None:
    inner_m, outer_m, ruggedness_radius_m = radii_m
    with Faults() as faults:
        if depth_m.ndim != 2 or depth_m.dtype != np.float32:
            faults.add("depth", f"{depth_m.dtype} array of {depth_m.ndim} axes", "float32, two axes", "Convert it.")
        if not (math.isfinite(cell_m) and cell_m > 0):
            faults.add("cell_m", f"{cell_m}", "a number above 0 [m]", "Set plan.cell_m.")
        elif not (0 <= inner_m < outer_m and ruggedness_radius_m >= 0):
            faults.add(
                "terrain",
                f"inner {inner_m}, outer {outer_m}, ruggedness radius {ruggedness_radius_m} m",
                "0 ≤ inner < outer, radius ≥ 0",
                "Correct [terrain].",
            )
        elif max(outer_m, ruggedness_radius_m) > MOST_RADIUS_CELLS * cell_m:
            faults.add(
                "terrain",
                f"a radius of {max(outer_m, ruggedness_radius_m):g} m on cells of {cell_m:g} m",
                f"at most {MOST_RADIUS_CELLS} cells",
                "Use a smaller radius or larger cells.",
            )
        elif not _ring_size(outer_m / cell_m, inner_m / cell_m):
            faults.add(
                "terrain.position_outer_m",
                f"no cell lies between {inner_m:g} and {outer_m:g} m on cells of {cell_m:g} m",
                "a ring that holds a cell",
                "Widen the ring.",
            )
        for name in fields:
            if name not in FIELDS:
                faults.add("fields", name, ", ".join(FIELDS), "Name a terrain field.")


def _ring_size(outer_cells: float, inner_cells: float) -> int:
    return disc_size(disc_half_widths(outer_cells)) - disc_size(disc_half_widths(inner_cells, open_disc=True))


@compiled
def _range(depth: Depths) -> tuple[int, float, float]:
    gaps, low, high = 0, np.inf, -np.inf
    for i in range(depth.shape[0]):
        for z in depth[i]:
            gaps += np.isnan(z)
            low = z if z < low else low
            high = z if z > high else high
    return gaps, low, high
