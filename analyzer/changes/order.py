"""Sewing an outline right after what it borders."""

from __future__ import annotations

from analyzer.changes.rows import Rows, as_design, cut_at, joined_up, lone, rows_of
from analyzer.design import Command, Design
from analyzer.regions.types import Region, RegionKind, Regions

_GOING_ALONG = (RegionKind.TIE, RegionKind.UNDERLAY, RegionKind.TRAVEL)


def outline_next(design: Design, regions: Regions, outline: Region, border: Region) -> Design | None:
    """Return the design with ``outline`` sewn right after ``border``; None where it comes there already.

    Ties and hidden stitching that are sewn with the outline in one thread go along. The thread is cut before
    and after it, and colours are changed as they must be. None too where the machine halts in between.
    """
    first, last = _whole(design, regions, outline)
    if first <= border.last + 1:
        return None
    rows, down = rows_of(design)
    # A stretch begins at the penetration before its first stitch, where thread joins them.
    begin = int(down[first - 1]) if design.joined[first] else int(down[first])
    if begin <= down[border.last]:
        return None
    stop, here = int(down[last]) + 1, int(down[border.last]) + 1
    moved = rows.part(begin, stop)
    moved = joined_up(_jump_to(moved), moved)
    before, between, after = rows.part(0, here), rows.part(here, begin), rows.part(stop, len(rows.kinds))
    if (between.kinds == Command.STOP).any() or not (between.kinds == Command.STITCH).any():
        return None
    parts = [
        before,
        cut_at(joined_up(before, moved), here),
        moved,
        cut_at(joined_up(moved, between), len(moved.kinds)),
        between,
        cut_at(joined_up(between, after), len(between.kinds)),
        after,
    ]
    return as_design(joined_up(*parts), design)


def _whole(design: Design, regions: Regions, outline: Region) -> tuple[int, int]:
    """Return the first and last penetration of an outline with what belongs to it in the same thread."""
    first, last = outline.first, outline.last
    going = {region.id for region in regions.items if region.kind in _GOING_ALONG}
    of = regions.region_of.tolist()
    while first > 0 and design.joined[first] and of[first - 1] in going:
        first -= 1
    while last + 1 < len(of) and design.joined[last + 1] and of[last + 1] in going:
        last += 1
    return first, last


def _jump_to(rows: Rows) -> Rows:
    """Return a jump to where rows begin, or nothing where they begin with one."""
    if rows.kinds[0] == Command.JUMP:
        return rows.part(0, 0)
    return lone(rows.points[0], Command.JUMP, int(rows.colour[0]))
