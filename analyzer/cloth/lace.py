"""What holds the stitching together without any cloth: threads that cross, and holes that they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from analyzer.arrays import Floats
from analyzer.cloth.types import Lace
from analyzer.laid import Grid, clip

_Longs = npt.NDArray[np.int64]

_HASH_MM = 1.0  #: side of the cells in which threads are compared pairwise
_MOST_PAIRS = 4_000_000  #: pairs of threads compared at a time
_SAME_MM = 0.01  #: penetrations that round to the same multiple are one hole
_TOUCH_MM2 = 1e-9  #: cross products below this count as touching: rounding of lattice points
_MOST_PLACES = 10


@dataclass(frozen=True, slots=True)
class Network:
    """Threads as a graph: ``crossings`` (c, 2), pairs of rows; ``piece`` (k,), the part that each is of."""

    crossings: _Longs
    pieces: int
    piece: _Longs


def network(a: Floats, b: Floats) -> Network:
    """Join the threads from ``a`` (k, 2) to ``b`` (k, 2), mm, where they share a hole or cross.

    A thread that ends on another counts as crossing it; two that share a hole, or lie along one line, do not.
    A crossing is a place where threads may hold each other, no proof that they do.
    """
    k = len(a)
    if k == 0:
        return Network(np.zeros((0, 2), dtype=np.int64), 0, np.zeros(0, dtype=np.int64))
    lattice = np.round(np.concatenate([a, b]) / _SAME_MM).astype(np.int64)
    holes = np.unique(lattice, axis=0, return_inverse=True)[1].reshape(2, k)
    crossings = _crossings(a, b, holes)
    # Nodes: threads 0 .. k-1, then holes.
    row = np.arange(k)
    one = np.concatenate([row, row, crossings[:, 0]])
    two = np.concatenate([k + holes[0], k + holes[1], crossings[:, 1]])
    nodes = k + int(holes.max()) + 1
    graph = coo_array((np.ones(one.size, dtype=np.int8), (one, two)), shape=(nodes, nodes))
    pieces, label = connected_components(graph.tocsr(), directed=False)
    return Network(crossings, int(pieces), label[:k].astype(np.int64))


def lace(a: Floats, b: Floats) -> Lace:
    """Measure the network of the threads from ``a`` to ``b``, (k, 2) mm each, in sewing order."""
    found = network(a, b)
    length = np.hypot(*(b - a).T)
    share = np.bincount(found.piece, weights=length, minlength=found.pieces)
    order = np.argsort(-share, kind="stable")
    first = np.full(found.pieces, len(a), dtype=np.int64)
    np.minimum.at(first, found.piece, np.arange(len(a)))
    total = float(share.sum())
    places = 0.5 * (a + b)
    return Lace(
        pieces=found.pieces,
        largest_share=float(share[order[0]] / total) if total > 0.0 else 0.0,
        crossings=len(found.crossings),
        loose_at=tuple(
            (float(places[i, 0]), float(places[i, 1])) for i in first[order[1 : 1 + _MOST_PLACES]].tolist()
        ),
    )


def _crossings(a: Floats, b: Floats, holes: _Longs) -> _Longs:
    """Return all pairs of threads that cross or touch inside their lengths, each once; (c, 2), sorted."""
    low = np.minimum(a, b).min(axis=0) - 0.37 * _HASH_MM
    size = (np.maximum(a, b).max(axis=0) + 0.5 * _HASH_MM - low) / _HASH_MM
    grid = Grid(float(low[0]), float(low[1]), _HASH_MM, int(np.ceil(size[0])), int(np.ceil(size[1])))
    pieces = clip(a, b, grid)
    # Rows along each other in a cell: those with the same cell, sorted by cell and then by thread.
    key = np.unique(pieces.cell.astype(np.int64) * len(a) + pieces.stitch)
    cell, thread = np.divmod(key, len(a))
    starts = np.flatnonzero(np.concatenate([[True], cell[1:] != cell[:-1]]))
    stop = np.repeat(np.append(starts[1:], cell.size), np.diff(np.append(starts, cell.size)))
    later = stop - np.arange(cell.size) - 1  # how many threads of the cell come after this one
    total = np.cumsum(later)
    found = []
    begin = 0
    while begin < cell.size:
        done = total[begin - 1] if begin else 0
        end = max(begin + 1, int(np.searchsorted(total, done + _MOST_PAIRS, side="right")))
        part = later[begin:end]
        i = np.repeat(np.arange(begin, end), part)
        j = i + 1 + np.arange(i.size) - np.repeat(np.cumsum(part) - part, part)
        one, two = thread[i], thread[j]
        met = _meet(a[one], b[one], a[two], b[two])
        apart = (holes[:, one][:, None, :] != holes[:, two][None, :, :]).all(axis=(0, 1))
        found.append(np.unique(one[met & apart] * len(a) + two[met & apart]))
        begin = end
    pairs = np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=np.int64)
    return np.stack(np.divmod(pairs, len(a)), axis=1)


def _meet(a: Floats, b: Floats, c: Floats, d: Floats) -> npt.NDArray[np.bool_]:
    """Return whether segments ``a b`` and ``c d``, (p, 2) each, meet; false where both lie on one line.

    Each must have its ends on different sides of the other (orientation test).
    """

    def side(p: Floats, q: Floats, r: Floats) -> Floats:
        value = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
        return np.where(np.abs(value) < _TOUCH_MM2, 0.0, value)

    c_side, d_side, a_side, b_side = side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
    straddle = (c_side * d_side <= 0.0) & (a_side * b_side <= 0.0)
    one_line = (c_side == 0.0) & (d_side == 0.0)
    return np.asarray(straddle & ~one_line, dtype=np.bool_)
