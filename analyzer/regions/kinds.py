"""Naming the kind of each piece once its neighbours and what hides it are known."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece
from analyzer.regions.hidden import dense
from analyzer.regions.sewn import Sewn
from analyzer.regions.types import RegionKind

_STRAIGHT = 0.98  #: a line between two patterns is only a way where it is no more than this from straight
_HOP_STITCHES = 2  #: a visible move of so few stitches is one, however long


def name_kinds(sewn: Sewn, pieces: list[Piece], size_mm: Floats) -> list[RegionKind]:
    """Return the kind of each piece; ``size_mm`` (p,) is the diagonal of the box of each band."""
    return [_kind(sewn, pieces, k, size_mm) for k in range(len(pieces))]


def _kind(sewn: Sewn, pieces: list[Piece], k: int, size_mm: Floats) -> RegionKind:
    piece = pieces[k]
    if piece.shape == "tie":
        return RegionKind.TIE
    if piece.shape == "float":
        return RegionKind.TRAVEL
    if piece.band:
        if piece.hidden and not dense(piece):
            return RegionKind.UNDERLAY
        return RegionKind.SATIN if piece.shape == "zigzag" else RegionKind.FILL
    if piece.hidden:
        return RegionKind.UNDERLAY if _prepares(sewn, pieces, k, size_mm) else RegionKind.TRAVEL
    return RegionKind.TRAVEL if _only_moves(sewn, pieces, k) else RegionKind.RUN


def _prepares(sewn: Sewn, pieces: list[Piece], k: int, size_mm: Floats) -> bool:
    """Whether a hidden line is long enough, for what is sewn next, to be its underlay.

    Underlay and travel cannot be told apart by their stitches; a line that runs most of the length of the
    band that follows it does an underlay's work whatever it was meant as.
    """
    colour = sewn.colour[pieces[k].last]
    for number in range(k + 1, len(pieces)):
        after = pieces[number]
        if sewn.colour[after.last] != colour or not sewn.joined[after.first]:
            return False
        if after.band and after.strokes is not None:
            return pieces[k].path_mm(sewn) > 0.6 * float(size_mm[number])
        if not after.hidden and after.shape == "line" and after.last - after.first >= _HOP_STITCHES:
            return False
    return False


def _only_moves(sewn: Sewn, pieces: list[Piece], k: int) -> bool:
    """Whether a visible line only leads from one place to the next: short or straight, between bands."""
    piece = pieces[k]
    before = pieces[k - 1] if k and sewn.joined[piece.first] else None
    after = pieces[k + 1] if k + 1 < len(pieces) and sewn.joined[pieces[k + 1].first] else None
    bands = [p for p in (before, after) if p is not None and (p.band or p.hidden or p.passes > 1)]
    if not bands:
        return False
    length, bridge = piece.path_mm(sewn), constants("regions")["bridge_mm"].value
    if len(bands) < 2:
        return length < bridge
    first = piece.first - 1 if sewn.joined[piece.first] else piece.first
    chord = float(np.hypot(*(sewn.penetrations[piece.last] - sewn.penetrations[first])))
    between = piece.passes == 1 and all(p.band or p.hidden or p.passes > 1 for p in bands)
    if between and chord > _STRAIGHT * length:
        return True
    straight = chord > 0.9 * length and between
    hop = chord > 0.9 * length and piece.last - piece.first < _HOP_STITCHES
    return hop or length < 2 * bridge or (straight and length < 4 * bridge)
