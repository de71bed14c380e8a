"""Ties, and strokes: stretches of near-collinear stitches, linked to their antiparallel neighbours.

A row of a fill is one stroke, so is one thread of a satin. Strokes never run over a cut, a tie or a jump.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.sewn import Sewn, chunks, dot

_TIE_STITCHES = 9  #: most stitches looked at for one tie
_LAGS = (1, 2, 3)  #: how many strokes later the neighbouring row may begin
_ROW_COSINE = -0.9  #: rows are antiparallel within 26 degrees
_ZIGZAG_COSINE = -0.35  #: open zig-zags meet at up to 110 degrees
_LEAST_TURN_DEG, _TURN_DEG_MM = (
    15.0,
    12.0,
)  #: the first plus the second over the length
_SHORTEST_MM = 0.45  #: shorter strokes have no direction on a lattice of 0.1 mm

Keys: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Strokes:
    """The s strokes of a design in order; stroke k holds the stitches ``first[k]+1 .. last[k]``."""

    first: Ints  #: (s,) penetration where it begins
    last: Ints  #: (s,) penetration where it ends
    start: Floats  #: (s, 2) mm
    end: Floats  #: (s, 2) mm
    unit: Floats  #: (s, 2) direction of the chord
    turn_deg: Floats  #: (s,) the same, degrees
    chord_mm: Floats  #: (s,)
    path_mm: Floats  #: (s,)
    halted: Bools  #: (s,) whether the machine halts where it begins
    begun: Ints  #: (m,) how many strokes begin before each penetration
    cosine: Floats  #: (s,) between each stroke and the one before, 1 for the first
    stretch: Ints  #: (s,) number of the unbroken stretch of strokes each is in: no cut, tie, jump or halt

    def within(self, first: int, last: int) -> tuple[int, int]:
        """Return from which stroke to before which lie those that begin among stitches ``first .. last``."""
        return int(self.begun[max(first - 1, 0)]), int(self.begun[last])

    @property
    def stitches(self) -> Ints:
        """Stitches in each stroke, (s,)."""
        return self.last - self.first


@dataclass(frozen=True, slots=True)
class Links:
    """For each of s strokes its next neighbour: ``partner`` (s,), -1 for none."""

    partner: Ints
    across: Floats  #: (s, 2) mm, from the stroke's line to its partner's, square to both
    offset_mm: Floats  #: (s,) length of that, the distance between the neighbouring threads


def find_ties(sewn: Sewn) -> Bools:
    """Return which stitches are ties, (m,): short, in a small box, coming back, at a thread's end."""
    table = constants("regions")
    longest, box = table["tie_stitch_mm"].value, table["tie_box_mm"].value
    points, lengths = sewn.penetrations, sewn.lengths_mm
    m = len(points)
    ties = np.zeros(m, dtype=np.bool_)
    cut = ~sewn.joined
    moved = sewn.jumped & (lengths > longest)
    starts = np.flatnonzero(cut | moved)
    ends = np.append(starts[1:], m) - 1
    step = np.arange(_TIE_STITCHES + 1)
    for part in chunks(starts.size):
        start, end = starts[part], ends[part]
        count = np.minimum(end - start, _TIE_STITCHES)
        for origin, way in ((start, 1), (end, -1)):
            index = np.clip(origin[:, None] + way * step, start[:, None], end[:, None])
            tie = step[:-1] < _tie_lengths(points[index], count, longest, box)[:, None]
            ties[(index[:, 1:] if way > 0 else index[:, :-1])[tie]] = True
    ties[starts] = False
    return ties


def _tie_lengths(points: Floats, count: Ints, longest_mm: float, box_mm: float) -> Ints:
    """Return how many of the first ``count`` (k,) stitches along ``points`` (k, n, 2) are a tie, (k,)."""
    step = np.arange(points.shape[1])
    steps = np.hypot(*np.moveaxis(np.diff(points, axis=1), 2, 0))
    spread = np.maximum.accumulate(points, axis=1) - np.minimum.accumulate(points, axis=1)
    fits = (steps < longest_mm) & (spread[:, 1:] <= box_mm).all(axis=2) & (step[:-1] < count[:, None])
    held = np.logical_and.accumulate(fits, axis=1).sum(axis=1)
    near = constants("regions")["retrace_mm"].value
    apart = np.hypot(*np.moveaxis(points[:, :, None] - points[:, None], 3, 0))
    back = ((apart < near) & np.tri(step.size, k=-2, dtype=np.bool_)).any(axis=2)
    returns = np.where(back & (step <= held[:, None]), step, 0)
    found: Ints = np.where(count >= 2, returns.max(axis=1), 0).astype(np.int32)
    return found


