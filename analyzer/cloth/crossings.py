"""Where threads cross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, box_of, distinct
from analyzer.cloth.nearby import Nearby

_Longs = npt.NDArray[np.int64]

_MOST_PAIRS = 50_000  #: pairs of threads compared at a time, so that they stay in cache
_TOUCH_MM2 = 1e-9  #: cross products below this count as touching: rounding of lattice points


@dataclass(frozen=True, slots=True)
class Crossings:
    """Crossings of threads: ``pairs`` (c, 2), rows in rising order, each once, sorted.

    ``at`` (c, 2) tells where along each of the two, as a share of its length.
    """

    pairs: _Longs
    at: Floats


def find_crossings(near: Nearby, holes: _Longs) -> Crossings:
    """Find all pairs of threads that cross or touch inside their lengths.

    ``holes`` (2, k) are numbers of the holes that the threads end in. A thread that ends on another counts as
    crossing it; two that share a hole, or lie along one line, do not. Threads are compared pairwise within
    the cells of ``near``.
    """
    if near.thread.size == 0:
        return Crossings(np.zeros((0, 2), dtype=np.int64), np.zeros((0, 2)))
    low, _ = box_of(near.a, near.b)
    lines = _lines(near.a - low, near.b - low)
    number = np.diff(near.start)
    thread, stop = near.thread, np.repeat(near.start[1:], number)
    later = stop - np.arange(thread.size) - 1  # how many threads of the cell come after this one
    total = np.cumsum(later)
    found = []
    begin = 0
    while begin < thread.size:
        done = int(total[begin - 1]) if begin else 0
        end = max(begin + 1, int(np.searchsorted(total, done + _MOST_PAIRS, side="right")))
        part = later[begin:end]
        i = np.repeat(np.arange(end - begin), part)
        j = i + 1 + np.arange(i.size) - np.repeat(total[begin:end] - part - done, part)
        here = thread[begin : int(stop[end - 1])]
        i, j = _meeting(lines.take(here, axis=1), i, j)
        from_hole, to_hole = holes.take(here, axis=1)
        apart = np.ones(i.size, dtype=np.bool_)
        for its in (from_hole.take(i), to_hole.take(i)):
            apart &= (its != from_hole.take(j)) & (its != to_hole.take(j))
        found.append(here.take(i[apart]) * len(near.a) + here.take(j[apart]))
        begin = end
    keys = distinct(np.concatenate(found))
    one, two = np.divmod(keys, len(near.a))
    return Crossings(np.stack([one, two], axis=1), _where(lines, one, two))


def _lines(a: Floats, b: Floats) -> Floats:
    """Return ends and line of every thread: ax, ay, bx, by, and n, c with n . p = c on it; (7, k)."""
    nx, ny = b[:, 1] - a[:, 1], a[:, 0] - b[:, 0]
    return np.stack([*a.T, *b.T, nx, ny, nx * a[:, 0] + ny * a[:, 1]])


def _sides(lines: Floats, line: _Longs, of: _Longs) -> tuple[Floats, Floats]:
    """Return on which side of ``line`` (p,) the ends of the threads ``of`` (p,) lie: signed areas, mm2."""
    ax, ay, bx, by, nx, ny, c = lines
    n, m, level = nx.take(line), ny.take(line), c.take(line)
    sides = []
    for x, y in ((ax, ay), (bx, by)):
        side = n * x.take(of)
        side += m * y.take(of)
        side -= level
        side[np.abs(side) < _TOUCH_MM2] = 0.0
        sides.append(side)
    return sides[0], sides[1]


def _meeting(lines: Floats, one: _Longs, two: _Longs) -> tuple[_Longs, _Longs]:
    """Keep the pairs of threads that meet: each has its ends on different sides of the other.

    Two along one line do not meet.
    """
    c, d = _sides(lines, one, two)
    met = np.flatnonzero((c * d <= 0.0) & ((c != 0.0) | (d != 0.0)))
    one, two = one.take(met), two.take(met)
    c, d = _sides(lines, two, one)
    met = np.flatnonzero(c * d <= 0.0)
    return one.take(met), two.take(met)


def _where(lines: Floats, one: _Longs, two: _Longs) -> Floats:
    """Return where along each of the two threads they meet, as a share of its length; (p, 2)."""
    shares = []
    for line, of in ((two, one), (one, two)):
        c, d = _sides(lines, line, of)
        shares.append(c / np.where(c == d, 1.0, c - d))
    return np.clip(np.stack(shares, axis=1), 0.0, 1.0)
