"""Where plots go: rectangles along a tape line, or circles around a pin, robust against the error of the pins.

Rectangles: the best straight shelves of each bearing, of the whole raster and of each reef for itself, and picking by
quality; the best of these is filled up, and room for more is made by moving one at a time. Counts come first, quality
second; with a wanted number, quality first. What stands inside a plot is `slots`' work.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.errors import Fault, Faults, InputFault
from sitekit.layout.keep_off import Standing, close_starts
from sitekit.layout.packing import Reefs, best_plots, most_plots
from sitekit.layout.placing import Placer
from sitekit.layout.shelves import Bottom, rectangle_field, sample_steps, under
from sitekit.layout.tape import TapeLine, direction

Floats = NDArray[np.float64]

# Johnson M.E. et al. 2011, Box 7: 10 genets in a row, 5 rows, 1 m and 2 m apart, arrays 20 m apart; the axis is not
# said, ours is 18 × 4 m because every offset from a tape down the middle is then at most 2 m
# [source key: johnson-2011].
ARRAY_COLUMNS, ARRAY_ROWS = 10, 5
ARRAY_ALONG_M, ARRAY_OFFSET_M = 2.0, 1.0
ARRAY_GAP_M = 20.0
PIN_ERROR_M = 5.0  # design, section 5: a recreational GPS at the surface, a line to the bottom
LEAST_ALLOWED_SHARE = 0.9
BEARINGS_DEG = tuple(float(b) for b in range(0, 180, 15))
EFFORT = 200  # plots taken out and laid anew, per plot
FINE_SAMPLES = 16_000_000  # over all bearings; on larger bottoms the search samples up to a cell apart
MAX_SAMPLES = 400_000_000  # samples over all bearings; refused before memory is taken


@dataclass(frozen=True)
class Plots:
    """Plots found, best quality first.

    Parameters
    ----------
    centre_x_m, centre_y_m : ndarray
        Map position of the middle [m].
    bearing_grid_deg : ndarray
        Of the tape line, clockwise from grid north [°]; 0 for circles.
    length_m, width_m : float
        Along and across the tape line [m]; both the diameter for circles.
    circle : bool
        Whether they are circles.
    allowed_share : ndarray
        Share of the plot on allowed bottom, 0-1, by samples a tenth of the width apart or closer.
    robust_share : ndarray
        Share of copies displaced by up to the pin error that stand on allowed bottom, 0-1.
    score : ndarray
        Mean suitability score of its allowed bottom, 0-1.
    bound : int
        No set of such plots can hold more (area of allowed bottom / least allowed area of a plot).
    """

    centre_x_m: Floats
    centre_y_m: Floats
    bearing_grid_deg: Floats
    length_m: float
    width_m: float
    circle: bool
    allowed_share: Floats
    robust_share: Floats
    score: Floats
    bound: int

    def __len__(self) -> int:
        return int(self.centre_x_m.size)

    def line(self, k: int, along_ratio: float = 1.0, offset_ratio: float = 1.0) -> TapeLine:
        """Return the tape line of plot `k`: down the middle of a rectangle, or a circle's radius line from its pin."""
        s, c = direction(float(self.bearing_grid_deg[k]))
        back = 0.0 if self.circle else 0.5 * self.length_m
        x, y = float(self.centre_x_m[k]) - back * s, float(self.centre_y_m[k]) - back * c
        length = 0.5 * self.length_m if self.circle else self.length_m
        return TapeLine(x, y, float(self.bearing_grid_deg[k]), length, along_ratio, offset_ratio)

    def outline(self, k: int) -> tuple[Floats, Floats]:
        """Return the closed outline of plot `k` [m], counter-clockwise; a circle as 64 points on it."""
        x, y = float(self.centre_x_m[k]), float(self.centre_y_m[k])
        if self.circle:
            turn = np.append(np.arange(64), 0) * (2 * math.pi / 64)
            return x + 0.5 * self.length_m * np.cos(turn), y + 0.5 * self.length_m * np.sin(turn)
        s, c = direction(float(self.bearing_grid_deg[k]))
        u = np.array([-1, -1, 1, 1, -1]) * 0.5 * self.length_m
        v = np.array([-1, 1, 1, -1, -1]) * 0.5 * self.width_m
        return x + u * s + v * c, y + u * c - v * s


