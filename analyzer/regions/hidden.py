"""What lies under later stitching: a raster of the last dense stitch over each place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.raster import grown, shrunk
from analyzer.regions.sewn import Sewn, chunks

_CELL_MM = 0.5  #: one empty cell at most between rows 1 mm apart, which the closing fills
_COVER_CELLS = ((0.6, 0.0, 0.55), (1.1, 0.55, 2.0))  #: side mm of a cell, for spacings from mm, to mm
_MOST_CELLS = 4_000_000  #: coarser cells beyond this, for absurdly large designs
_MOST_SLOTS = 8_000_003  #: cells of a very large design share so many slots
_PAIRS_AT_ONCE = 2_000_000

Keys: TypeAlias = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Ground:
    """What dense stitching lies over the samples of a design."""

    latest: Ints  #: (q,) the last dense stitch over each sample, -1 for none

    def over(self, sewn: Sewn, piece: Piece) -> Ints:
        """Return the last dense stitch over each sample of a piece, (k,)."""
        return self.latest[sewn.start[piece.first] : sewn.start[piece.last + 1]]


def dense(piece: Piece) -> bool:
    """Whether a band is laid so closely that it hides what is under it."""
    table = constants("regions")
    limit = table["dense_satin_mm" if piece.shape == "zigzag" else "dense_fill_mm"].value
    return piece.band and piece.spacing_mm < limit


def dense_ground(sewn: Sewn, pieces: list[Piece]) -> Ground | None:
    """Lay all dense bands into cells, close the slits between rows; None when there are none."""
    laid = np.zeros(len(sewn.points), dtype=np.bool_)
    corners = []
    for piece in pieces:
        if dense(piece):
            part = slice(int(sewn.start[piece.first]), int(sewn.start[piece.last + 1]))
            laid[part] = True
            # Column by column: numpy is slow along the long side of a narrow array.
            x, y = sewn.points[part, 0], sewn.points[part, 1]
            corners += [(x.min(), y.min()), (x.max(), y.max())]
    if not corners:
        return None
    low, high = np.min(corners, axis=0), np.max(corners, axis=0)
    cell_mm = max(_CELL_MM, float(np.sqrt(np.prod(high - low + 3.0) / _MOST_CELLS)))
    low = low - 2.37 * cell_mm  # off the file's own lattice
    nx, ny = (np.ceil((high - low) / cell_mm).astype(np.int64) + 3).tolist()
    # One more cell, the last, stands for everywhere outside.
    cell = np.empty(len(laid), dtype=np.int32)
    for part in chunks(len(laid)):
        x, y = (np.floor((sewn.points[part, axis] - low[axis]) / cell_mm) for axis in (0, 1))
        inside = (x >= 0) & (x < nx) & (y >= 0) & (y < ny)
        cell[part] = np.where(inside, y * nx + x, ny * nx)
    latest = np.full(ny * nx + 1, -1, dtype=np.int32)
    latest[cell[laid]] = sewn.stitch[laid]  # in sewing order, so that the last one stays
    raster = latest[:-1].reshape(ny, nx)
    np.maximum(raster, shrunk(grown(raster)), out=raster)
    return Ground(latest[cell])


def hidden_share(sewn: Sewn, piece: Piece, over: Ground | None) -> float:
    """Share of a piece's thread that stitching later than the piece covers."""
    if over is None:
        return 0.0
    latest = over.over(sewn, piece)
    return float(np.count_nonzero(latest > piece.last) / latest.size)


def covered_stitches(sewn: Sewn, pieces: list[Piece], over: Ground) -> Bools:
    """Return which stitches mostly lie under stitching later than their piece, (m,)."""
    first = np.array([piece.first for piece in pieces], dtype=np.int32)
    last = np.array([piece.last for piece in pieces], dtype=np.int32)
    bounds = np.append(sewn.start[first], len(sewn.points))
    later = over.latest > np.repeat(last, np.diff(bounds))
    covered: Bools = 2 * np.add.reduceat(later, sewn.start[:-1], dtype=np.int32) > np.diff(sewn.start)
    return covered


