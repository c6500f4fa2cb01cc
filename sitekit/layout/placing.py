"""Rectangles of any bearing kept a gap apart: the test, straight shelves, and picking by quality.

A set of rectangles is an array of rows (centre easting, centre northing, bearing number, quality, robust share).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.shelves import Bottom, Field, Ground, fine_ground, shelf_choice, under
from sitekit.layout.tape import direction

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bins = tuple[Floats, float, Ints, int]  # south-west corner, side [m], newest of each, columns

MOST_TRIED = 2_000_000  # rectangles picked from; of more, the best of each square of samples


class Placer:
    """Picks rectangles of one size from the fields of several bearings.

    Parameters
    ----------
    fields : list of Field
        One per bearing.
    length_m, width_m, gap_m : float
        Size of the rectangles and least distance between two [m].
    bottom : Bottom, optional
        Where rectangles are looked at by fine samples before they are picked; None: the fields are believed.
    least_allowed_share : float
        Share of a rectangle that must be allowed bottom by fine samples, 0-1.
    """

    def __init__(
        self,
        fields: list[Field],
        *,
        length_m: float,
        width_m: float,
        gap_m: float,
        bottom: Bottom | None = None,
        least_allowed_share: float = 0.0,
    ) -> None:
        self.fields = fields
        share = least_allowed_share if bottom is not None else -1.0
        nothing = Bottom(np.zeros((1, 1), bool), np.zeros((1, 1), np.float32), 0.0, 0.0, 1.0)
        self.ground: Ground = fine_ground(bottom or nothing, length_m, width_m, share)
        self.size = np.array([0.5 * length_m, 0.5 * width_m, gap_m])
        self.turns = np.array([direction(f.bearing_grid_deg) for f in fields]).reshape(-1, 2)
        self.reach_m = math.hypot(length_m, width_m) + gap_m

    def row(self, k: int, rows: Ints, columns: Ints) -> Floats:
        """Return set rows of the rectangles of field `k` that start at the samples given."""
        field = self.fields[k]
        x, y = field.centres(rows, columns)
        return np.column_stack(
            [x, y, np.full(x.size, float(k)), field.quality[rows, columns], field.robust[rows, columns]]
        )

    def starts_in_reach(self) -> float:
        """Return about how many starts there are, over all bearings, within reach of one rectangle."""
        return sum((2.0 * self.reach_m) ** 2 / (f.step_along_m * f.step_across_m) for f in self.fields)

    def candidates(self) -> Floats:
        """Return usable rectangles, best quality first: all, or on a large bottom the best of each square of samples."""
        usable = [f.quality >= 0 for f in self.fields]
        side = math.ceil(math.sqrt(sum(int(u.sum()) for u in usable) / MOST_TRIED))
        parts = [
            self.row(k, *(np.nonzero(u) if side <= 1 else _best_of_squares(f.quality, side)))
            for k, (f, u) in enumerate(zip(self.fields, usable, strict=True))
        ]
        every = np.concatenate(parts) if parts else np.zeros((0, 5))
        return every[np.argsort(-every[:, 3], kind="stable")]

    def pick(self, ordered: Floats, *, most: int, kept: Floats | None = None) -> Floats:
        """Return `kept` and, in the order given, each rectangle that stays a gap away from all before it.

        Those that would be taken but fall short of their share are closed instead.

        Parameters
        ----------
        ordered : ndarray, shape (n, 5)
            Candidates in the order in which they are tried.
        most : int
            Stop at this number.
        kept : ndarray, shape (m, 5), optional
            Rectangles that stand already.
        """
        first = np.zeros((0, 5)) if kept is None else kept
        room = min(most, len(first) + len(ordered))
        if len(ordered) == 0 or room <= len(first):
            return first[:most]
        every = np.concatenate([first, ordered])
        south_west, north_east = every[:, :2].min(axis=0), every[:, :2].max(axis=0)
        columns, rows = ((north_east - south_west) / self.reach_m).astype(np.int64) + 3
        bins = (south_west, self.reach_m, np.full(rows * columns, -1, np.int64), int(columns))
        chosen, unfit = _pick(every, len(first), room, self.turns, self.size, bins, self.ground)
        for k, field in enumerate(self.fields):
            short = every[unfit]
            field.quality[self.samples(k, short[short[:, 2] == k])] = -1.0
        return every[chosen]

    def samples(self, k: int, mine: Floats) -> tuple[Ints, Ints]:
        """Return rows and columns of the samples at which rectangles of field `k` start."""
        field = self.fields[k]
        s, c = direction(field.bearing_grid_deg)
        dx, dy = mine[:, 0] - field.corner_x_m, mine[:, 1] - field.corner_y_m
        columns = np.round((dx * s + dy * c) / field.step_along_m - 0.5 * field.along).astype(np.int64)
        rows = np.round((dx * c - dy * s) / field.step_across_m - 0.5 * field.across).astype(np.int64)
        return rows, columns

    def shelves(self, k: int, *, base: float, weight: float, inside: NDArray[np.bool_] | None = None) -> Floats:
        """Return the best straight shelves of field `k`; `inside` limits the starts."""
        field = self.fields[k]
        values = field.quality if inside is None else np.where(inside, field.quality, np.float32(-1.0))
        gap = float(self.size[2])
        _, rows, columns = shelf_choice(
            values,
            along=field.along,
            across=field.across,
            gap_along=math.ceil(gap / field.step_along_m - 1e-9),
            gap_across=math.ceil(gap / field.step_across_m - 1e-9),
            base=base,
            weight=weight,
        )
        return self.row(k, rows, columns)


def _best_of_squares(quality: NDArray[np.float32], side: int) -> tuple[Ints, Ints]:
    """Rows and columns of the best usable sample of each square of `side` × `side`, the first of equals."""
    rows, columns = (-(-n // side) * side for n in quality.shape)
    padded = np.full((rows, columns), np.float32(-1.0))
    padded[: quality.shape[0], : quality.shape[1]] = quality
    squares = padded.reshape(rows // side, side, columns // side, side).swapaxes(1, 2).reshape(-1, side * side)
    best = squares.argmax(axis=1)
    number = np.flatnonzero(squares[np.arange(len(squares)), best] >= 0)
    row, column = np.divmod(number, columns // side)
    down, right = np.divmod(best[number], side)
    return row * side + down, column * side + right


@compiled
def apart(ax: float, ay: float, a: Floats, bx: float, by: float, b: Floats, size: Floats) -> bool:
    """Return whether two rectangles of one size are at least a gap apart.

    Parameters
    ----------
    ax, ay, bx, by : float
        Centres [m].
    a, b : ndarray, shape (2,)
        Sine and cosine of their bearings.
    size : ndarray, shape (3,)
        Half length, half width, gap [m].
    """
    hl, hw, gap = size[0], size[1], size[2]
    dx, dy = bx - ax, by - ay
    far = dx * dx + dy * dy
    outer = 2.0 * np.sqrt(hl * hl + hw * hw) + gap
    if far >= outer * outer:
        return True
    inner = 2.0 * min(hl, hw) + gap
    if far < inner * inner * (1.0 - 1e-9):
        return False
    # Separating axes: the largest gap along the four sides' directions is above 0 exactly if they do not overlap.
    cross = abs(a[0] * b[0] + a[1] * b[1])
    turn = abs(a[0] * b[1] - a[1] * b[0])
    reach_l, reach_w = hl + hl * cross + hw * turn, hw + hl * turn + hw * cross
    widest = max(
        abs(dx * a[0] + dy * a[1]) - reach_l,
        abs(dx * a[1] - dy * a[0]) - reach_w,
        abs(dx * b[0] + dy * b[1]) - reach_l,
        abs(dx * b[1] - dy * b[0]) - reach_w,
    )
    if widest >= gap - 1e-9:
        return True
    if widest <= 0.0:
        return False
    least = 1e300
    for turnabout in range(2):
        p, q = (a, b) if turnabout == 0 else (b, a)
        ox, oy = (dx, dy) if turnabout == 0 else (-dx, -dy)
        for corner in range(4):
            u = hl if corner % 2 == 0 else -hl
            v = hw if corner < 2 else -hw
            # Corner of q as seen from p's centre, in p's own directions.
            x, y = ox + u * q[0] + v * q[1], oy + u * q[1] - v * q[0]
            du = max(abs(x * p[0] + y * p[1]) - hl, 0.0)
            dv = max(abs(x * p[1] - y * p[0]) - hw, 0.0)
            least = min(least, du * du + dv * dv)
    return bool(least >= gap * gap * (1.0 - 1e-9))


@compiled
def _pick(
    every: Floats, first: int, most: int, turns: Floats, size: Floats, bins: Bins, ground: Ground
) -> tuple[Ints, NDArray[np.bool_]]:
    """Indices of the first ones and of those that fit, found through square bins as wide as two can touch; who is short."""
    n = every.shape[0]
    corner, bin_m, head, columns = bins
    west, south = corner[0], corner[1]
    after, chosen = np.empty(most, np.int64), np.empty(most, np.int64)
    unfit = np.zeros(n, np.bool_)
    found = 0
    for k in range(n):
        if found >= most:
            break
        x, y = every[k, 0], every[k, 1]
        row, column = int((y - south) / bin_m) + 1, int((x - west) / bin_m) + 1
        fits = True
        if k >= first:
            for i in range(row - 1, row + 2):
                for j in range(column - 1, column + 2):
                    m = head[i * columns + j]
                    while m >= 0 and fits:
                        q = chosen[m]
                        fits = apart(
                            x, y, turns[int(every[k, 2])], every[q, 0], every[q, 1], turns[int(every[q, 2])], size
                        )
                        m = after[m]
                if not fits:
                    break
            turn = turns[int(every[k, 2])]
            if fits and ground[2][5] >= 0 and under(ground, x, y, turn[0], turn[1])[0] < ground[2][5]:
                fits, unfit[k] = False, True
        if fits:
            chosen[found] = k
            after[found] = head[row * columns + column]
            head[row * columns + column] = found
            found += 1
    return chosen[:found], unfit
