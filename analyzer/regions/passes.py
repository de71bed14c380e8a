"""Lines sewn several times: where along an unbroken line the number of passes changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.sewn import Sewn

_MOST_PASSES = 3
_LATTICE_MM = 0.1


def split_passes(sewn: Sewn, pieces: list[Piece]) -> list[Piece]:
    """Part each line where it goes over from so many passes to another number for a good length.

    A stitch counts as often as the line holds it, in either direction, between the same two points.
    """
    least = constants("regions")["passes_mm"].value
    kept: list[Piece] = []
    for piece in pieces:
        if piece.shape != "line" or piece.path_mm(sewn) < 2 * least or not sewn.joined[piece.first]:
            kept.append(piece)
            continue
        points = sewn.penetrations[piece.first - 1 : piece.last + 1]
        length = np.maximum(sewn.lengths_mm[piece.first : piece.last + 1], 0.01)
        times = _settled(_times(points), length, least)
        begin, stop = _stretches(times)
        for a, b in zip(begin.tolist(), stop.tolist(), strict=True):
            # What another part of the line happens to lie on is not sewn again by itself.
            times[a : b + 1] = min(int(times[a]), round(float(_times(points[a : b + 2]).mean())))
        begin, stop = _stretches(times)
        for a, b in zip(begin.tolist(), stop.tolist(), strict=True):
            part = replace(piece, first=piece.first + a, last=piece.first + b, passes=int(times[a]))
            kept.append(part)
    return kept


def _stretches(times: Ints) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Return the first and the last stitch of each stretch of one number of passes."""
    begin = np.concatenate([[0], np.flatnonzero(np.diff(times)) + 1])
    return begin, np.append(begin[1:], times.size) - 1


def _times(points: Floats) -> Ints:
    """How often each of the stitches between ``points`` (k + 1, 2) is sewn, (k,), at most three times."""
    place = np.round(points / _LATTICE_MM).astype(np.int64)
    place -= place.min(axis=0)
    number = place[:, 1] * (place[:, 0].max() + 1) + place[:, 0]
    low, high = np.minimum(number[1:], number[:-1]), np.maximum(number[1:], number[:-1])
    _, which, count = np.unique(low * (number.max() + 1) + high, return_inverse=True, return_counts=True)
    return np.minimum(count[which], _MOST_PASSES).astype(np.int32)


def _settled(times: Ints, length: Floats, least_mm: float) -> Ints:
    """Give stretches shorter than ``least_mm`` what the longer of their neighbours has, shortest first."""
    times = times.copy()
    while True:
        begin, stop = _stretches(times)
        if begin.size < 2:
            return times
        stretch = np.add.reduceat(length, begin)
        around = np.full(stretch.size + 2, -1.0)
        around[1:-1] = stretch
        beside = np.maximum(around[:-2], around[2:])
        # All at once that are shorter than every neighbour; no two of them touch.
        left, right = (
            np.where(around[:-2] < 0, np.inf, around[:-2]),
            np.where(around[2:] < 0, np.inf, around[2:]),
        )
        short = np.flatnonzero((stretch < least_mm) & (stretch < left) & (stretch <= right))
        if not short.size:
            return times
        stop = np.append(begin[1:], times.size)
        for k in short.tolist():
            donor = k - 1 if around[k] == beside[k] else k + 1
            times[begin[k] : stop[k]] = times[begin[donor]]
