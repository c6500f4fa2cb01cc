"""The same colonies in two files: points nearer than they can be told apart, and files that look like copies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.layers.cells import Doubt

_SHOWN = 5  # pairs told one by one
# A copy keeps its coordinates but for rounding, to 6 decimals of a degree (0.1 m) at worst. Limits are ours.
SAME_M = 0.2
_COPY_SHARE, _COPY_LEAST = 0.75, 4


def near_doubles(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    error_m: NDArray[np.float64],
    species: Sequence[str],
    label: Sequence[tuple[str, str, int | str]],
) -> tuple[Doubt, ...]:
    """Points of one species from different files or partners that lie nearer than their positions can be told apart.

    Parameters
    ----------
    x, y : array, shape (n,)
        Places [m].
    error_m : array, shape (n,)
        Stated error of each [m]; two points are doubted within the root of the sum of squares of theirs.
    species : sequence of str
        One per point; unknown (empty) fits every species.
    label : sequence of (file, partner, line or name)
        Where each comes from; a name, of a waypoint, tells more than the line of a file that nobody reads.

    Returns
    -------
    tuple of Doubt
        Per two sources: that one looks like a copy of the other (of the smaller one at least three quarters, and four
        points, within 0.2 m), else their number of pairs and the nearest five; copies first, nothing is merged. Of each
        point the eight nearest points of the other sources that may be of its species are looked at.
    """
    sources = sorted({(file, partner) for file, partner, _ in label})
    of = np.array([sources.index((file, partner)) for file, partner, _ in label], dtype=np.int64)
    places, kind = np.column_stack([x, y]), np.array([s or "" for s in species])
    found: dict[tuple[int, int], dict[tuple[int, int], float]] = {}
    for one in range(len(sources) - 1):
        # lists of survey sites hold many species on one position: the eight nearest of any would hide a double
        for name in np.unique(kind[of == one]):
            own = np.flatnonzero((of == one) & (kind == name))
            others = np.flatnonzero((of > one) & ((kind == name) | (kind == "") | (name == "")))
            if not len(others):
                continue
            reach = float(np.hypot(error_m[own].max(), error_m[others].max()))
            away, near = cKDTree(places[others]).query(places[own], k=min(8, len(others)), distance_upper_bound=reach)
            away, near = np.asarray(away).reshape(len(own), -1), np.asarray(near).reshape(len(own), -1)
            for row, column in zip(*np.nonzero(np.isfinite(away)), strict=True):
                i, j = int(own[row]), int(others[near[row, column]])
                if away[row, column] <= np.hypot(error_m[i], error_m[j]):
                    found.setdefault((one, int(of[j])), {})[i, j] = float(away[row, column])
    sizes = np.bincount(of, minlength=len(sources))
    copies, doubts = [], []
    for (a, b), pairs in sorted(found.items()):
        names = [" of ".join(filter(None, sources[k])) for k in (a, b)]
        same = [pair for pair, d in pairs.items() if d <= SAME_M]
        held = min(len({i for i, _ in same}), len({j for _, j in same}))
        if is_copy(held, int(min(sizes[a], sizes[b]))):
            small, large = (names[1], names[0]) if sizes[b] <= sizes[a] else (names[0], names[1])
            said = f"{small} looks like a copy of {large}: {held} of its {min(sizes[a], sizes[b])} colonies stand there too"
            ask = "If it is one, leave one of the two tables out of plan.toml; until then such colonies count twice."
            copies.append(Doubt("layers.colonies", said, ask))
            continue
        nearest = sorted((d, i, j) for (i, j), d in pairs.items())[:_SHOWN]
        shown = "; ".join(f"{_rows(label[i][2], label[j][2])}, {d:.1f} m" for d, i, j in nearest)
        more = " …" if len(pairs) > _SHOWN else ""
        said = (
            f"{names[0]} and {names[1]}: {len(pairs)} pairs nearer than their errors ({shown}{more}): colonies twice?"
        )
        doubts.append(Doubt("layers.colonies", said, "Both are kept clear of. Delete a row if it is the same colony."))
    return (*copies, *doubts)


def is_copy(held: int, size: int) -> bool:
    """Whether a list of `size` points, of which `held` stand at places of another list, looks like a copy of it."""
    return size >= _COPY_LEAST and held >= _COPY_SHARE * size


def _rows(one: int | str, other: int | str) -> str:
    if isinstance(one, int) and isinstance(other, int):
        return f"lines {one} and {other}"
    return " and ".join(f"line {r}" if isinstance(r, int) else r for r in (one, other))
