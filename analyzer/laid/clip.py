"""Exact clipping of straight threads against a uniform grid: how much of each lies in each cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, Ints, frozen
from analyzer.laid.grid import Grid

_Longs = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Clipped:
    """Pieces of thread, one for each cell that a stitch passes through, in order along each stitch.

    ``cell`` (q,) is the flat index ``iy * nx + ix``, ``stitch`` (q,) the row of the stitch in what was
    clipped (rising), ``length_mm`` (q,) the length of the piece, > 0.
    """

    cell: Ints
    stitch: Ints
    length_mm: Floats

    def total(self, grid: Grid) -> Floats:
        """Return the thread length in each cell, mm; (ny, nx)."""
        sums = np.bincount(self.cell, weights=self.length_mm, minlength=grid.nx * grid.ny)
        return np.asarray(sums, dtype=np.float64).reshape(grid.shape)


def clip(a: Floats, b: Floats, grid: Grid) -> Clipped:
    """Cut the stitches from ``a`` (k, 2) to ``b`` (k, 2), mm, at every grid line they cross.

    Every stitch is parametrised by t in [0, 1]; its crossings with the lines of both axes are sorted along it
    and the differences of successive t give the pieces, so the lengths of a stitch's pieces sum to its length
    inside the grid to round-off. What lies outside the grid is dropped. A stitch that runs along a grid line
    belongs to the cell above or to the right of it; along the grid's last line, to the last cell. A stitch of
    no length has no pieces.
    """
    size = np.array([grid.nx, grid.ny], dtype=np.float64)
    origin = np.array([grid.x0_mm, grid.y0_mm])
    start = (np.asarray(a, dtype=np.float64).reshape(-1, 2) - origin) / grid.cell_mm
    step = (np.asarray(b, dtype=np.float64).reshape(-1, 2) - origin) / grid.cell_mm - start
    enter, leave = _inside(start, step, size)
    kept = np.flatnonzero((leave > enter) & (step != 0.0).any(axis=1))
    start, step, enter, leave = start[kept], step[kept], enter[kept], leave[kept]

    crossings = [_crossings(start, step, enter, leave, axis, int(size[axis])) for axis in (0, 1)]
    row = np.concatenate([np.arange(len(kept)), *(rows for rows, _ in crossings)])
    t = np.concatenate([enter, *(ts for _, ts in crossings)])
    order = np.lexsort((t, row))
    row, t = row[order], t[order]
    until = leave[row]
    same = row[1:] == row[:-1]
    until[:-1][same] = t[1:][same]
    share = until - t
    real = share > 0.0
    row, t, share = row[real], t[real], share[real]

    middle = start[row] + (t + 0.5 * share)[:, None] * step[row]
    ij = np.clip(np.floor(middle), 0.0, size - 1.0).astype(np.int64)
    length = np.hypot(step[:, 0], step[:, 1])[row] * share * grid.cell_mm
    return Clipped(
        cell=frozen((ij[:, 1] * grid.nx + ij[:, 0]).astype(np.int32)),
        stitch=frozen(kept[row].astype(np.int32)),
        length_mm=frozen(length),
    )


def _inside(start: Floats, step: Floats, size: Floats) -> tuple[Floats, Floats]:
    """Return from and to which t, (k,) each, a stitch lies in the closed grid (Liang and Barsky 1984)."""
    level = step == 0.0
    divisor = np.where(level, 1.0, step)
    first, second = -start / divisor, (size - start) / divisor
    low, high = np.minimum(first, second), np.maximum(first, second)
    within = (start >= 0.0) & (start <= size)
    low = np.where(level, np.where(within, -np.inf, np.inf), low)
    high = np.where(level, np.where(within, np.inf, -np.inf), high)
    return np.maximum(low.max(axis=1), 0.0), np.minimum(high.min(axis=1), 1.0)


def _crossings(
    start: Floats, step: Floats, enter: Floats, leave: Floats, axis: int, lines: int
) -> tuple[_Longs, Floats]:
    """Return rows and t of all crossings with the inner grid lines ``1 .. lines - 1`` across one axis."""
    x, dx = start[:, axis], step[:, axis]
    one, two = x + enter * dx, x + leave * dx
    first = np.maximum(np.floor(np.minimum(one, two)) + 1.0, 1.0).astype(np.int64)
    last = np.minimum(np.ceil(np.maximum(one, two)) - 1.0, lines - 1.0).astype(np.int64)
    count = np.maximum(last - first + 1, 0)
    row = np.repeat(np.arange(len(x)), count)
    line = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count) + first[row]
    t = (line - x[row]) / dx[row]
    return row, np.clip(t, enter[row], leave[row])
