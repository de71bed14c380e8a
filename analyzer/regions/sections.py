"""Sections of one shape: bands of like rows side by side, sewn one after the other, are one band."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from analyzer.arrays import Floats
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap
from analyzer.regions.hidden import Ground
from analyzer.regions.sewn import Sewn, near_box

_SAME_DIRECTION_DEG = 10.0
_EXACTLY_DEG = 4.0
_GROWN = 2.0  #: rows of one fill lie at most so many times further apart in one section than in another
_TIP_ROWS = 8  #: of a band with fewer rows the spacing is not well known
_ON_TOP_SHARE = 0.3  #: more of a band than this within half a row of another lies on top of it, not beside it


def join_sections(sewn: Sewn, pieces: list[Piece], over: Ground | None) -> list[Piece]:
    """Make one band of sections that touch, with nothing but hidden or short thread between them.

    A section whose rows are one stitch each looks like a column until a later one shows what it is of: so
    again, as long as something joins.
    """
    while True:
        joined = _join_once(sewn, pieces, over)
        if len(joined) == len(pieces):
            return joined
        pieces = joined


def _join_once(sewn: Sewn, pieces: list[Piece], over: Ground | None) -> list[Piece]:
    kept: list[Piece] = []
    for piece in pieces:
        back = _last_band(sewn, kept, piece, over)
        if back is not None and _touch(sewn, kept[back:], piece):
            piece = kept[back].joined_with(piece)
            del kept[back:]
        kept.append(piece)
    return kept


def _last_band(sewn: Sewn, kept: list[Piece], piece: Piece, over: Ground | None) -> int | None:
    """Index of the band of like rows before ``piece``, None where something else lies between."""
    if not piece.band:
        return None
    back = len(kept) - 1
    while back >= 0 and (not kept[back].band or _tip(sewn, kept[back], piece)):
        back -= 1
    if back < 0 or not _same_rows(sewn, kept[back], piece):
        return None
    between = kept[back + 1 :]
    if all(_passable(sewn, other, kept[back], piece, over) for other in between):
        return back
    return None


def _tip(sewn: Sewn, tip: Piece, after: Piece) -> bool:
    """Whether a band is few rows along those of the next, sewn right on: their spacing tells nothing.

    In an acute tip, under a border, every other row may be left out; sections before and after are like.
    """
    if tip.shape != "rows" or not tip.hidden or len(tip.rows) >= _TIP_ROWS or _same_rows(sewn, tip, after):
        return False
    if tip.direction_deg is None or after.direction_deg is None:
        return False
    along = axial_gap(tip.direction_deg, after.direction_deg) < _SAME_DIRECTION_DEG
    return along and bool(sewn.joined[tip.first : after.first + 1].all())


def _passable(sewn: Sewn, piece: Piece, before: Piece, after: Piece, over: Ground | None) -> bool:
    """Whether what lies between two sections may be theirs: short, a jump, under the design, beside rows."""
    table = constants("regions")
    if piece.shape in ("tie", "float") or piece.path_mm(sewn) < table["bridge_mm"].value:
        return True
    share = table["hidden_share"].value
    if over is not None and (over.over(sewn, piece) >= 0).mean() > share:
        return True
    if piece.shape != "line":
        return False
    points = _points(sewn, piece)
    rows = np.concatenate([_points(sewn, before), _points(sewn, after)])
    reach = _beside_mm(before.spacing_mm)
    away = np.asarray(cKDTree(near_box(rows, points, reach)).query(points, distance_upper_bound=reach)[0])
    return bool((away < reach).mean() > share)


def _same_rows(sewn: Sewn, before: Piece, after: Piece) -> bool:
    if "rows" not in (before.shape, after.shape):
        return False
    if sewn.colour[before.last] != sewn.colour[after.last]:
        return False
    if before.direction_deg is None or after.direction_deg is None:
        return False
    narrow = min(before.spacing_mm, after.spacing_mm)
    slack = 0.1 if before.kin or after.kin else 0.06  # the spacing of a few rows is not well known
    like = abs(before.spacing_mm - after.spacing_mm) < slack + 0.2 * narrow
    turn = axial_gap(before.direction_deg, after.direction_deg)
    if like or turn > _EXACTLY_DEG:
        return like and turn < _SAME_DIRECTION_DEG
    # Rows that lie further and further apart differ from section to section.
    unbroken = bool(sewn.joined[before.last + 1 : after.first + 1].all())
    return unbroken and max(before.spacing_mm, after.spacing_mm) < _GROWN * narrow


def _touch(sewn: Sewn, before: list[Piece], after: Piece) -> bool:
    """Whether a section lies beside what came before it, and not on top of that; on the way to it, it may."""
    spacing = before[0].spacing_mm
    band, later = _points(sewn, before[0]), _points(sewn, after)
    rows = band
    for piece in before[1:]:
        more = _points(sewn, piece)
        reach = _beside_mm(spacing)
        tree = cKDTree(near_box(rows, more, reach))
        beside = np.asarray(tree.query(more, distance_upper_bound=reach)[0]) < reach
        rows = np.concatenate([rows, more[beside]])
    reach = 1.5 * spacing + 0.35
    if not (_away(rows, later, reach) < reach).any():
        return False
    return bool((_away(band, later, reach) < 0.5 * spacing).mean() < _ON_TOP_SHARE)


def _away(points: Floats, later: Floats, reach_mm: float) -> Floats:
    """Return how far each of ``later`` (k, 2) is from ``points``, (k,), infinite beyond reach."""
    found = cKDTree(near_box(points, later, reach_mm)).query(later, distance_upper_bound=reach_mm)[0]
    return np.asarray(found)


def _beside_mm(spacing_mm: float) -> float:
    return 3.0 * spacing_mm + 0.3


def _points(sewn: Sewn, piece: Piece) -> Floats:
    return sewn.samples(piece.first, piece.last)[0]
