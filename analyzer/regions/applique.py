"""Applique: placement line, tack-down and covering satin along one path, with halts between them."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.sewn import Sewn
from analyzer.regions.types import Applique, Region, RegionKind


def find_appliques(sewn: Sewn, pieces: list[Piece], items: list[Region]) -> tuple[Applique, ...]:
    """Return the appliques of a design.

    A placement line is a closed line, a tack-down what follows the same path after it, and both lie under
    a later satin. The same stitches without any halt between them are a column on its underlay; one halt
    tells that a piece of cloth is laid or cut there.
    """
    stops: Ints = np.cumsum(sewn.halts).astype(np.int32)
    found = []
    filled = {n for item in items if item.kind is RegionKind.FILL for n in item.covers}
    for cover in items:
        # What lies under a fill too is that fill's underlay.
        under = [n for n in cover.covers if n not in filled and pieces[n].path_mm(sewn) > _least_mm()]
        if cover.kind is not RegionKind.SATIN or len(under) < 2:
            continue
        first = under[0]
        if pieces[first].shape != "line" or not _closed(sewn, items[first]):
            continue
        tacks = [n for n in under[1:] if _same_place(items[first], items[n])]
        if not tacks or items[tacks[0]].stitches < 8:
            continue
        after_placement = bool(stops[items[tacks[0]].first] > stops[items[first].last])
        after_tack = bool(stops[cover.first] > stops[items[tacks[-1]].last])
        # With a halt between every two parts, or within what lies under the column.
        split = next((k for k in range(1, len(tacks)) if _halt(stops, items, tacks[k - 1], tacks[k])), None)
        if not after_placement and split is not None:
            first, tacks, after_placement = tacks[split - 1], tacks[split:], True
        if after_placement or after_tack:
            found.append(Applique(first, tuple(tacks), cover.id, after_placement, after_tack))
    return tuple(found)


def _halt(stops: Ints, items: list[Region], before: int, after: int) -> bool:
    return bool(stops[items[after].first] > stops[items[before].last])


def _least_mm() -> float:
    return constants("regions")["applique_mm"].value


def _closed(sewn: Sewn, item: Region) -> bool:
    """Whether a line comes back to where it began."""
    ends = sewn.penetrations[[max(item.first - 1, 0) if sewn.joined[item.first] else item.first, item.last]]
    size = max(item.bbox_mm[2] - item.bbox_mm[0], item.bbox_mm[3] - item.bbox_mm[1])
    return float(np.hypot(*(ends[1] - ends[0]))) < constants("regions")["closed_part"].value * size


def _same_place(a: Region, b: Region) -> bool:
    """Whether two regions have nearly the same box."""
    slack = constants("regions")["closed_part"].value * max(
        a.bbox_mm[2] - a.bbox_mm[0], a.bbox_mm[3] - a.bbox_mm[1]
    )
    return all(abs(p - q) < slack for p, q in zip(a.bbox_mm, b.bbox_mm, strict=True))