def find_strokes(sewn: Sewn, ties: Bools) -> Strokes:
    """Join near-collinear stitches into strokes."""
    points = sewn.penetrations
    usable = sewn.joined & ~ties
    stitch = np.flatnonzero(usable)
    if not stitch.size:
        none, nothing, nil = np.zeros(0, dtype=np.int32), np.zeros((0, 2)), np.zeros(0)
        begun = np.zeros(len(points), dtype=np.int32)
        return Strokes(none, none, nothing, nothing, nothing, nil, nil, nil, none > 0, begun, nil, none)
    vector = points[stitch] - points[stitch - 1]
    length = np.hypot(*vector.T)
    unit = vector / np.maximum(length, 1e-9)[:, None]
    cosine = dot(unit[1:], unit[:-1])
    new = np.ones(stitch.size, dtype=np.bool_)
    # Rounding to a tenth turns short stitches most: the longer they are, the less they may turn.
    shorter = np.maximum(np.minimum(length[1:], length[:-1]), 0.1)
    turn = np.minimum(constants("regions")["turn_deg"].value, _LEAST_TURN_DEG + _TURN_DEG_MM / shorter)
    new[1:] = (
        (np.diff(stitch) > 1)
        | (cosine < np.cos(np.radians(turn)))
        | sewn.jumped[stitch[1:]]
        | sewn.jumped[stitch[:-1]]
        | sewn.halts[stitch[1:]]
    )
    begin = np.flatnonzero(new)
    stop = np.append(begin[1:], stitch.size) - 1
    first, last = stitch[begin] - 1, stitch[stop]
    chord = points[last] - points[first]
    chord_mm = np.hypot(*chord.T)
    begins = np.bincount(first + 1, minlength=len(points))
    halted = sewn.halts[stitch[begin]]
    broken = halted.copy()
    broken[1:] |= first[1:] != last[:-1]
    way = chord / np.maximum(chord_mm, 1e-9)[:, None]
    turn_cosine = np.ones(len(way))
    turn_cosine[1:] = dot(way[1:], way[:-1])
    return Strokes(
        first=first.astype(np.int32),
        last=last.astype(np.int32),
        start=points[first],
        end=points[last],
        unit=way,
        turn_deg=np.degrees(np.arctan2(way[:, 1], way[:, 0])),
        chord_mm=chord_mm,
        path_mm=np.add.reduceat(length, begin),
        halted=halted,
        begun=np.cumsum(begins, dtype=np.int32),
        cosine=turn_cosine,
        stretch=np.cumsum(broken, dtype=np.int32),
    )


def link_strokes(strokes: Strokes) -> Links:
    """Link each stroke to the next antiparallel one beside it, at most three strokes later."""
    count = len(strokes.first)
    partner = np.full(count, -1, dtype=np.int32)
    across = np.zeros((count, 2))
    path = np.concatenate([[0.0], np.cumsum(strokes.path_mm)])
    for lag in _LAGS:
        a = np.flatnonzero(partner[: max(count - lag, 0)] < 0).astype(np.int32)
        b = (a + lag).astype(np.int32)
        beside, step = _beside(strokes, a, b, path[b] - path[a + 1])
        partner[a[beside]] = b[beside]
        across[a[beside]] = step
    return Links(partner=partner, across=across, offset_mm=np.hypot(*across.T))


def _beside(strokes: Strokes, a: Ints, b: Ints, between_mm: Floats) -> tuple[Keys, Floats]:
    """Return which strokes ``b`` run back beside ``a``, (k,), and the vectors across to those, (k, 2)."""
    near = constants("regions")["retrace_mm"].value
    back = strokes.end.take(b, axis=0) - strokes.start.take(a, axis=0)
    returned = np.maximum(np.abs(back[:, 0]), np.abs(back[:, 1])) < near
    returned[returned] = np.hypot(*back[returned].T) < near
    # On the inside of a tight curve a satin comes back to the same point too, but at every second thread.
    again = np.zeros(a.size, dtype=np.bool_)
    again[1:] |= returned[:-1] & (np.diff(a) == 1)
    again[:-1] |= returned[1:] & (np.diff(a) == 1)
    single = (strokes.stitches[a] == 1) & (strokes.stitches[b] == 1)
    shorter = np.minimum(strokes.chord_mm[a], strokes.chord_mm[b])
    straight = strokes.chord_mm > 0.96 * strokes.path_mm
    cosine = dot(strokes.unit.take(a, axis=0), strokes.unit.take(b, axis=0))
    # What takes little to tell leaves few strokes of a fill to what takes more.
    may = np.flatnonzero(
        (strokes.stretch[a] == strokes.stretch[b])
        & (cosine < np.where(single & (b == a + 1), _ZIGZAG_COSINE, _ROW_COSINE))
        & straight[a]
        & straight[b]
        & ~(single & returned & again)
        & (shorter > _SHORTEST_MM)
        & (between_mm < 1.5 + 0.5 * shorter)
    )
    level, step = _level(strokes, a[may], b[may], single[may])
    return may[level], step[level]


def _level(strokes: Strokes, a: Ints, b: Ints, single: Bools) -> tuple[Bools, Floats]:
    """Return which strokes ``b`` lie level with ``a`` and not on them, and the vectors across, (k, 2)."""
    table = constants("regions")
    ua = strokes.unit.take(a, axis=0)
    start_a, end_a = strokes.start.take(a, axis=0), strokes.end.take(a, axis=0)
    start_b, end_b = strokes.start.take(b, axis=0), strokes.end.take(b, axis=0)
    axis = ua - strokes.unit.take(b, axis=0)
    axis /= np.maximum(np.hypot(*axis.T), 1e-9)[:, None]
    side = np.stack([-axis[:, 1], axis[:, 0]], axis=1)
    middle = (start_b + end_b - start_a - end_a) / 2
    offset = dot(middle, side)
    along = [dot(p - start_a, axis) for p in (end_a, end_b, start_b)]
    overlap = np.minimum(along[0], along[2]) - np.maximum(0.0, along[1])
    shorter = np.minimum(strokes.chord_mm[a], strokes.chord_mm[b])
    way_a = np.stack([-ua[:, 1], ua[:, 0]], axis=1)
    away = [np.abs(dot(p - start_a, way_a)) for p in (start_b, end_b)]
    retraced = ~single & (np.maximum(*away) < table["retrace_mm"].value)
    level = (
        ~retraced
        & (overlap > 0.5 * shorter)
        & (np.abs(offset) < table["row_offset_mm"].value)
        & (np.abs(offset) < 1.2 * shorter)
    )
    return level, side * offset[:, None]
