"""Which rectangles together: as many as fit, or the wanted number of the best.

Candidates come from `placing`; here straight shelves, each reef on its own bearing and picking by quality are played
against each other, so that no answer is worse than picking by quality alone; `exchange` makes room in the best of them.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.layout.exchange import exchanged
from sitekit.layout.placing import Placer
from sitekit.layout.shelves import Bottom, Field
from sitekit.layout.tape import direction

Floats = NDArray[np.float64]

_QUALITY_WEIGHT = 1e-6  # beside a count of 1 per plot: quality decides only between equal counts
_SHAKEN = 0.8  # of the steps: any direction will do; the others look at quality
_PRICES = 12  # halvings of the price per plot
_LOOKED_AT_EACH, _LOOKED_AT_ALL = (
    1.6e7,
    5e9,
)  # starts within reach, all steps per plot and together: beyond it does not pay


def most_plots(reefs: Reefs, placer: Placer, *, effort: int, seed: int) -> Floats:
    """Return as many rectangles as could be fitted, shape (n, 5); quality decides between equal counts.

    Parameters
    ----------
    reefs : Reefs
        Of the bottom and `placer`.
    placer : Placer
        Candidates of all bearings.
    effort : int
        Steps of exchange per rectangle; fewer where gaps are wide or the bottom is large (`_LOOKED_AT_EACH`, `_ALL`).
    seed : int
        Of their order and directions.
    """
    ordered = placer.candidates()
    every, base, weight = len(ordered), 1.0, _QUALITY_WEIGHT
    straight = [placer.shelves(k, base=base, weight=weight) for k in range(len(placer.fields))]
    starts = [np.zeros((0, 5)), reefs.best(base, weight), max(straight, key=_worth)]
    chosen = max((placer.pick(np.concatenate([s, ordered]), most=every) for s in starts), key=_worth)
    most = min(_LOOKED_AT_EACH * len(chosen), _LOOKED_AT_ALL) / placer.starts_in_reach()
    steps = min(effort * len(chosen), int(most))
    return exchanged(placer, chosen, steps=steps, shaken=round(_SHAKEN * steps), draw=np.random.default_rng(seed))


def best_plots(reefs: Reefs, placer: Placer, wanted: int, *, effort: int, seed: int) -> Floats:
    """Return the wanted number of rectangles with the greatest sum of quality found, shape (≤ wanted, 5).

    Parameters
    ----------
    reefs, placer, effort, seed
        As for `most_plots`.
    wanted : int
        ≥ 0.

    Notes
    -----
    A price per plot is raised until no more than `wanted` are worth it; picking by quality is the other answer, and the
    better one is returned. If picking falls short, as many as fit are sought first.
    """
    ordered = placer.candidates()
    if wanted <= 0 or len(ordered) == 0:
        return np.zeros((0, 5))
    best = placer.pick(ordered, most=wanted)
    if len(best) < wanted:
        chosen = most_plots(reefs, placer, effort=effort, seed=seed)
        return chosen[np.argsort(-chosen[:, 3], kind="stable")][:wanted]
    lo, hi = 0.0, float(ordered[0, 3])
    for _ in range(_PRICES):
        price = 0.5 * (lo + hi)
        found = reefs.best(-price, 1.0)
        if len(found) > wanted:
            lo = price
        else:
            hi = price
        trial = found[np.argsort(-found[:, 3], kind="stable")][:wanted]
        trial = placer.pick(ordered, most=wanted, kept=trial)
        if len(trial) == wanted and float(trial[:, 3].sum()) > float(best[:, 3].sum()) + 1e-12:
            best = trial
    return best


def _worth(chosen: Floats) -> tuple[int, float]:
    return len(chosen), float(chosen[:, 3].sum())


class Reefs:
    """Connected parts of a bottom, each planned on its own best bearing.

    Parameters
    ----------
    bottom : Bottom
        Where the fields of `placer` come from.
    placer : Placer
        Its fields are looked at through windows, so that what is closed later is closed here too.
    """

    def __init__(self, bottom: Bottom, placer: Placer) -> None:
        labels, self.number = _reefs(bottom, float(placer.size[2]))
        self.placer = placer
        self.parts: list[tuple[int, int, Placer, NDArray[np.bool_]]] = []  # reef, field, window on it, inside
        half_length, half_width, gap = (float(v) for v in placer.size)
        for k, field in enumerate(placer.fields):
            rows, columns = np.nonzero(field.quality >= 0)
            if rows.size == 0:
                continue
            of = np.zeros(field.quality.shape, np.int32)
            of[rows, columns] = _label_at(bottom, labels, *field.centres(rows, columns))
            for reef, window in enumerate(ndimage.find_objects(of, max_label=self.number), start=1):
                if window is not None:
                    cut = Placer([_cut(field, window)], length_m=2 * half_length, width_m=2 * half_width, gap_m=gap)
                    self.parts.append((reef, k, cut, of[window] == reef))

    def best(self, base: float, weight: float) -> Floats:
        """Return each reef's plots on its best bearing; where those of two come too close, the better stays."""
        best_worth = np.zeros(self.number + 1)
        best_set: list[Floats] = [np.zeros((0, 5)) for _ in range(self.number + 1)]
        for reef, k, cut, inside in self.parts:
            found = cut.shelves(0, base=base, weight=weight, inside=inside)
            found[:, 2] = k
            worth = base * len(found) + weight * float(found[:, 3].sum())
            if worth > best_worth[reef]:
                best_worth[reef], best_set[reef] = worth, found
        together = np.concatenate(best_set)
        return self.placer.pick(together[np.argsort(-together[:, 3], kind="stable")], most=len(together))


def _cut(field: Field, window: tuple[slice, ...]) -> Field:
    s, c = direction(field.bearing_grid_deg)
    u, v = window[1].start * field.step_along_m, window[0].start * field.step_across_m
    return Field(
        field.bearing_grid_deg,
        field.corner_x_m + u * s + v * c,
        field.corner_y_m + u * c - v * s,
        field.step_along_m,
        field.step_across_m,
        field.along,
        field.across,
        field.quality[window],
        field.robust[window],
    )


def _reefs(bottom: Bottom, gap_m: float) -> tuple[NDArray[np.int32], int]:
    """Labels of allowed bottom, parts closer than the gap together, and every other cell with the nearest label."""
    reach = max(1, math.ceil(0.5 * gap_m / bottom.cell_m))
    distance, nearest = ndimage.distance_transform_edt(~bottom.allowed, return_indices=True)
    labels, reefs = ndimage.label(distance <= reach, structure=np.ones((3, 3)))
    return np.asarray(labels[nearest[0], nearest[1]], np.int32), int(reefs)


def _label_at(bottom: Bottom, labels: NDArray[np.int32], x: Floats, y: Floats) -> NDArray[np.int32]:
    rows, columns = labels.shape
    column = np.floor((x - bottom.west_m) / bottom.cell_m).astype(np.int64).clip(0, columns - 1)
    row = np.floor((bottom.north_m - y) / bottom.cell_m).astype(np.int64).clip(0, rows - 1)
    return np.asarray(labels[row, column])
