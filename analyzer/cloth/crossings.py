"""Where threads cross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, box_of, distinct
from analyzer.laid import Grid, clip

_Longs = npt.NDArray[np.int64]

_HASH_MM = 1.0  #: side of the cells in which threads are compared pairwise
_MOST_PAIRS = 50_000  #: pairs of threads compared at a time, so that they stay in cache
_TOUCH_MM2 = 1e-9  #: cross products below this count as touching: rounding of lattice points


@dataclass(frozen=True, slots=True)
class Crossings:
    """Crossings of threads: ``pairs`` (c, 2), rows in rising order, each once, sorted.

    ``at`` (c, 2) tells where along each of the two, as a share of its length.
    """

    pairs: _Longs
    at: Floats


def find_crossings(a: Floats, b: Floats, holes: _Longs) -> Crossings:
    """Find all pairs of threads that cross or touch inside their lengths.

    ``a`` and ``b`` (k, 2) mm are their ends, ``holes`` (2, k) numbers of the holes that they end in. A thread
    that ends on another counts as crossing it; two that share a hole, or lie along one line, do not.
    """
    if len(a) == 0:
        return Crossings(np.zeros((0, 2), dtype=np.int64), np.zeros((0, 2)))
    low, high = box_of(a, b)
    low -= 0.37 * _HASH_MM
    size = np.ceil((high + 0.5 * _HASH_MM - low) / _HASH_MM).astype(int)
    pieces = clip(a, b, Grid(float(low[0]), float(low[1]), _HASH_MM, int(size[0]), int(size[1])))
    # Threads along each other in a cell: those with the same cell, sorted by cell and then by thread.
    order = np.argsort(pieces.cell, kind="stable")
    cell, thread = pieces.cell[order], pieces.stitch[order].astype(np.int64)
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    stop = np.repeat(np.append(starts[1:], cell.size), np.diff(np.append(starts, cell.size)))
    later = stop - np.arange(cell.size) - 1  # how many threads of the cell come after this one
    total = np.cumsum(later)
    lines = _lines(a - low, b - low)
    found = []
    begin = 0
    while begin < cell.size:
        done = int(total[begin - 1]) if begin else 0
        end = max(begin + 1, int(np.searchsorted(total, done + _MOST_PAIRS, side="right")))
        part = later[begin:end]
        i = np.repeat(np.arange(end - begin), part)
        j = i + 1 + np.arange(i.size) - np.repeat(total[begin:end] - part - done, part)
        here = thread[begin : int(stop[end - 1])]
        i, j = _meeting(lines.take(here, axis=1), i, j)
        one, two = here[i], here[j]
        apart = (holes[:, one][:, None, :] != holes[:, two][None, :, :]).all(axis=(0, 1))
        found.append(one[apart] * len(a) + two[apart])
        begin = end
    keys = distinct(np.concatenate(found)) if found else np.zeros(0, dtype=np.int64)
    one, two = np.divmod(keys, len(a))
    return Crossings(np.stack([one, two], axis=1), _where(lines, one, two))


def _lines(a: Floats, b: Floats) -> Floats:
    """Return ends and line of every thread: ax, ay, bx, by, and n, c with n . p = c on it; (7, k)."""
    nx, ny = b[:, 1] - a[:, 1], a[:, 0] - b[:, 0]
    return np.stack([*a.T, *b.T, nx, ny, nx * a[:, 0] + ny * a[:, 1]])


def _sides(lines: Floats, line: _Longs, of: _Longs) -> tuple[Floats, Floats]:
    """Return on which side of ``line`` (p,) the ends of the threads ``of`` (p,) lie: signed areas, mm2."""
    ax, ay, bx, by, nx, ny, c = lines
    n, m, level = nx[line], ny[line], c[line]
    one, two = n * ax[of] + m * ay[of] - level, n * bx[of] + m * by[of] - level
    one[np.abs(one) < _TOUCH_MM2] = 0.0
    two[np.abs(two) < _TOUCH_MM2] = 0.0
    return one, two


def _meeting(lines: Floats, one: _Longs, two: _Longs) -> tuple[_Longs, _Longs]:
    """Keep the pairs of threads that meet: each has its ends on different sides of the other.

    Two along one line do not meet.
    """
    c, d = _sides(lines, one, two)
    met: Bools = (c * d <= 0.0) & ((c != 0.0) | (d != 0.0))
    one, two = one[met], two[met]
    c, d = _sides(lines, two, one)
    met = c * d <= 0.0
    return one[met], two[met]


def _where(lines: Floats, one: _Longs, two: _Longs) -> Floats:
    """Return where along each of the two threads they meet, as a share of its length; (p, 2)."""
    shares = []
    for line, of in ((two, one), (one, two)):
        c, d = _sides(lines, line, of)
        shares.append(c / np.where(c == d, 1.0, c - d))
    return np.clip(np.stack(shares, axis=1), 0.0, 1.0)
