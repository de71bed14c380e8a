"""What lies under later stitching: a raster of the last dense stitch over each place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from analyzer.arrays import Bools, Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.sewn import Sewn

_CELL_MM = 0.5  #: one empty cell at most between rows 1 mm apart, which the closing fills
_COVER_CELLS = ((0.6, 0.0, 0.55), (1.1, 0.55, 2.0))  #: side mm of a cell, for spacings from mm, to mm
_MOST_CELLS = 4_000_000  #: coarser cells beyond this, for absurdly large designs


@dataclass(frozen=True, slots=True)
class Ground:
    """Cells of dense stitching: ``latest`` (ny, nx) is the last dense stitch there, -1 for none."""

    x0: float
    y0: float
    cell_mm: float
    latest: Ints

    def at(self, points: Floats) -> Ints:
        """Return the last dense stitch over each of ``points`` (q, 2) mm, -1 for none or outside."""
        ny, nx = self.latest.shape
        ix = np.floor((points[:, 0] - self.x0) / self.cell_mm).astype(np.int64)
        iy = np.floor((points[:, 1] - self.y0) / self.cell_mm).astype(np.int64)
        inside = (ix >= 0) & (iy >= 0) & (ix < nx) & (iy < ny)
        found = np.full(len(points), -1, dtype=np.int32)
        found[inside] = self.latest[iy[inside], ix[inside]]
        return found


def dense(piece: Piece) -> bool:
    """Whether a band is laid so closely that it hides what is under it."""
    table = constants("regions")
    limit = table["dense_satin_mm" if piece.shape == "zigzag" else "dense_fill_mm"].value
    return piece.band and piece.spacing_mm < limit


def ground(points: Floats, stitch: Ints) -> Ground:
    """Lay samples ``points`` (q, 2) mm of ``stitch`` (q,) into cells and close the slits between rows."""
    low, high = points.min(axis=0), points.max(axis=0)
    cell = max(_CELL_MM, float(np.sqrt(np.prod(high - low + 3.0) / _MOST_CELLS)))
    low = low - 2.37 * cell  # off the file's own lattice
    nx, ny = (np.ceil((high - low) / cell).astype(np.int64) + 3).tolist()
    latest = np.full(ny * nx, -1, dtype=np.int32)
    index = np.floor((points - low) / cell).astype(np.int64)
    np.maximum.at(latest, index[:, 1] * nx + index[:, 0], stitch)
    closed = ndimage.minimum_filter(ndimage.maximum_filter(latest.reshape(ny, nx), 3), 3, mode="nearest")
    return Ground(float(low[0]), float(low[1]), cell, np.maximum(closed, latest.reshape(ny, nx)))


def dense_ground(sewn: Sewn, pieces: list[Piece]) -> Ground | None:
    """Return the ground that all dense bands take up; None when there are none."""
    laid = [sewn.samples(piece.first, piece.last) for piece in pieces if dense(piece)]
    if not laid:
        return None
    return ground(np.concatenate([points for points, _ in laid]), np.concatenate([own for _, own in laid]))


def hidden_share(sewn: Sewn, piece: Piece, over: Ground | None) -> float:
    """Share of a piece's thread that stitching later than the piece covers."""
    if over is None:
        return 0.0
    points, _ = sewn.samples(piece.first, piece.last)
    return float((over.at(points) > piece.last).mean())


def hidden_stitches(sewn: Sewn, piece: Piece, over: Ground) -> Bools:
    """Return which stitches of a piece are covered later, short changes left out, (last - first + 1,)."""
    points, which = sewn.samples(piece.first, piece.last)
    later = over.at(points) > piece.last
    row = which - piece.first
    share = np.bincount(row, weights=later) / np.bincount(row)
    hidden = share > 0.5
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


def covered_by(sewn: Sewn, bands: list[tuple[int, Piece]], region_of: Ints, count: int) -> list[list[int]]:
    """For each of ``count`` regions those that mostly lie under it; ``bands`` are (id, dense band).

    Each band takes up cells no smaller than its spacing; a region mostly lies under a later band where most
    of its samples lie in cells of that band.
    """
    share = constants("regions")["hidden_share"].value
    owner = region_of[sewn.stitch]
    total = np.maximum(np.bincount(owner, minlength=count), 1)
    found: list[list[int]] = [[] for _ in range(count)]
    for cell_mm, least, most in _COVER_CELLS:
        laid = [(number, band) for number, band in bands if least <= band.spacing_mm < most]
        if not laid:
            continue
        cell = _cells(sewn.points, cell_mm)
        taken = np.zeros(count, dtype=np.bool_)
        taken[[number for number, _ in laid]] = True
        # One row for each cell that a band takes up, in the order of the cells.
        rows = np.flatnonzero(taken[owner])
        tops = np.unique(cell[rows] * count + owner[rows])
        begin = np.searchsorted(tops, cell * count)
        times = np.searchsorted(tops, (cell + 1) * count) - begin
        which = np.repeat(np.arange(cell.size), times)
        rank = np.arange(which.size) - np.repeat(np.cumsum(times) - times, times)
        top = tops[np.repeat(begin, times) + rank] % count
        earlier = owner[which] < top
        pair, hits = np.unique(top[earlier] * count + owner[which[earlier]], return_counts=True)
        mostly = hits > share * total[pair % count]
        for upper, lower in zip(
            (pair[mostly] // count).tolist(), (pair[mostly] % count).tolist(), strict=True
        ):
            found[upper].append(lower)
    return found


def _cells(points: Floats, cell_mm: float) -> npt.NDArray[np.int64]:
    """Return the number of the cell that each of ``points`` (q, 2) mm is in."""
    index = np.floor((points - points.min(axis=0)) / cell_mm + 0.37).astype(np.int64)
    numbers: npt.NDArray[np.int64] = index[:, 1] * (index[:, 0].max() + 1) + index[:, 0]
    return numbers