class PlotSearch:
    """Rectangular plots on one bottom, sought for one number after another; what bearings offer is worked out once.

    Parameters
    ----------
    bottom : Bottom
        Allowed bottom and score.
    length_m, width_m, gap_m : float
        Plot along and across its tape line, and least distance between two plots [m]; default: the published array.
    bearings_deg : tuple of float
        Grid bearings tried for the tape line, 0 to below 180 [°].
    least_allowed_share : float
        Share of a plot that must be allowed bottom, above 0 to 1.
    pin_error_m : float
        Greatest displacement of a copy [m].
    prefer_robust : bool
        Whether robust plots are preferred (quality = score × robust share, else the score alone).
    least_robust_share : float
        Plots with less are left out, 0-1.
    standing : sequence of Standing
        Outlines that stand already, to keep a gap from.

    Raises
    ------
    InputFault
        If a size is not positive, a share out of range, or the raster too large for the bearings.
    """

    def __init__(
        self,
        bottom: Bottom,
        *,
        length_m: float = (ARRAY_COLUMNS - 1) * ARRAY_ALONG_M,
        width_m: float = (ARRAY_ROWS - 1) * ARRAY_OFFSET_M,
        gap_m: float = ARRAY_GAP_M,
        bearings_deg: tuple[float, ...] = BEARINGS_DEG,
        least_allowed_share: float = LEAST_ALLOWED_SHARE,
        pin_error_m: float = PIN_ERROR_M,
        prefer_robust: bool = True,
        least_robust_share: float = 0.0,
        standing: Sequence[Standing] = (),
    ) -> None:
        _check(bottom, length_m, width_m, gap_m, bearings_deg, least_allowed_share, pin_error_m)
        samples = _samples(bottom, length_m, width_m, bearings_deg, 1.0)
        coarse = max(1.0, math.sqrt(samples / FINE_SAMPLES))
        fields = [
            rectangle_field(
                bottom,
                bearing_grid_deg=b,
                length_m=length_m,
                width_m=width_m,
                least_allowed_share=least_allowed_share,
                pin_error_m=pin_error_m,
                prefer_robust=prefer_robust,
                least_robust_share=least_robust_share,
                coarse=coarse,
            )
            for b in bearings_deg
        ]
        for field in fields:
            close_starts(field, standing, length_m=length_m, width_m=width_m)
        self._bottom, self._size, self._least = bottom, (length_m, width_m), least_allowed_share
        self._bearings = np.asarray(bearings_deg, np.float64)
        self._placer = Placer(
            fields,
            length_m=length_m,
            width_m=width_m,
            gap_m=gap_m,
            bottom=bottom,
            least_allowed_share=least_allowed_share,
        )
        self._reefs = Reefs(bottom, self._placer)

    def find(self, wanted: int | None = None, *, effort: int = EFFORT, seed: int = 0) -> Plots:
        """Return as many plots as fit, or the wanted number of the best.

        Parameters
        ----------
        wanted : int, optional
            Number of plots; None: as many as fit.
        effort : int
            Plots taken out and laid anew, per plot, ≥ 0; fewer where gaps are wide or the bottom is large.
        seed : int
            Of the order in which plots are moved, and where to.

        Returns
        -------
        Plots
            May be empty. The same for the same calls.
        """
        bottom, (length_m, width_m), placer = self._bottom, self._size, self._placer
        if wanted is None:
            chosen = most_plots(self._reefs, placer, effort=effort, seed=seed)
        else:
            chosen = best_plots(self._reefs, placer, wanted, effort=effort, seed=seed)
        turns = placer.turns[chosen[:, 2].astype(np.int64)]
        under_each = [under(placer.ground, x, y, s, c) for (x, y), (s, c) in zip(chosen[:, :2], turns, strict=True)]
        share, score = np.array(under_each).reshape(-1, 2).T
        order = np.lexsort((chosen[:, 0], -chosen[:, 1], -chosen[:, 3]))
        chosen, share, score = chosen[order], share[order], score[order]
        area = float(bottom.allowed.sum()) * bottom.cell_m**2
        return Plots(
            centre_x_m=chosen[:, 0],
            centre_y_m=chosen[:, 1],
            bearing_grid_deg=self._bearings[chosen[:, 2].astype(np.int64)],
            length_m=length_m,
            width_m=width_m,
            circle=False,
            allowed_share=share,
            robust_share=chosen[:, 4],
            score=score,
            bound=math.floor(area / (self._least * length_m * width_m) + 1e-9),
        )


def _samples(bottom: Bottom, length_m: float, width_m: float, bearings_deg: tuple[float, ...], coarse: float) -> float:
    """Return about how many samples the search takes over all bearings: a turned frame is twice the bottom's."""
    along, across = sample_steps(bottom.cell_m, length_m, width_m, coarse)
    return 2 * bottom.allowed.size * bottom.cell_m**2 * along * across / (length_m * width_m) * len(bearings_deg)


def _check(
    bottom: Bottom,
    length_m: float,
    width_m: float,
    gap_m: float,
    bearings_deg: tuple[float, ...],
    least_allowed_share: float,
    pin_error_m: float,
) -> None:
    with Faults() as faults:
        for name, value in (("length_m", length_m), ("width_m", width_m)):
            if not (math.isfinite(value) and value > 0):
                faults.add(f"plots.{name}", f"{value} m", "above 0 m", "Set the plot's size.")
        for name, value in (("gap_m", gap_m), ("pin_error_m", pin_error_m)):
            if not (math.isfinite(value) and value >= 0):
                faults.add(f"plots.{name}", f"{value} m", "0 m or more", "Correct it.")
        if not 0 < least_allowed_share <= 1:
            faults.add("plots.least_allowed_share", f"{least_allowed_share}", "above 0 to 1", "Give a share.")
        if not bearings_deg or not all(0 <= b < 180 for b in bearings_deg):
            faults.add("plots.bearings_deg", f"{bearings_deg}", "one or more from 0 to below 180", "Correct them.")
    if _samples(bottom, length_m, width_m, bearings_deg, math.inf) > MAX_SAMPLES:
        came = f"{bottom.allowed.size} cells on {len(bearings_deg)} bearings"
        raise InputFault(
            Fault("plots", came, f"at most {MAX_SAMPLES} samples", "Look for plots in one candidate at a time.")
        )
