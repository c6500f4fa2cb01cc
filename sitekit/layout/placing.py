"""Rectangles of any bearing kept a gap apart: the test, picking by quality, and re-planning a neighbourhood.

A set of rectangles is an array of rows (centre easting, centre northing, bearing number, quality, robust share).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sitekit.base.compiled import compiled
from sitekit.layout.shelves import Field, shelf_choice
from sitekit.layout.tape import direction

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SHAKE = 1e-3  # what chance counts beside one rectangle
MOST_TRIED = 2_000_000  # rectangles picked from; of more, the best of each square of samples


class Placer:
    """Picks rectangles of one size from the fields of several bearings.

    Parameters
    ----------
    fields : list of Field
        One per bearing.
    length_m, width_m, gap_m : float
        Size of the rectangles and least distance between two [m].
    """

    def __init__(self, fields: list[Field], *, length_m: float, width_m: float, gap_m: float) -> None:
        self.fields = fields
        self.size = np.array([0.5 * length_m, 0.5 * width_m, gap_m])
        self.turns = np.array([direction(f.bearing_grid_deg) for f in fields]).reshape(-1, 2)
        self.reach_m = math.hypot(length_m, width_m) + gap_m
        self.window_m = 1.5 * self.reach_m

    def row(self, k: int, rows: Ints, columns: Ints) -> Floats:
        """Return set rows of the rectangles of field `k` that start at the samples given."""
        field = self.fields[k]
        x, y = field.centres(rows, columns)
        return np.column_stack(
            [x, y, np.full(x.size, float(k)), field.quality[rows, columns], field.robust[rows, columns]]
        )

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
        chosen = _pick(every, len(first), room, self.turns, self.size, self.reach_m)
        return every[chosen]

    def close(self, unfit: Floats) -> None:
        """Mark rectangles as not to be used again."""
        for k, field in enumerate(self.fields):
            field.quality[self._samples(k, unfit[unfit[:, 2] == k])] = -1.0

    def usable(self, offered: Floats) -> NDArray[np.bool_]:
        """Tell which rectangles are not closed."""
        good = np.zeros(len(offered), bool)
        for k, field in enumerate(self.fields):
            mine = offered[:, 2] == k
            good[mine] = field.quality[self._samples(k, offered[mine])] >= 0
        return good

    def _samples(self, k: int, mine: Floats) -> tuple[Ints, Ints]:
        """Rows and columns of the samples at which rectangles of field `k` start."""
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

    def replanned(
        self,
        chosen: Floats,
        centre: tuple[float, float],
        *,
        base: float,
        weight: float,
        chance: np.random.Generator | None = None,
    ) -> Floats:
        """Return a set with the rectangles around `centre` planned anew, if that is worth more; else the set given.

        With `chance`, chance decides between plans of as many rectangles, and as many are good enough: the set is
        shaken, so that later neighbourhoods find room that no single one can make.
        """
        near = np.hypot(chosen[:, 0] - centre[0], chosen[:, 1] - centre[1]) <= self.window_m
        fixed = chosen[~near]
        old = chosen[near]
        worth = base * len(old) + weight * float(old[:, 3].sum())
        close = fixed[np.hypot(fixed[:, 0] - centre[0], fixed[:, 1] - centre[1]) <= self.window_m + self.reach_m]
        best, found = (len(old) - 0.5 if chance is not None else worth + 1e-9), None
        for k, field in enumerate(self.fields):
            offered = self._free_window(k, centre, close)
            if offered is None:
                continue
            rows0, columns0, values = offered
            if chance is not None:
                values = np.where(values >= 0, chance.random(values.shape, np.float32), np.float32(-1.0))
                weight = _SHAKE
            gap = float(self.size[2])
            total, rows, columns = shelf_choice(
                values,
                along=field.along,
                across=field.across,
                gap_along=math.ceil(gap / field.step_along_m - 1e-9),
                gap_across=math.ceil(gap / field.step_across_m - 1e-9),
                base=base,
                weight=weight,
            )
            if total > best:
                best, found = total, self.row(k, rows + rows0, columns + columns0)
        return chosen if found is None else np.concatenate([fixed, found])

    def _free_window(
        self, k: int, centre: tuple[float, float], close: Floats
    ) -> tuple[int, int, NDArray[np.float32]] | None:
        """First row and column, and qualities, of the starts of field `k` around a centre that clear the fixed ones."""
        field = self.fields[k]
        s, c = direction(field.bearing_grid_deg)
        dx, dy = centre[0] - field.corner_x_m, centre[1] - field.corner_y_m
        j = (dx * s + dy * c) / field.step_along_m - 0.5 * field.along
        i = (dx * c - dy * s) / field.step_across_m - 0.5 * field.across
        ri, rj = self.window_m / field.step_across_m, self.window_m / field.step_along_m
        rows, columns = field.quality.shape
        i0, i1 = max(0, math.floor(i - ri)), min(rows, math.ceil(i + ri) + 1)
        j0, j1 = max(0, math.floor(j - rj)), min(columns, math.ceil(j + rj) + 1)
        if i0 >= i1 or j0 >= j1:
            return None
        values = field.quality[i0:i1, j0:j1].copy()
        if not (values >= 0).any():
            return None
        x, y = field.centres(np.array([i0]), np.array([j0]))
        origin = np.array(
            [x[0], y[0], s, c, field.step_along_m, field.step_across_m, centre[0], centre[1], self.window_m]
        )
        _close_off(values, origin, close, self.turns, self.size)
        return i0, j0, values


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
def _pick(every: Floats, first: int, most: int, turns: Floats, size: Floats, bin_m: float) -> Ints:
    """Indices of the first ones and of those that fit, found through square bins as wide as two can touch."""
    n = every.shape[0]
    west, south = every[:, 0].min(), every[:, 1].min()
    columns = int((every[:, 0].max() - west) / bin_m) + 3
    rows = int((every[:, 1].max() - south) / bin_m) + 3
    head = np.full(rows * columns, -1, np.int64)
    after = np.full(most, -1, np.int64)
    chosen = np.empty(most, np.int64)
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
        if fits:
            chosen[found] = k
            after[found] = head[row * columns + column]
            head[row * columns + column] = found
            found += 1
    return chosen[:found]


@compiled
def _close_off(values: NDArray[np.float32], origin: Floats, close: Floats, turns: Floats, size: Floats) -> None:
    """Mark starts that stand outside the disc or too near a fixed rectangle (changes `values`)."""
    x0, y0, s, c, du, dv, cx, cy, radius = origin
    mine = np.array([s, c])
    for i in range(values.shape[0]):
        for j in range(values.shape[1]):
            if values[i, j] < 0:
                continue
            x, y = x0 + j * du * s + i * dv * c, y0 + j * du * c - i * dv * s
            if (x - cx) ** 2 + (y - cy) ** 2 > radius * radius:
                values[i, j] = -1.0
                continue
            for q in range(close.shape[0]):
                if not apart(x, y, mine, close[q, 0], close[q, 1], turns[int(close[q, 2])], size):
                    values[i, j] = -1.0
                    break
