"""The stitch sequence as this room works on it: lengths and samples, computed once for all stretches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.design import Design
from analyzer.regions.halts import halts

SAMPLE_MM = 0.5  #: samples along every stitch lie no further apart
_ROWS_AT_ONCE = 1 << 16


@dataclass(frozen=True, slots=True)
class Sewn:
    """The m penetrations of a design, with q samples along the thread between them.

    Samples of stitch i are ``points[start[i]:start[i + 1]]``; one that nothing joins to the one before has
    the penetration itself.
    """

    penetrations: Floats  #: (m, 2) mm
    joined: Bools  #: (m,)
    jumped: Bools  #: (m,)
    colour: Ints  #: (m,)
    halts: Bools  #: (m,) whether the machine halts before it
    lengths_mm: Floats  #: (m,) 0 where nothing joins
    way_mm: Floats  #: (m + 1,) thread before each stitch
    points: Floats  #: (q, 2) mm
    stitch: Ints  #: (q,)
    start: Ints  #: (m + 1,)

    @classmethod
    def of(cls, design: Design) -> Sewn:
        """Measure and sample a design."""
        lengths = design.lengths_mm
        points, stitch, start = _sample(design.penetrations, design.joined, lengths, SAMPLE_MM)
        return cls(
            penetrations=design.penetrations,
            joined=design.joined,
            jumped=design.jumped,
            colour=design.colour,
            halts=halts(design),
            lengths_mm=lengths,
            way_mm=np.concatenate([[0.0], np.cumsum(lengths)]),
            points=points,
            stitch=stitch,
            start=start,
        )

    def path_mm(self, first: int, last: int) -> float:
        """Thread length of the stitches ``first .. last``, mm."""
        return float(self.way_mm[last + 1] - self.way_mm[first])

    def samples(self, first: int, last: int) -> tuple[Floats, Ints]:
        """Return the samples of stitches ``first .. last``: (k, 2) mm and the stitch of each, (k,)."""
        part = slice(int(self.start[first]), int(self.start[last + 1]))
        return self.points[part], self.stitch[part]

    def sampled(self, stitches: npt.NDArray[np.int64], step_mm: float) -> tuple[Floats, Ints]:
        """Return samples of joined ``stitches`` (k,) no further apart than ``step_mm``, stitch by stitch."""
        step = self.penetrations[stitches] - self.penetrations[stitches - 1]
        ends = self.penetrations[stitches]
        points, which, _ = _spread(ends, step, self.lengths_mm[stitches], step_mm)
        return points, stitches[which].astype(np.int32)

    def samples_of(self, stitches: npt.NDArray[np.int64]) -> tuple[Floats, npt.NDArray[np.int64]]:
        """Return the samples of ``stitches`` (k,), (q, 2) mm, and which of those each is of, (q,)."""
        count = self.start[stitches + 1] - self.start[stitches]
        which = np.repeat(np.arange(stitches.size), count)
        rank = np.arange(which.size) - np.repeat(np.cumsum(count) - count, count)
        return self.points.take(self.start[stitches[which]] + rank, axis=0), which

    def finely(self, first: int, last: int, step_mm: float) -> tuple[Floats, Ints]:
        """Return samples of stitches ``first .. last`` no further apart than ``step_mm``."""
        before = max(first - 1, 0)
        skip = first - before
        points, stitch, start = _sample(
            self.penetrations[before : last + 1],
            self.joined[before : last + 1],
            self.lengths_mm[before : last + 1],
            step_mm,
        )
        return points[start[skip] :], stitch[start[skip] :] + np.int32(before)


def _sample(points: Floats, joined: Bools, lengths: Floats, step_mm: float) -> tuple[Floats, Ints, Ints]:
    step = np.zeros_like(points)
    step[1:] = np.diff(points, axis=0)
    step[~joined] = 0.0
    return _spread(points, step, lengths, step_mm)


def _spread(ends: Floats, step: Floats, lengths: Floats, step_mm: float) -> tuple[Floats, Ints, Ints]:
    """Sample the stitches that come by ``step`` (m, 2) to ``ends`` (m, 2): points, stitch of each, starts."""
    count = np.maximum(np.ceil(lengths / step_mm - 1e-9).astype(np.int32), 1)
    start = np.zeros(count.size + 1, dtype=np.int32)
    np.cumsum(count, out=start[1:])
    which = np.repeat(np.arange(count.size, dtype=np.int32), count)
    found = np.empty((which.size, 2))
    for part in chunks(which.size):
        own = which[part]
        done = (np.arange(part.start, part.stop) - start[own] + 0.5) / count[own]
        # From its end back: a stitch that nothing joins stays at its penetration.
        found[part] = ends.take(own, axis=0) - (1.0 - done)[:, None] * step.take(own, axis=0)
    return found, which, start


def dot(a: Floats, b: Floats) -> Floats:
    """Return the scalar products of vectors (k, 2); column by column, which numpy does fastest."""
    found: Floats = a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1]
    return found


def chunks(count: int) -> Iterator[slice]:
    """Yield slices of so many rows that what is worked out from them stays small, in order."""
    for begin in range(0, count, _ROWS_AT_ONCE):
        yield slice(begin, min(begin + _ROWS_AT_ONCE, count))


def median(values: Floats | Ints) -> float:
    """Return the median of a few values: numpy's own costs more than sorting does on arrays this small."""
    ordered = np.sort(values)
    return float((ordered[(ordered.size - 1) // 2] + ordered[ordered.size // 2]) / 2)


def medians(values: Floats, count: npt.NDArray[np.integer]) -> Floats:
    """Return the median of each of k runs of positive ``values``, (k,), nan for an empty run.

    The first run is the first ``count[0]`` of the values, and so on.
    """
    # One run after the other along one axis: much sooner sorted than by two keys.
    span = float(values.max()) + 1.0 if values.size else 1.0
    values = values[np.argsort(np.repeat(span * np.arange(len(count)), count) + values)]
    begin = np.cumsum(count) - count
    found = np.full(len(count), np.nan)
    some = count > 0
    low, high = begin[some] + (count[some] - 1) // 2, begin[some] + count[some] // 2
    found[some] = (values[low] + values[high]) / 2
    return found


def near_box(points: Floats, around: Floats, reach_mm: float) -> Floats:
    """Return those of ``points`` (k, 2) no further than ``reach_mm`` from the box of ``around`` (q, 2)."""
    low, high = around.min(axis=0) - reach_mm, around.max(axis=0) + reach_mm
    x, y = points[:, 0], points[:, 1]
    found: Floats = points[(x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1])]
    return found