def settled(sewn: Sewn, piece: Piece, covered: Bools) -> Bools:
    """Return which stitches of a piece count as hidden, (last - first + 1,): short changes are left out."""
    hidden = covered[piece.first : piece.last + 1].copy()
    table = constants("regions")
    ends, within = table["bridge_mm"].value, table["dive_mm"].value
    length = np.maximum(sewn.lengths_mm[piece.first : piece.last + 1], 0.01)
    # The shortest changes of state go first, so that what is left are stretches worth a region. A line often
    # comes from under something or ends there; it dives and comes back only where the dive is long.
    while True:
        edge = np.flatnonzero(np.diff(hidden)) + 1
        begin, stop = np.concatenate([[0], edge]), np.append(edge, hidden.size)
        if begin.size < 2:
            return hidden
        stretch = np.add.reduceat(length, begin) / within
        stretch[[0, -1]] *= within / ends
        around = np.full(stretch.size + 2, np.inf)
        around[1:-1] = stretch
        # Every stretch shorter than both beside it at once: no two of them touch.
        short = np.flatnonzero((stretch < 1.0) & (stretch < around[:-2]) & (stretch <= around[2:]))
        if not short.size:
            return hidden
        for a, b in zip(begin[short].tolist(), stop[short].tolist(), strict=True):
            hidden[a:b] = ~hidden[a]


def covered_by(sewn: Sewn, pieces: list[Piece]) -> list[list[int]]:
    """For each of the pieces those that mostly lie under it, by number; none under one that is not dense.

    Each band takes up cells no smaller than its spacing; a region mostly lies under a later band where most
    of its samples lie in cells of that band.
    """
    share, count = constants("regions")["hidden_share"].value, len(pieces)
    begin = sewn.start[[piece.first for piece in pieces]]
    total = np.diff(begin, append=len(sewn.points))
    owner = np.repeat(np.arange(count, dtype=np.int32), total)
    spacing = np.array([piece.spacing_mm if dense(piece) else -1.0 for piece in pieces])
    found: list[list[int]] = [[] for _ in pieces]
    for cell_mm, least, most in _COVER_CELLS:
        laid = (least <= spacing) & (spacing < most)
        if not laid.any():
            continue
        cell = _cells(sewn.points, cell_mm)
        tops = np.flatnonzero(laid[owner])
        # By the last band in each cell alone: what lies mostly under one lies no less under any. Far places
        # may share a slot, which only lets more through to the exact count.
        slot = cell if cell.max() < _MOST_SLOTS else cell % _MOST_SLOTS
        last = np.full(int(slot.max()) + 1, -1, dtype=np.int32)
        last[slot[tops]] = owner[tops]
        under = last[slot] > owner
        mostly = np.add.reduceat(under, begin, dtype=np.int64) > share * total
        under &= mostly[owner]
        wanted = np.zeros(last.size, dtype=np.bool_)
        wanted[slot[under]] = True
        tops = tops[wanted[slot[tops]]]
        above = cell[tops] * count + owner[tops]
        pair, hits = _stacked(cell[under] * count + owner[under], above, count)
        mostly_there = hits > share * total[pair % count]
        uppers, lowers = pair[mostly_there] // count, pair[mostly_there] % count
        for upper, lower in zip(uppers.tolist(), lowers.tolist(), strict=True):
            found[upper].append(lower)
    return found


def _stacked(lower: Keys, upper: Keys, count: int) -> tuple[Keys, Keys]:
    """Count samples of each region in cells of each later one; keys are ``cell * count + region``.

    Returns keys ``later * count + region`` in order, and the samples of each.
    """
    upper = np.sort(upper)
    upper = upper[np.diff(upper, prepend=-1) > 0]
    lower, samples = np.unique(lower, return_counts=True)
    begin = np.searchsorted(upper, lower, side="right")
    times = np.searchsorted(upper, (lower // count + 1) * count) - begin
    # A few million at a time: in a heap of stitching each cell holds many regions.
    part = np.cumsum(times) // _PAIRS_AT_ONCE
    pairs, hits = [lower[:0]], [samples[:0]]
    for rows in np.split(np.arange(lower.size), np.flatnonzero(np.diff(part)) + 1):
        which = np.repeat(rows, times[rows])
        ends = np.cumsum(times[rows])
        rank = np.arange(which.size) - np.repeat(ends - times[rows], times[rows])
        pair, place = np.unique(
            upper[begin[which] + rank] % count * count + lower[which] % count, return_inverse=True
        )
        pairs.append(pair)
        hits.append(np.bincount(place, weights=samples[which]).astype(np.int64))
    pair, place = np.unique(np.concatenate(pairs), return_inverse=True)
    return pair, np.bincount(place, weights=np.concatenate(hits)).astype(np.int64)


def _cells(points: Floats, cell_mm: float) -> Keys:
    """Return the number of the cell that each of ``points`` (q, 2) mm is in."""
    x0, y0 = points[:, 0].min(), points[:, 1].min()
    wide = int((points[:, 0].max() - x0) / cell_mm + 0.37) + 1
    numbers = np.empty(len(points), dtype=np.int64)
    for part in chunks(len(points)):
        column = ((points[part, 0] - x0) / cell_mm + 0.37).astype(np.int64)
        line = ((points[part, 1] - y0) / cell_mm + 0.37).astype(np.int64)
        numbers[part] = line * wide + column
    return numbers
