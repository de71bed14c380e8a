"""Applique: placement line, tack-down and covering satin along one path, with halts between them."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.hidden import dense
from analyzer.regions.sewn import Sewn
from analyzer.regions.types import Applique, Region, RegionKind

_LEAST_TACKS = 8  #: stitches of a tack-down


@dataclass(frozen=True, slots=True)
class _Chain:
    """Stitching without a break that may be a placement line or a tack-down."""

    ids: tuple[int, ...]
    block: int  #: halts before it
    lines: bool  #: no zig-zag in it
    points: Floats  #: (k, 2) mm, samples


def find_appliques(sewn: Sewn, pieces: list[Piece], items: list[Region]) -> tuple[Applique, ...]:
    """Return the appliques of a design.

    A placement line is a closed line, a tack-down what follows the same path after it, and later columns
    cover both. The same stitches without any halt between them are a column on its underlay; one halt tells
    that a piece of cloth is laid or cut there.
    """
    stops: Ints = np.cumsum(sewn.halts).astype(np.int32)
    columns = np.array(
        [n for n, item in enumerate(items) if item.kind is RegionKind.SATIN and dense(pieces[n])],
        dtype=np.int32,
    )
    if not columns.size or not stops[-1]:
        return ()
    tree = shapely.STRtree(shapely.box(*np.array([items[n].bbox_mm for n in columns.tolist()]).T))
    blocks = stops[[items[n].first for n in columns.tolist()]]
    chains = _chains(sewn, pieces, items, stops)
    ends = [chain.ids[-1] for chain in chains]
    found = []
    used: set[int] = set()
    for k, placement in enumerate(chains):
        if used & set(placement.ids) or not placement.lines or not _closed(sewn, items, placement):
            continue
        x, y = placement.points.T
        here = np.sort(tree.query(shapely.box(x.min(), y.min(), x.max(), y.max())))
        here = here[columns[here] > placement.ids[-1]]
        # Without a halt before the columns nothing is laid or cut.
        if not (blocks[here] > placement.block).any():
            continue
        covers = _covers(sewn, items, stops, placement, columns[here].tolist())
        if not covers:
            continue
        stop = bisect_left(ends, covers[0])  # what ends before the columns begin
        tacks = [chain for chain in chains[k + 1 : stop] if _same_path(placement, chain)]
        block = int(stops[items[covers[0]].first])
        # Where the machine halts between, what is sewn after the last halt is the columns' own underlay.
        before = [c for c in tacks if c.block < block] or tacks
        after_placement = bool(before) and before[-1].block > placement.block
        after_tack = bool(before) and block > before[-1].block
        if after_placement or after_tack:
            tack_down = tuple(n for chain in before for n in chain.ids)
            main = max(covers, key=lambda n: items[n].stitches)
            first = max(placement.ids, key=lambda n: items[n].stitches)
            found.append(Applique(first, tack_down, main, after_placement, after_tack, tuple(covers)))
            used.update(tack_down)
    return tuple(found)


def _chains(sewn: Sewn, pieces: list[Piece], items: list[Region], stops: Ints) -> list[_Chain]:
    """Gather lines and open zig-zags that follow each other between two halts."""
    # What lies under a fill too is that fill's underlay.
    filled = {n for item in items if item.kind is RegionKind.FILL for n in item.covers}
    groups: list[list[int]] = []
    for n, (item, piece) in enumerate(zip(items, pieces, strict=True)):
        open_ = piece.shape == "line" or (piece.shape == "zigzag" and not dense(piece))
        if not open_ or n in filled:
            continue
        last = groups[-1][-1] if groups else -2
        follows = (
            last == n - 1
            and bool(sewn.joined[item.first])
            and stops[items[last].last] == stops[item.first]
            and (pieces[last].shape == "line") == (piece.shape == "line")
        )
        if follows:
            groups[-1].append(n)
        else:
            groups.append([n])
    least = constants("regions")["applique_mm"].value
    found = []
    for ids in groups:
        first, last = items[ids[0]].first, items[ids[-1]].last
        if sewn.path_mm(first, last) > least and sum(items[n].stitches for n in ids) >= _LEAST_TACKS:
            line = pieces[ids[0]].shape == "line"
            found.append(_Chain(tuple(ids), int(stops[first]), line, sewn.samples(first, last)[0]))
    return found


def _covers(sewn: Sewn, items: list[Region], stops: Ints, placement: _Chain, columns: list[int]) -> list[int]:
    """Return which ``columns``, of those near, run along a placement line and in a block cover most of it."""
    if not columns:
        return []
    own = cKDTree(placement.points)
    table = constants("regions")
    blocks: dict[int, list[int]] = {}
    for n in columns:
        points, _ = sewn.samples(items[n].first, items[n].last)
        reach = (items[n].width_mm or 0.0) + table["edge_run_mm"].value
        if (np.asarray(own.query(points, distance_upper_bound=reach)[0]) < reach).mean() > table[
            "hidden_share"
        ].value:
            blocks.setdefault(int(stops[items[n].first]), []).append(n)
    for ids in blocks.values():
        laid = np.concatenate([sewn.samples(items[n].first, items[n].last)[0] for n in ids])
        reach = table["station_mm"].value
        away = np.asarray(cKDTree(laid).query(placement.points, distance_upper_bound=2 * reach)[0])
        if (away < reach).mean() > table["applique_share"].value:
            return ids
    return []


def _same_path(placement: _Chain, chain: _Chain) -> bool:
    """Whether stitching follows a placement line all around."""
    table = constants("regions")
    reach, share = table["edge_run_mm"].value, table["hidden_share"].value
    for one, other in ((placement.points, chain.points), (chain.points, placement.points)):
        away = np.asarray(cKDTree(one).query(other, distance_upper_bound=reach)[0])
        if (away < reach).mean() < share:
            return False
    return True


def _closed(sewn: Sewn, items: list[Region], chain: _Chain) -> bool:
    """Whether a line comes back to where it began."""
    first, last = items[chain.ids[0]].first, items[chain.ids[-1]].last
    ends = sewn.penetrations[[max(first - 1, 0) if sewn.joined[first] else first, last]]
    size = float(np.ptp(chain.points, axis=0).max())
    return float(np.hypot(*(ends[1] - ends[0]))) < constants("regions")["closed_part"].value * size
