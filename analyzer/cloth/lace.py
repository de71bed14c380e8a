"""What holds the stitching together without any cloth: threads that cross, and holes that they share.

Stitches are cut into pieces at the lines of a coarse grid. Within a cell, pieces that cross or share a hole
hold each other and are one *knot*; from cell to cell knots are tied by the threads that run across the line
between them. The fewest threads whose loss parts one place from another are then a minimum cut. A crossing is
a place where threads may hold each other, no proof that they do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from analyzer.arrays import Bools, Floats, box_of, distinct, parts
from analyzer.cloth.crossings import Crossings, find_crossings
from analyzer.cloth.nearby import Nearby
from analyzer.cloth.types import Lace, WeakLink
from analyzer.goods.constants import constants
from analyzer.laid import Grid, clip

_Longs = npt.NDArray[np.int64]

_SAME_MM = 0.01  #: penetrations that round to the same multiple are one hole
_MOST_PLACES = 10
_MOST_PARTS = 48  #: places that are tried for a weak link to the middle
_ENDLESS = 1 << 20  #: capacity of what is not to be cut


@dataclass(frozen=True, slots=True)
class Network:
    """Knots and the threads between them.

    ``knot`` (p,) and ``mm`` (p,) are the knot and the length of each piece of thread, ``at`` (p, 2) its
    middle, mm; ``tied`` (e, 2) are pairs of pieces, one thread each, that run from knot to knot; ``piece``
    (knots,) is the part that each knot is of, ``pieces`` how many parts there are.
    """

    crossings: Crossings
    knot: _Longs
    mm: Floats
    at: Floats
    tied: _Longs
    pieces: int
    piece: _Longs


def network(near: Nearby) -> Network:
    """Build the network of some threads, in sewing order; those without length are no part of it."""
    a, b = near.a, near.b
    lattice = np.round(np.concatenate([a, b]) / _SAME_MM).astype(np.int64)
    keys = (lattice[:, 0] - lattice[:, 0].min()) * (np.ptp(lattice[:, 1]) + 1) + lattice[:, 1]
    holes = np.unique(keys, return_inverse=True)[1].reshape(2, len(a))
    crossings = find_crossings(near, holes)
    cell_mm = constants("cloth")["lace_cell_mm"].value
    low, high = box_of(a, b)
    low -= 0.37 * cell_mm
    size = np.ceil((high - low) / cell_mm).astype(int) + 1
    cut = clip(a, b, Grid(float(low[0]), float(low[1]), cell_mm, int(size[0]), int(size[1])))
    stitch, mm = cut.stitch.astype(np.int64), np.asarray(cut.length_mm)
    until = np.cumsum(mm)
    length = np.hypot(*(b - a).T)
    before = np.cumsum(length) - length
    first = np.searchsorted(stitch, np.arange(len(a)))
    last = np.append(first[1:], stitch.size) - 1
    real = np.flatnonzero(last >= first)

    def piece_at(thread: _Longs, share: Floats) -> _Longs:
        place = np.searchsorted(until, before[thread] + share * length[thread])
        clipped: _Longs = np.clip(place, first[thread], last[thread])
        return clipped

    one, two = (piece_at(crossings.pairs[:, side], crossings.at[:, side]) for side in (0, 1))
    count = stitch.size
    left = np.concatenate([one, first[real], last[real]])
    right = np.concatenate([two, count + holes[0, real], count + holes[1, real]])
    knot = parts(left, right, count + int(holes.max()) + 1)[1][:count]
    inside = np.flatnonzero(stitch[1:] == stitch[:-1])
    tied = np.stack([inside, inside + 1], axis=1)
    tied = tied[knot[tied[:, 0]] != knot[tied[:, 1]]]
    # Knots are numbered with the holes in between: number them anew.
    knot = np.unique(knot, return_inverse=True)[1]
    pieces, piece = parts(knot[tied[:, 0]], knot[tied[:, 1]], int(knot.max()) + 1)
    share = (until - 0.5 * mm - before[stitch]) / length[stitch]
    at = a.take(stitch, axis=0) + share[:, None] * (b - a).take(stitch, axis=0)
    return Network(crossings, knot, mm, at, tied, pieces, piece)


def lace(near: Nearby) -> Lace:
    """Measure the network of some threads, in sewing order."""
    if near.thread.size == 0:
        return Lace(pieces=0, largest_share=0.0, crossings=0, loose_at=())
    found = network(near)
    part = found.piece[found.knot]
    share = np.bincount(part, weights=found.mm, minlength=found.pieces)
    order = np.argsort(-share, kind="stable")
    first = np.unique(part, return_index=True)[1]
    return Lace(
        pieces=found.pieces,
        largest_share=float(share[order[0]] / share.sum()),
        crossings=len(found.crossings.pairs),
        loose_at=tuple(
            (float(x), float(y)) for x, y in found.at[first[order[1 : 1 + _MOST_PLACES]]].tolist()
        ),
        weak_links=_weak_links(found, int(order[0])),
    )


def _weak_links(found: Network, largest: int) -> tuple[WeakLink, ...]:
    """Return where places of the largest part hang on its heaviest by few threads, weakest first.

    A place is everything within ``lace_part_mm`` of a point; such places are taken all over the part. Loose
    ends of thread are none: what hangs must hold ``lace_part_thread_mm``.
    """
    known = constants("cloth")
    own = found.piece == largest
    knots = int(np.count_nonzero(own))
    number = np.cumsum(own) - 1  # of our knots alone
    thread = np.flatnonzero(own[found.knot])
    knot, mm = number[found.knot[thread]], found.mm[thread]
    weight: Floats = np.bincount(knot, weights=mm, minlength=knots).astype(np.float64)
    middle = np.stack(
        [np.bincount(knot, weights=mm * xy[thread], minlength=knots) / weight for xy in found.at.T], axis=1
    )
    reach = known["lace_part_mm"].value
    blobs = _places(middle, weight, reach)
    tied = found.tied[own[found.knot[found.tied[:, 0]]]]
    ends = number[found.knot[tied]]
    most = round(known["lace_threads_most"].value)
    cluster, bands = _clusters(ends, knots, most + 1)
    whole = float(weight.sum())
    links: dict[tuple[float, float], WeakLink] = {}
    for blob in blobs[1:]:
        middle_of, hanging = distinct(cluster[blobs[0]]), distinct(cluster[blob])
        if np.isin(hanging, middle_of).any():
            continue
        threads, near = _cut(bands, middle_of, hanging, most + 1)
        if threads > most:
            continue
        side = near[cluster]
        parted = float(weight[~side].sum())
        if min(parted, whole - parted) < known["lace_part_thread_mm"].value:
            continue
        across = side[ends[:, 0]] != side[ends[:, 1]]
        x, y = found.at[tied[across]].mean(axis=(0, 1)).tolist()
        links[x, y] = WeakLink((x, y), threads, min(parted, whole - parted) / whole)
    weakest = sorted(links.values(), key=lambda link: (link.threads, -link.parted_share))
    return tuple(weakest[:_MOST_PLACES])


def _clusters(ends: _Longs, knots: int, enough: int) -> tuple[_Longs, coo_array]:
    """Return the cluster of each knot (knots,), and the bands of threads between clusters.

    ``ends`` (e, 2) are the knots that each thread ties. Knots tied by ``enough`` threads or more are on one
    side of every cut through fewer, so they are one cluster, and so on with the bands between clusters. The
    bands are a symmetric matrix of numbers of threads, with three more nodes than there are clusters.
    """
    cluster = np.arange(knots)
    number = np.ones(len(ends), dtype=np.int64)
    one, two = ends.T
    nodes = knots
    while True:
        low, high = np.minimum(one, two), np.maximum(one, two)
        apart = low != high
        keys, place = np.unique(low[apart] * nodes + high[apart], return_inverse=True)
        number = np.bincount(place, weights=number[apart], minlength=keys.size).astype(np.int64)
        one, two = np.divmod(keys, nodes)
        strong = number >= enough
        if not strong.any():
            break
        nodes, label = parts(one[strong], two[strong], nodes)
        cluster, one, two = label[cluster], label[one], label[two]
    threads = np.concatenate([number, number]).astype(np.int32)
    places = np.concatenate([one, two]), np.concatenate([two, one])
    return cluster, coo_array((threads, places), shape=(nodes + 3, nodes + 3))


def _places(at: Floats, weight: Floats, reach_mm: float) -> list[_Longs]:
    """Return which of the points ``at`` (n, 2) lie within reach of some of them, spread over all of them.

    Those are twice the reach or more from each other, the heaviest first.
    """
    chosen = int(np.argmax(weight))
    nearest = np.full(len(at), np.inf)
    found: list[_Longs] = []
    while len(found) < _MOST_PARTS:
        distance = np.hypot(at[:, 0] - at[chosen, 0], at[:, 1] - at[chosen, 1])
        found.append(np.flatnonzero(distance <= reach_mm))
        np.minimum(nearest, distance, out=nearest)
        chosen = int(np.argmax(nearest))
        if nearest[chosen] < 2.0 * reach_mm:
            break
    return found


def _cut(bands: coo_array, source: _Longs, sink: _Longs, enough: int) -> tuple[int, Bools]:
    """Return the fewest threads that part two sets of nodes, and which nodes stay with the first, (n,).

    Ford and Fulkerson 1956: the greatest flow equals the least cut, whose near side is what the source still
    reaches through bands that are not full. No more than ``enough`` is let flow, and with that much no side
    is told, so that strong ties cost little time: so few ways are soonest found one by one, the shortest
    first (Edmonds and Karp 1972).
    """
    n = bands.shape[0]
    start, hub, stop = n - 3, n - 2, n - 1
    row = np.concatenate([bands.row, [start], np.full(source.size, hub), sink])
    column = np.concatenate([bands.col, [hub], source, np.full(sink.size, stop)])
    endless = np.full(source.size + sink.size, _ENDLESS)
    capacity = np.concatenate([bands.data, [enough], endless]).astype(np.int32)
    graph = csr_array((capacity, (row, column)), shape=(n, n))
    flow = maximum_flow(graph, start, stop, method="edmonds_karp")
    if flow.flow_value >= enough:
        return enough, np.zeros(0, dtype=np.bool_)
    left = csr_array(graph - flow.flow)
    left.data = (left.data > 0).astype(np.int32)
    left.eliminate_zeros()
    side = np.zeros(n, dtype=np.bool_)
    side[breadth_first_order(left, start, return_predecessors=False)] = True
    return int(flow.flow_value), side
