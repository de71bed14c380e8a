"""Which threads lie near a place: a hash of the pieces of thread in the cells of a coarse grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats
from analyzer.laid import Clipped, Grid

_Longs = npt.NDArray[np.int64]

_MOST_PAIRS = 200_000  #: pairs of point and thread measured at a time, so that they stay in cache


@dataclass(frozen=True, slots=True)
class Nearby:
    """Threads from ``a`` to ``b`` (k, 2) mm, found by cell.

    ``thread`` (q,) are the threads of the cells' pieces, cell by cell; those of cell c are
    ``start[c] .. start[c + 1] - 1``.
    """

    a: Floats
    b: Floats
    grid: Grid
    thread: _Longs
    start: _Longs

    @classmethod
    def of(cls, a: Floats, b: Floats, grid: Grid, pieces: Clipped) -> Nearby:
        """Build it from the pieces that clipping the threads against ``grid``, which holds them all, gave."""
        order = np.argsort(pieces.cell, kind="stable")
        count = np.bincount(pieces.cell, minlength=grid.nx * grid.ny)
        start = np.append(0, np.cumsum(count))
        return cls(a, b, grid, pieces.stitch[order].astype(np.int64), start)

    def within(self, low: Floats, high: Floats) -> tuple[_Longs, _Longs]:
        """Return pairs of a box, from ``low`` to ``high`` (v, 2) mm, and a thread in a cell that it meets.

        The boxes come in rising order. A thread that passes several cells comes several times.
        """
        grid = self.grid
        origin, bounds = np.array([grid.x0_mm, grid.y0_mm]), np.array([grid.nx - 1, grid.ny - 1])
        first = np.clip(np.floor((low - origin) / grid.cell_mm), 0, bounds).astype(np.int64)
        last = np.clip(np.floor((high - origin) / grid.cell_mm), 0, bounds).astype(np.int64)
        rows = last[:, 1] - first[:, 1] + 1
        box, rank = expanded(rows)
        line = (first[box, 1] + rank) * grid.nx
        begin = self.start[line + first[box, 0]]
        stop = self.start[line + last[box, 0] + 1]
        of, rank = expanded(stop - begin)
        return box[of], self.thread[begin[of] + rank]

    def nearest(self, points: Floats, reach_mm: float) -> _Longs:
        """Return the thread nearest to each of the points (n, 2), at most ``reach_mm`` off; -1 for none."""
        found = np.full(len(points), -1)
        step = max(1, _MOST_PAIRS // 16)
        for begin in range(0, len(points), step):
            part = points[begin : begin + step]
            point, thread = self.within(part - reach_mm, part + reach_mm)
            if point.size == 0:
                continue
            far = square_distance(part[point], self.a[thread], self.b[thread])
            starts = np.flatnonzero(np.diff(point, prepend=-1))
            least = np.minimum.reduceat(far, starts)
            number = np.diff(np.append(starts, point.size))
            best = np.flatnonzero((far == np.repeat(least, number)) & (far <= reach_mm * reach_mm))
            found[begin + point[best[::-1]]] = thread[best[::-1]]
        return found


def expanded(count: _Longs) -> tuple[_Longs, _Longs]:
    """Return for ``count`` (n,) things each whose it is and its rank among them, (sum,) each."""
    of = np.repeat(np.arange(count.size), count)
    return of, np.arange(of.size) - np.repeat(np.cumsum(count) - count, count)


def square_distance(points: Floats, a: Floats, b: Floats) -> Floats:
    """Return the squared distances of points (n, 2) from segments (n, 2)-(n, 2), mm2; (n,)."""
    px, py = (points - a).T
    dx, dy = (b - a).T
    along = (px * dx + py * dy) / np.maximum(dx * dx + dy * dy, 1e-30)
    np.clip(along, 0.0, 1.0, out=along)
    px = px - along * dx
    py = py - along * dy
    return np.asarray(px * px + py * py)
