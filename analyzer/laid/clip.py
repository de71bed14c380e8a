"""Exact clipping of straight threads against a uniform grid: how much of each lies in each cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, Ints, box_of, frozen
from analyzer.laid.grid import Grid

_Longs = npt.NDArray[np.int64]

_MOST_STITCHES = 50_000  #: clipped at a time, so that they stay in cache


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
    if len(a) > _MOST_STITCHES:
        parts = [slice(i, i + _MOST_STITCHES) for i in range(0, len(a), _MOST_STITCHES)]
        found = [clip(a[part], b[part], grid) for part in parts]
        return Clipped(
            cell=frozen(np.concatenate([each.cell for each in found])),
            stitch=frozen(
                np.concatenate(
                    [each.stitch + np.int32(part.start) for each, part in zip(found, parts, strict=True)]
                )
            ),
            length_mm=frozen(np.concatenate([each.length_mm for each in found])),
        )
    starts = (np.asarray(a, dtype=np.float64).reshape(-1, 2) - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm
    stops = (np.asarray(b, dtype=np.float64).reshape(-1, 2) - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm
    size = np.array([grid.nx, grid.ny], dtype=np.float64)
    enter, leave = _inside(starts, stops - starts, size)
    kept = np.flatnonzero((leave > enter) & (starts != stops).any(axis=1))
    enter, leave = enter[kept], leave[kept]
    start, step = starts[kept].T.copy(), (stops - starts)[kept].T.copy()

    # One number for stitch and place along it, which sorts at once.
    begin: Floats = 2.0 * np.arange(kept.size, dtype=np.float64)
    crossed = [_crossings(start[axis], step[axis], enter, leave, int(size[axis]), begin) for axis in (0, 1)]
    keys = np.concatenate([begin + enter, *crossed])
    keys.sort()
    row = (0.5 * keys).astype(np.int64)
    t = keys - begin[row]
    until = leave[row]
    same = row[1:] == row[:-1]
    np.copyto(until[:-1], t[1:], where=same)
    share = until - t
    real = share > 0.0
    row, t, share = row[real], t[real], share[real]

    t += 0.5 * share
    i, j = (
        np.clip(np.floor(start[axis][row] + t * step[axis][row]), 0.0, size[axis] - 1.0) for axis in (0, 1)
    )
    j *= grid.nx
    j += i
    length = np.sqrt(step[0] * step[0] + step[1] * step[1]) * grid.cell_mm
    return Clipped(
        cell=frozen(j.astype(np.int32)),
        stitch=frozen(kept[row].astype(np.int32)),
        length_mm=frozen(length[row] * share),
    )


def _inside(start: Floats, step: Floats, size: Floats) -> tuple[Floats, Floats]:
    """Return from and to which t, (k,) each, a stitch lies in the closed grid (Liang and Barsky 1984)."""
    stop = start + step
    if len(start) and min(start.min(), stop.min()) >= 0.0 and (box_of(start, stop)[1] <= size).all():
        return np.zeros(len(start)), np.ones(len(start))
    level = step == 0.0
    divisor = np.where(level, 1.0, step)
    first, second = -start / divisor, (size - start) / divisor
    low, high = np.minimum(first, second), np.maximum(first, second)
    within = (start >= 0.0) & (start <= size)
    low = np.where(level, np.where(within, -np.inf, np.inf), low)
    high = np.where(level, np.where(within, np.inf, -np.inf), high)
    return np.maximum(low.max(axis=1), 0.0), np.minimum(high.min(axis=1), 1.0)


def _crossings(x: Floats, dx: Floats, enter: Floats, leave: Floats, lines: int, begin: Floats) -> Floats:
    """Return ``begin`` + t of all crossings with the inner grid lines ``1 .. lines - 1`` across one axis."""
    one, two = x + enter * dx, x + leave * dx
    first = np.maximum(np.floor(np.minimum(one, two)) + 1.0, 1.0).astype(np.int64)
    last = np.minimum(np.ceil(np.maximum(one, two)) - 1.0, lines - 1.0).astype(np.int64)
    count = np.maximum(last - first + 1, 0)
    row = np.repeat(np.arange(len(x)), count)
    line = np.arange(row.size) + np.repeat(first - (np.cumsum(count) - count), count)
    t = (line - x[row]) / dx[row]
    return np.asarray(begin[row] + np.clip(t, enter[row], leave[row]))
