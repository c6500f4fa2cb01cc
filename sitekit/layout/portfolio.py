"""The layouts that compete on one bottom: lattices patch by patch, sweeps, and each patch's best together.

Coordinates count from the bottom's own corner, row 0 in the south. Which sweeps suit a large bottom is asked on a part of
it; what wins is filled by a further sweep. With `effort`, neighbourhoods are cleared and laid anew (`renewal`).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.base.compiled import compiled
from sitekit.layout.buckets import SAFETY_M, add_point, disc_buckets, is_free, new_buckets
from sitekit.layout.lattice import lattice_points
from sitekit.layout.renewal import NO_LIMIT, enter_all, most_in_disc, renew
from sitekit.layout.sweep import sweep

Floats = NDArray[np.float64]
Way = tuple[int, int]  # turn (0 along rows, 2 along columns) and rows of one sweep
Flags = NDArray[np.bool_]

COARSE_ROWS = (6, 8, 10, 14)  # swept rows per lattice row; which one suits a strip of given width cannot be told before
FINE_ROWS = 24  # the same, at least; wins on salt-and-pepper bottom, and fills what is left
ROWS_PER_CELL = 8  # of the finest sweep, at least; matters where the separation is many cells wide
CLEAR_LEAD = 1.04  # lattices this far ahead of one sweep are not caught by others
NEARLY_ALL = 0.98  # of the dilated area over that of a hexagon: further sweeps gain next to nothing
MOST_TRIES = 24  # lattices per patch; fewer on large patches, whose count hardly depends on the shift
FIRST_TRIES, HOPELESS = 3, 0.95  # lattices that hold less than this share of a sweep after the first tries are given up
LEAST_LATTICE = 12.0  # hexagons of area; on smaller patches the edge decides and lattices lose to sweeps
ASK_PART, PART = 10_000.0, 4_000.0  # hexagons of area; on larger bottoms a part of it tells which sweeps hold most
TAKEN_SWEEPS = 2  # of those asked, beside the finest; only if they hold more
_EASE = 1e-6  # share added to lattice steps and swept rows, so that touching neighbours survive rounding
STEPS_AT_ONCE = 100_000  # chances drawn at a time
TRY_CELLS = 40_000_000  # cells looked at in all tries of one patch, about


class Layouts:
    """All layouts on one bottom, in the coordinates of its own corner, row 0 in the south."""

    def __init__(
        self,
        allowed: Flags,
        cell: float,
        separation: float,
        centres: Floats,
        radii: Floats,
        clear: tuple[NDArray[np.int64], NDArray[np.int64], Floats, float] | None = None,
    ) -> None:
        self.allowed = np.ascontiguousarray(allowed[::-1])
        self.cell, self.separation = cell, separation
        self.centres, self.radii = centres, radii
        self.finest = max(FINE_ROWS, math.ceil(separation * math.sqrt(0.75) * ROWS_PER_CELL / cell))
        self.size = (allowed.shape[1] * cell, allowed.shape[0] * cell)
        wider = radii + np.where(radii > 0, SAFETY_M, 0.0)
        self.clear = disc_buckets(*self.size, centres, wider) if clear is None else clear
        area = float(allowed.sum()) * cell * cell
        edge = cell * float(_edge_sides(self.allowed))
        self.possible = (area + edge * separation / math.sqrt(3.0)) / (math.sqrt(0.75) * separation**2)  # about
        around = area + 2.0 * separation * edge + 16.0 * separation**2
        self.room = int(around / (0.78 * separation**2)) + 64  # discs of half d are disjoint: no more can stand
        self._across: Layouts | None = None

    def only(self, good: Flags) -> Layouts:
        """Return the layouts on a part of the bottom."""
        return Layouts((self.allowed & good)[::-1], self.cell, self.separation, self.centres, self.radii, self.clear)

    def most(
        self, effort: int, seed: int, *, thorough: bool = True, sweeps: list[Way] | None = None
    ) -> tuple[Floats, Floats, str]:
        """Return as many points as found, and what won; without being thorough, of one sweep and the lattices alone.

        `sweeps` limits the further sweeps, and receives those that are worth a trial where it is empty.
        """
        label, patches = ndimage.label(self.allowed, output=np.int32)
        layouts = [(*self._swept(0, self.finest), "sweep")]
        layouts.append((*self._lattices(label, patches, layouts[0], seed), "lattices"))
        swept, laid = layouts[0][0].size, layouts[1][0].size
        if thorough and laid < CLEAR_LEAD * swept and max(laid, swept) < NEARLY_ALL * self.possible:
            layouts += self._further(sweeps)
        best = max(layouts, key=lambda found: found[0].size)
        if thorough and (patches > 1 or not any(best is full for full in layouts[:2])):  # no room in those on one patch
            best = max(
                (best, (*self._patchwork(label, patches, layouts), "patchwork")), key=lambda found: found[0].size
            )
        if effort:
            best = (*self.renewed(best[0], best[1], effort, seed), best[2])
        return best

    def swept(self) -> int:
        """Return how many points one fine sweep lays: what this bottom holds at least."""
        return self._swept(0, self.finest)[0].size

    def cells_for(self, wanted: int) -> tuple[int, int]:
        """Return the numbers of cells that can and that surely do hold a number of points.

        A cell of side c holds no more than the rows of a lattice that touch it. A layout to which nothing can be added
        leaves no place farther than d from a point or inside a clearance, so its discs of radius d cover the rest.
        """
        d, c = self.separation, self.cell
        most = math.ceil((c / d + 1.0) * (2.0 / math.sqrt(3.0) * c / d + 1.0))
        kept = math.pi * float((self.radii**2).sum())
        return max(1, wanted // most), math.ceil(1.05 * (wanted * math.pi * d * d + kept) / (c * c))

    def filled(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the points with all that still fits between them."""
        return self._sweep(x, y, (0.0, 0.0, *self.size), self.finest)

    def _sweep(
        self, x: Floats, y: Floats, frame: tuple[float, float, float, float], fineness: int
    ) -> tuple[Floats, Floats]:
        px, py = np.empty(max(self.room, x.size + 64)), np.empty(max(self.room, x.size + 64))
        px[: x.size], py[: x.size] = x, y
        buckets = new_buckets(*self.size, self.separation)
        enter_all(buckets, px, py, x.size, self.separation)
        step = self.separation * math.sqrt(3.0) / 2.0 / fineness * (1.0 + _EASE)
        step = min(step, 0.999 * self.cell)  # no row of cells is stepped over
        count = sweep(self.allowed, self.cell, frame, step, self.separation, self.clear, buckets, px, py, x.size)
        return px[:count].copy(), py[:count].copy()

    def _further(self, sweeps: list[Way] | None) -> list[tuple[Floats, Floats, str]]:
        """Return the further sweeps worth laying: all, or on a large bottom those that hold most on a part of it."""
        if sweeps:
            return [(*self._swept(turn, rows), "sweep") for turn, rows in sweeps]
        every = [(turn, rows) for turn in (0, 2) for rows in (*COARSE_ROWS, self.finest)]
        every.remove((0, self.finest))
        if self.possible > ASK_PART:
            part = self._part()
            least = part.swept()
            held = [(part._swept(turn, rows)[0].size, turn, rows) for turn, rows in every]
            more = sorted((h for h in held if h[0] > 1.002 * least), reverse=True)
            every = [(turn, rows) for _, turn, rows in more[:TAKEN_SWEEPS]]
        found = [(*self._swept(turn, rows), "sweep") for turn, rows in every]
        if sweeps is not None:
            order = sorted(range(len(every)), key=lambda k: -found[k][0].size)
            sweeps += [every[k] for k in order[:TAKEN_SWEEPS]]
        return found

    def _part(self) -> Layouts:
        """Return a part of the bottom of about `PART` hexagons, the one with most edges."""
        pieces = math.ceil(math.sqrt(self.possible / PART))
        rows, cols = (max(n // pieces, 1) for n in self.allowed.shape)
        parts = [
            (slice(i, i + rows), slice(j, j + cols))
            for i in range(0, self.allowed.shape[0] - rows + 1, rows)
            for j in range(0, self.allowed.shape[1] - cols + 1, cols)
        ]
        i, j = max(parts, key=lambda p: _edge_sides(self.allowed[p]))
        corner = (j.start * self.cell, i.start * self.cell)
        return Layouts(self.allowed[i, j][::-1], self.cell, self.separation, self.centres - corner, self.radii)

    def _swept(self, turn: int, fineness: int) -> tuple[Floats, Floats]:
        """Return a sweep along one of two axes from one of two ends, filled from the other."""
        turned = self if turn == 0 else self._turned()
        x, y = turned._sweep(np.zeros(0), np.zeros(0), (0.0, 0.0, *turned.size), fineness)
        return (x, y) if turn == 0 else (y, x)

    def _turned(self) -> Layouts:
        """Return the same bottom with its axes exchanged."""
        if self._across is None:
            centres = np.ascontiguousarray(self.centres[:, ::-1])
            self._across = Layouts(self.allowed.T[::-1], self.cell, self.separation, centres, self.radii)
        return self._across

    def _lattices(
        self, label: NDArray[np.int32], patches: int, rival: tuple[Floats, Floats, str], seed: int
    ) -> tuple[Floats, Floats]:
        """Return the best lattice of each patch, larger patches first, filled up; a sweep shows where they are hopeless."""
        sizes = np.bincount(label.ravel(), minlength=patches + 1)
        held = np.bincount(self._patch_of(label, rival[0], rival[1]), minlength=patches + 1)
        least = LEAST_LATTICE * math.sqrt(0.75) * (self.separation / self.cell) ** 2
        large = np.flatnonzero(sizes[1:] >= least) + 1
        large = large[np.argsort(-sizes[large], kind="stable")]
        number = np.zeros(patches + 1, np.int32)
        number[large] = np.arange(1, large.size + 1)
        label, held = number[label], held[large]
        windows = ndimage.find_objects(label, max_label=large.size)
        buckets = new_buckets(*self.size, self.separation)
        x, y = np.empty(self.room), np.empty(self.room)
        count = 0
        draw = np.random.default_rng(seed)
        poses = draw.random((MOST_TRIES, 3)) * (math.pi / 3.0, 1.0, 1.0)
        step = self.separation * (1.0 + _EASE)
        poses[0, 0], poses[1, 0] = 0.0, math.pi / 6.0
        for k, window in enumerate(windows):
            frame = (
                window[1].start * self.cell,
                window[0].start * self.cell,
                window[1].stop * self.cell,
                window[0].stop * self.cell,
            )
            box = (frame[2] - frame[0]) * (frame[3] - frame[1])
            if min(frame[2] - frame[0], frame[3] - frame[1]) < 0.5 * self.separation:
                continue  # a lattice has no hold on it; sweeps fill it
            tries = int(np.clip(TRY_CELLS / max(box / self.separation**2, 1.0) / 40.0, 4, MOST_TRIES))
            room = (
                int(
                    (box + 4 * self.separation * (frame[2] - frame[0] + frame[3] - frame[1])) / self.separation**2 * 1.2
                )
                + 16
            )
            bx, by, found = np.empty(0), np.empty(0), 0
            tx, ty = np.empty(room), np.empty(room)
            for trial, pose in enumerate(poses[:tries]):
                if trial == FIRST_TRIES and found < HOPELESS * held[k]:
                    break
                n = lattice_points(label, k + 1, self.cell, frame, tuple(pose.tolist()), step, self.clear, tx, ty)
                if n > found:
                    found, bx, by = n, tx[:n].copy(), ty[:n].copy()
            count = _enter_free(buckets, bx, by, x, y, count, self.separation)
        return self.filled(x[:count], y[:count]) if count > 0.9 * rival[0].size else (x[:count], y[:count])

    def _patch_of(self, label: NDArray[np.int32], x: Floats, y: Floats) -> NDArray[np.int32]:
        return np.asarray(label[(y / self.cell).astype(np.int64), (x / self.cell).astype(np.int64)])

    def _patchwork(
        self, label: NDArray[np.int32], patches: int, layouts: list[tuple[Floats, Floats, str]]
    ) -> tuple[Floats, Floats]:
        """Return each patch's best layout, patches with most points first, filled up."""
        own = [self._patch_of(label, x, y) for x, y, _ in layouts]
        held = np.array([np.bincount(k, minlength=patches + 1) for k in own])
        chosen, most = held.argmax(axis=0), held.max(axis=0)
        x = np.concatenate([f[0][chosen[k] == i] for i, (f, k) in enumerate(zip(layouts, own, strict=True))])
        y = np.concatenate([f[1][chosen[k] == i] for i, (f, k) in enumerate(zip(layouts, own, strict=True))])
        patch = np.concatenate([k[chosen[k] == i] for i, k in enumerate(own)])
        order = np.lexsort((x, y, patch, -most[patch]))
        px, py = np.empty(max(self.room, x.size)), np.empty(max(self.room, x.size))
        buckets = new_buckets(*self.size, self.separation)
        count = _enter_free(buckets, x[order], y[order], px, py, 0, self.separation)
        return self.filled(px[:count], py[:count])

    def renewed(
        self, x: Floats, y: Floats, effort: int, seed: int, values: Floats | None = None, wanted: int = NO_LIMIT
    ) -> tuple[Floats, Floats]:
        """Clear small discs and lay them anew, one step per count of `effort`: never fewer points, nor of less value."""
        room = max(self.room, x.size + 64)
        px, py, kind = np.empty(room), np.empty(room), np.zeros(room, np.int64)
        px[: x.size], py[: x.size] = x, y
        buckets = new_buckets(*self.size, self.separation)
        enter_all(buckets, px, py, x.size, self.separation)
        value = np.zeros((0, 0, 0), np.float32) if values is None else values[None].astype(np.float32)
        distances, most = np.array([[self.separation]]), np.array([wanted], np.int64)
        draw = np.random.default_rng([seed, 1])
        count = x.size
        for first in range(0, effort, STEPS_AT_ONCE):
            count, _ = renew(
                self.allowed[None],
                value,
                self.cell,
                distances,
                self.clear,
                buckets,
                px,
                py,
                kind,
                count,
                most,
                most_in_disc(distances),
                draw.random((min(STEPS_AT_ONCE, effort - first), 5)),
            )
        return px[:count].copy(), py[:count].copy()


def _edge_sides(allowed: Flags) -> int:
    """Return the number of cell sides between allowed and other cells."""
    padded = np.pad(allowed, 1)
    return int((padded[1:] != padded[:-1]).sum() + (padded[:, 1:] != padded[:, :-1]).sum())


@compiled
def _enter_free(
    buckets: NDArray[np.int32], bx: Floats, by: Floats, x: Floats, y: Floats, count: int, separation: float
) -> int:
    for k in range(bx.size):
        if count < x.size and is_free(buckets, x, y, bx[k], by[k], separation):
            x[count], y[count] = bx[k], by[k]
            add_point(buckets, x, y, count, separation)
            count += 1
    return count
