"""Measures of all regions at once: boxes, lengths, widths, passes; ragged arrays reduced piece by piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.regions.groups import Piece
from analyzer.regions.sewn import Sewn, dot, medians
from analyzer.regions.strokes import Strokes

_PROBES = 120  #: places at which the passes of a line are counted
_STEP_MM, _AROUND_MM = 0.25, 0.625  #: samples of a line, and how far around a place they are counted
_LEAST_SAMPLES = 8
_PAIRS_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True)
class Measures:
    """What the p pieces of a design measure."""

    stitches: Ints  #: (p,) joined ones
    stitch_mm: Floats  #: (p,) median length, 0 without stitches
    boxes_mm: Floats  #: (p, 4) x0, y0, x1, y1 of the penetrations
    width_mm: Floats  #: (p,) median from rail to rail of a zig-zag, nan for anything else
    size_mm: Floats  #: (p,) diagonal of the box of a band's strokes, nan for anything else
    passes: Ints  #: (p,) how many times a line is sewn, 1 for anything else


def measure(sewn: Sewn, strokes: Strokes, pieces: list[Piece]) -> Measures:
    """Measure pieces that follow each other without a gap."""
    first = np.array([piece.first for piece in pieces], dtype=np.int32)
    owner = np.repeat(np.arange(len(pieces), dtype=np.int32), np.diff(first, append=len(sewn.joined)))
    joined = np.flatnonzero(sewn.joined)
    stitches = np.bincount(owner[joined], minlength=len(pieces)).astype(np.int32)
    width, size = _bands(strokes, pieces)
    return Measures(
        stitches=stitches,
        stitch_mm=np.nan_to_num(medians(sewn.lengths_mm[joined], stitches), copy=False),
        boxes_mm=_boxes(sewn, first),
        width_mm=width,
        size_mm=size,
        passes=_passes(sewn, owner, np.array([piece.shape == "line" for piece in pieces])),
    )


def _boxes(sewn: Sewn, first: Ints) -> Floats:
    """Return the boxes of pieces that begin at ``first`` (p,), with where their first stitch comes from."""
    before = np.maximum(first - sewn.joined[first], 0)
    found = np.empty((len(first), 4))
    for axis in (0, 1):
        along = np.ascontiguousarray(sewn.penetrations[:, axis])
        found[:, axis] = np.minimum(np.minimum.reduceat(along, first), along[before])
        found[:, axis + 2] = np.maximum(np.maximum.reduceat(along, first), along[before])
    return found


def _bands(strokes: Strokes, pieces: list[Piece]) -> tuple[Floats, Floats]:
    """Return the widths of zig-zags and the sizes of all bands, both (p,)."""
    width, size = np.full(len(pieces), np.nan), np.full(len(pieces), np.nan)
    bands = [number for number, piece in enumerate(pieces) if len(piece.rows)]
    if not bands:
        return width, size
    count = np.array([len(pieces[number].rows) for number in bands])
    rows = np.concatenate([pieces[number].rows for number in bands])
    spacing = np.array([pieces[number].spacing_mm for number in bands])
    begin = np.cumsum(count) - count
    spread = [
        np.maximum.reduceat(np.maximum(a, b), begin) - np.minimum.reduceat(np.minimum(a, b), begin)
        for a, b in zip(strokes.start[rows].T, strokes.end[rows].T, strict=True)
    ]
    size[bands] = np.hypot(*spread)
    chord = medians(strokes.chord_mm[rows], count)
    # The threads lean across the column; the width is square to its run.
    across = chord * np.cos(np.arctan2(spacing, chord))
    width[bands] = np.where([pieces[number].shape == "zigzag" for number in bands], across, np.nan)
    return width, size


def _passes(sewn: Sewn, owner: Ints, line: Bools) -> Ints:
    """How many times lines are sewn: samples around their own samples, against those of a single pass."""
    passes = np.ones(len(line), dtype=np.int32)
    points, stitch = sewn.sampled(np.flatnonzero(line[owner] & sewn.joined), _STEP_MM)
    own = owner[stitch]
    count = np.bincount(own, minlength=len(line))
    keep = count[own] >= _LEAST_SAMPLES
    points, own = points[keep], own[keep]
    if not len(points):
        return passes
    count = np.where(count >= _LEAST_SAMPLES, count, 0)
    begin = np.cumsum(count) - count
    every = np.maximum(1, count // _PROBES)
    probe = np.flatnonzero((np.arange(len(own)) - begin[own]) % every[own] == 0)
    asked = np.bincount(own[probe], minlength=len(line))
    strip = _Strip.of(points, own, begin[count > 0])
    low, high = strip.around(probe)
    # Where the whole strip across holds too few for a second pass, there is none.
    some = asked > 0
    typical = medians((high - low).astype(np.float64), asked)
    twice = some & (np.nan_to_num(typical) >= 1.5 * 2 * _AROUND_MM / _STEP_MM)
    exact = twice[own[probe]]
    found = strip.count(probe[exact], low[exact], high[exact])
    typical = medians(found, np.where(twice, asked, 0))
    passes[twice] = np.maximum(1, np.round(typical[twice] / (2 * _AROUND_MM / _STEP_MM)))
    return passes


@dataclass(frozen=True, slots=True)
class _Strip:
    """Samples of lines in order along the longer side of each line's box, one line after the other."""

    points: Floats  #: (q, 2) mm
    order: npt.NDArray[np.int64]  #: (q,)
    key: Floats  #: (q,) mm along, in order; lines lie further apart than anything is looked for
    at: Floats  #: (q,) the key of each sample

    @classmethod
    def of(cls, points: Floats, own: Ints, begin: npt.NDArray[np.int64]) -> _Strip:
        """Sort ``points`` (q, 2) of lines ``own`` (q,) that begin at ``begin``."""
        low = np.stack([np.minimum.reduceat(points[:, axis], begin) for axis in (0, 1)], axis=1)
        high = np.stack([np.maximum.reduceat(points[:, axis], begin) for axis in (0, 1)], axis=1)
        size = high - low
        axis = np.argmax(size, axis=1)
        row = np.arange(len(begin))
        length = size[row, axis] + 3 * _AROUND_MM
        shift = np.cumsum(length) - length - low[row, axis]
        count = np.diff(begin, append=len(points))
        at = points[np.arange(len(points)), np.repeat(axis, count)] + np.repeat(shift, count)
        order = np.argsort(at)
        return cls(points, order, at[order], at)

    def around(self, probe: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Return from where to where in order the samples lie that may be around each of ``probe`` (k,)."""
        slack = _AROUND_MM + 1e-6
        return np.searchsorted(self.key, self.at[probe] - slack), np.searchsorted(
            self.key, self.at[probe] + slack
        )

    def count(
        self, probe: npt.NDArray[np.int64], low: npt.NDArray[np.int64], high: npt.NDArray[np.int64]
    ) -> Floats:
        """Return how many of the samples ``low .. high`` in order lie around each of ``probe`` (k,)."""
        found = np.zeros(len(probe))
        ends = np.cumsum(high - low)
        cut = np.flatnonzero(np.diff(ends // _PAIRS_AT_ONCE)) + 1
        for rows in np.split(np.arange(len(probe)), cut):
            if not rows.size:
                continue
            times = (high - low)[rows]
            which = np.repeat(rows, times)
            rank = np.arange(which.size) - np.repeat(np.cumsum(times) - times, times)
            other = self.order[low[which] + rank]
            step = self.points.take(other, axis=0) - self.points.take(probe[which], axis=0)
            near = dot(step, step) <= _AROUND_MM**2
            found[rows] = np.bincount(which - rows[0], weights=near, minlength=rows.size)
        return found
