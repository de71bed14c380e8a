"""What lies under later stitching: a raster of the last dense stitch over each place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analyzer.arrays import Bools, Floats, Ints
from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, lengths_mm, samples

_CELL_MM = 0.5  #: one empty cell at most between rows 1 mm apart, which the closing fills
_STEP_MM = 0.25  #: samples along a thread
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


def dense_ground(design: Design, pieces: list[Piece]) -> Ground | None:
    """Return the ground that all dense bands take up; None when there are none."""
    laid = [samples(design, piece.first, piece.last, _STEP_MM) for piece in pieces if dense(piece)]
    if not laid:
        return None
    return ground(np.concatenate([points for points, _ in laid]), np.concatenate([own for _, own in laid]))


def hidden_share(design: Design, piece: Piece, over: Ground | None) -> float:
    """Share of a piece's thread that stitching later than the piece covers."""
    if over is None:
        return 0.0
    points, _ = samples(design, piece.first, piece.last, _STEP_MM)
    return float((over.at(points) > piece.last).mean())


def hidden_stitches(design: Design, piece: Piece, over: Ground) -> Bools:
    """Return which stitches of a piece are covered later, short changes left out, (last - first + 1,)."""
    points, which = samples(design, piece.first, piece.last, _STEP_MM)
    later = over.at(points) > piece.last
    row = which - piece.first
    share = np.bincount(row, weights=later) / np.bincount(row)
    hidden = share > 0.5
    table = constants("regions")
    ends, within = table["bridge_mm"].value, table["dive_mm"].value
    length = np.maximum(lengths_mm(design, piece.first, piece.last), 0.01)
    # The shortest changes of state go first, so that what is left are stretches worth a region. A line often
    # comes from under something or ends there; it dives and comes back only where the dive is long.
    while True:
        edge = np.flatnonzero(np.diff(hidden)) + 1
        begin, stop = np.concatenate([[0], edge]), np.append(edge, hidden.size)
        if begin.size < 2:
            return hidden
        stretch = np.add.reduceat(length, begin) / within
        stretch[[0, -1]] *= within / ends
        k = int(np.argmin(stretch))
        if stretch[k] >= 1.0:
            return hidden
        hidden[begin[k] : stop[k]] = ~hidden[begin[k]]


def covered_by(
    design: Design, bands: list[tuple[int, Piece]], region_of: Ints, count: int
) -> list[list[int]]:
    """For each of ``count`` regions those that mostly lie under it; ``bands`` are (id, dense band)."""
    share = constants("regions")["hidden_share"].value
    points, stitch = samples(design, 0, len(region_of) - 1, 0.5)
    owner = region_of[stitch]
    total = np.bincount(owner, minlength=count)
    order = np.argsort(points[:, 0], kind="stable")
    xs = points[order, 0]
    found: list[list[int]] = [[] for _ in range(count)]
    for number, band in bands:
        own = ground(*samples(design, band.first, band.last, _STEP_MM))
        width = own.latest.shape[1] * own.cell_mm
        inside = order[np.searchsorted(xs, own.x0) : np.searchsorted(xs, own.x0 + width)]
        inside = inside[owner[inside] < number]
        under = np.bincount(owner[inside[own.at(points[inside]) >= 0]], minlength=count)
        found[number] = np.flatnonzero(under > share * np.maximum(total, 1)).tolist()
    return found
