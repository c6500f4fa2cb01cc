"""Several species laid together: each pair of species has a separation, each species its own score and number.

Layouts compete and the one that holds most of the wanted units is kept, the higher summed score deciding between equals:
one species at a time in several orders; a territory for each species, where its score leads; one common layout at the
largest separation, its places handed out for the greatest sum of scores. Each is filled up, and neighbourhoods of the
best are laid anew with all species (`renewal`). One species at a time, in the order given, is always among them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.optimize import linprog

from sitekit.errors import Faults
from sitekit.layout.buckets import SAFETY_M, disc_buckets, new_buckets
from sitekit.layout.renewal import NO_LIMIT, enter_all, lay, most_in_disc, renew
from sitekit.layout.spacing import place

Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_ORDERS = 6  # of species, one at a time: all of three species
LEADS = (0.0, 0.25, 1.0)  # how far a territory follows shortage of room instead of score, see `_territories`
MOST_HANDED = 30_000  # places of a common layout times species; above, handing out by linear programming is left out
STEPS_AT_ONCE = 100_000


@dataclass(frozen=True)
class Mixed:
    """Units of several species.

    Parameters
    ----------
    easting, northing : ndarray, shape (n,)
        Positions [m], species by species, each row by row from the south-west.
    kind : ndarray of int64, shape (n,)
        Number of the species.
    score : ndarray, shape (n,)
        Score of each one's cell for its species.
    method : str
        What won: `in order`, `other order`, `territories` or `common`; ` renewed` where neighbourhoods were laid anew.
    one_at_a_time : int
        Units held by laying the species one at a time in the order given.
    """

    easting: Floats
    northing: Floats
    kind: Ints
    score: Floats
    method: str
    one_at_a_time: int


def place_mixed(
    allowed: NDArray[np.bool_],
    score: NDArray[np.floating],
    *,
    west_m: float,
    north_m: float,
    cell_m: float,
    separations_m: ArrayLike,
    wanted: list[int | None],
    clear_points: ArrayLike | None = None,
    clear_radii_m: ArrayLike | None = None,
    effort: int = 0,
    seed: int = 0,
) -> Mixed:
    """Place units of several species so that every pair keeps its separation.

    Parameters
    ----------
    allowed : ndarray of bool, shape (species, rows, columns)
        Where each may stand, row 0 in the north.
    score : ndarray, shape (species, rows, columns)
        0–1; NaN counts as 0.
    west_m, north_m, cell_m : float
        Outer corner of the first cell and cell side [m].
    separations_m : array_like, shape (species, species)
        Least distance of each pair [m], > 0, symmetric; the diagonal holds each species' own.
    wanted : list of int or None
        Units of each species; None: as many as fit.
    clear_points, clear_radii_m : array_like, optional
        As in `spacing.place`.
    effort : int
        Steps of renewal, ≥ 0.
    seed : int
        Of turns, shifts and neighbourhoods.

    Returns
    -------
    Mixed
        Never fewer units than one species at a time; of as many, never of a lower summed score.

    Raises
    ------
    InputFault
        If shapes differ or a separation is not positive or not symmetric.
    """
    distances = np.asarray(separations_m, np.float64)
    with Faults() as faults:
        if allowed.ndim != 3 or allowed.shape != score.shape or len(wanted) != len(allowed) or len(allowed) == 0:
            came = f"shapes {allowed.shape} and {score.shape}, {len(wanted)} numbers"
            faults.add("bottom", came, "rasters of one shape and a number for each species", "Align them.")
        elif distances.shape != (len(allowed), len(allowed)):
            faults.add("separations_m", f"shape {distances.shape}", "one row and column per species", "Complete it.")
        if not (np.isfinite(distances).all() and (distances > 0).all() and np.array_equal(distances, distances.T)):
            faults.add("separations_m", "not all above 0 m and symmetric", "a distance per pair", "Correct it.")
    scene = _Scene(
        np.ascontiguousarray(allowed),
        np.nan_to_num(np.asarray(score, np.float32), nan=0.0),
        (west_m, north_m, cell_m),
        distances,
        [NO_LIMIT if n is None else n for n in wanted],
        np.zeros((0, 2)) if clear_points is None else np.asarray(clear_points, np.float64).reshape(-1, 2),
        np.zeros(0) if clear_radii_m is None else np.asarray(clear_radii_m, np.float64),
        seed,
    )
    first = scene.in_order(tuple(range(len(allowed))), allowed)
    found = [(first, "in order")]
    if len(allowed) > 1:
        orders = list(permutations(range(len(allowed))))[1:MOST_ORDERS]
        found += [(scene.in_order(order, allowed), "other order") for order in orders]
        found += [(scene.territories(lead), "territories") for lead in LEADS]
        found += [(points, "common") for points in scene.common()]
    best, method = max(found, key=lambda f: scene.worth(f[0]))
    if effort:
        renewed = scene.renewed(best, effort)
        if scene.worth(renewed) > scene.worth(best):
            best, method = renewed, f"{method} renewed"
    order = np.lexsort((best[:, 0], best[:, 1], best[:, 2]))
    x, y, kind = best[order, 0], best[order, 1], best[order, 2].astype(np.int64)
    return Mixed(x, y, kind, scene.scores(best[order]), method, len(first))


class _Scene:
    """The bottom of all species; layouts are arrays of rows (easting, northing, species)."""

    def __init__(
        self,
        allowed: Flags,
        score: NDArray[np.float32],
        corner: tuple[float, float, float],
        distances: Floats,
        wanted: list[int],
        points: Floats,
        radii: Floats,
        seed: int,
    ) -> None:
        self.allowed, self.score, self.distances, self.wanted = allowed, score, distances, wanted
        self.west, self.north, self.cell = corner
        self.points, self.radii, self.seed = points, radii, seed
        self.south = self.north - allowed.shape[1] * self.cell

    def worth(self, layout: Floats) -> tuple[int, float]:
        return len(layout), round(float(self.scores(layout).sum()), 9)

    def scores(self, layout: Floats) -> Floats:
        row = np.floor((self.north - layout[:, 1]) / self.cell).astype(np.int64).clip(0, self.allowed.shape[1] - 1)
        col = np.floor((layout[:, 0] - self.west) / self.cell).astype(np.int64).clip(0, self.allowed.shape[2] - 1)
        return np.asarray(self.score[layout[:, 2].astype(np.int64), row, col], np.float64)

    def in_order(self, order: tuple[int, ...], where: Flags) -> Floats:
        """Lay the species one at a time on the cells given for each, then what is short on all of its bottom."""
        layout = np.zeros((0, 3))
        for s in order:
            layout = self._laid(layout, s, where[s])
        if where is not self.allowed:
            for s in order:
                layout = self._laid(layout, s, self.allowed[s])
        return layout

    def _laid(self, layout: Floats, s: int, where: Flags) -> Floats:
        left = self.wanted[s] - int((layout[:, 2] == s).sum())
        if left <= 0 or not where.any():
            return layout
        around = np.concatenate([self.points, layout[:, :2]])
        radii = np.concatenate([self.radii, self.distances[s][layout[:, 2].astype(np.int64)] + SAFETY_M])
        found = place(
            where,
            self.score[s],
            west_m=self.west,
            north_m=self.north,
            cell_m=self.cell,
            separation_m=float(self.distances[s, s]),
            wanted=None if left >= NO_LIMIT // 2 else left,
            clear_points=around,
            clear_radii_m=radii,
            seed=self.seed,
        )
        new = np.column_stack([found.easting, found.northing, np.full(found.easting.size, float(s))])
        return np.concatenate([layout, new])

    def territories(self, lead: float) -> Floats:
        """Give each cell to the species whose score leads there, handicapped so that each gets the area it needs.

        A species needs its wanted number times (√3/2) d². Prices are raised on species with more than their share of
        the area and lowered on the others; `lead` blends the score with bands across the bottom, in which neighbouring
        cells go together (short borders, fewer pairs of unlike species).
        """
        kinds, rows, cols = self.allowed.shape
        holds = self.allowed.reshape(kinds, -1).sum(axis=1) * self.cell**2
        need = np.array([n * math.sqrt(0.75) * self.distances[s, s] ** 2 for s, n in enumerate(self.wanted)])
        need = np.minimum(need, holds)
        if need.sum() <= 0:
            return np.zeros((0, 3))
        across = np.linspace(0.0, 1.0, cols)[None, :] if cols >= rows else np.linspace(0.0, 1.0, rows)[:, None]
        place_of = np.argsort(np.argsort(-need)) / max(kinds - 1, 1)
        band = 1.0 - np.abs(across[None] - place_of[:, None, None])
        liking = (1.0 - min(lead, 1.0)) * self.score + lead * band
        liking = np.where(self.allowed, liking, -np.inf)
        price = np.zeros(kinds)
        step = 0.5
        someone = self.allowed.any(axis=0)
        due = need / need.sum()
        for _ in range(24):
            owner = (liking - price[:, None, None]).argmax(axis=0)
            share = np.bincount(owner[someone], minlength=kinds) / max(int(someone.sum()), 1)
            price += step * np.sign(share - due)
            step *= 0.75
        owner = (liking - price[:, None, None]).argmax(axis=0)
        where = self.allowed & (owner[None] == np.arange(kinds)[:, None, None])
        return self.in_order(tuple(np.argsort(-self.distances.diagonal(), kind="stable").tolist()), where)

    def common(self) -> list[Floats]:
        """Lay one layout at the largest separation for all and hand its places out, if that is not too much work."""
        kinds = len(self.wanted)
        total = sum(min(n, NO_LIMIT // 8) for n in self.wanted)
        found = place(
            np.asarray(self.allowed.any(axis=0)),
            np.where(self.allowed, self.score, 0.0).max(axis=0),
            west_m=self.west,
            north_m=self.north,
            cell_m=self.cell,
            separation_m=float(self.distances.max()),
            wanted=None if total >= NO_LIMIT // 16 else total,
            clear_points=self.points,
            clear_radii_m=self.radii,
            seed=self.seed,
        )
        n = found.easting.size
        if n == 0 or n * kinds > MOST_HANDED:
            return []
        row = np.floor((self.north - found.northing) / self.cell).astype(np.int64)
        col = np.floor((found.easting - self.west) / self.cell).astype(np.int64)
        may, worth = self.allowed[:, row, col], self.score[:, row, col].astype(np.float64)
        each = sparse.kron(np.ones((1, kinds)), sparse.eye(n), format="csr")
        per_kind = sparse.kron(sparse.eye(kinds), np.ones((1, n)), format="csr")
        limits = np.concatenate([np.ones(n), np.minimum(np.array(self.wanted, np.float64), n)])
        answer = linprog(
            -(2.0 + worth).ravel() * may.ravel(),
            A_ub=sparse.vstack([each, per_kind]),
            b_ub=limits,
            bounds=np.column_stack([np.zeros(n * kinds), may.ravel().astype(float)]),
            method="highs-ds",
        )
        if not answer.success:
            return []
        taken = answer.x.reshape(kinds, n) > 0.5
        s, k = np.nonzero(taken)
        layout = np.column_stack([found.easting[k], found.northing[k], s.astype(np.float64)])
        for one in range(kinds):
            layout = self._laid(layout, one, self.allowed[one])
        return [layout]

    def renewed(self, layout: Floats, effort: int) -> Floats:
        """Lay neighbourhoods anew with all species, then fill what is left."""
        kinds = len(self.wanted)
        distances = self.distances + SAFETY_M
        grain = float(distances.min())
        width, height = self.allowed.shape[2] * self.cell, self.allowed.shape[1] * self.cell
        room = len(layout) + int(1.3 * (width + grain) * (height + grain) / grain**2) + 64
        x, y, kind = np.empty(room), np.empty(room), np.zeros(room, np.int64)
        n = len(layout)
        x[:n], y[:n], kind[:n] = layout[:, 0] - self.west, layout[:, 1] - self.south, layout[:, 2]
        buckets = new_buckets(width, height, grain)
        enter_all(buckets, x, y, n, grain)
        clear = disc_buckets(
            width,
            height,
            self.points - (self.west, self.south),
            self.radii + np.where(self.radii > 0, SAFETY_M, 0.0),
        )
        allowed, value = self.allowed[:, ::-1].copy(), self.score[:, ::-1].copy()
        most = np.array(self.wanted, np.int64)
        draw = np.random.default_rng([self.seed, 2])
        for first in range(0, effort, STEPS_AT_ONCE):
            chances = draw.random((min(STEPS_AT_ONCE, effort - first), 5))
            n, _ = renew(
                allowed, value, self.cell, distances, clear, buckets, x, y, kind, n, most, most_in_disc(distances), chances
            )  # fmt: skip
        window = (0.5 * width, 0.5 * height, 0.5 * width, 0.5 * height)
        for s in range(kinds):
            left = int(most[s] - (kind[:n] == s).sum())
            n = lay(allowed, self.cell, distances, clear, buckets, x, y, kind, n, s, left, window, False, 3, 0.0)
        return np.column_stack([self.west + x[:n], self.south + y[:n], kind[:n].astype(np.float64)])
