"""Meshes of lace: two sets of open rows square across each other, which are lines and no fills."""

from __future__ import annotations

import itertools

import numpy as np

from analyzer.arrays import Floats, box_of
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap
from analyzer.regions.hidden import dense_ground, hidden_share
from analyzer.regions.sewn import Sewn
from analyzer.regions.strokes import Strokes

_SQUARE_DEG = 5.0  #: the sets are at most this far from square to each other
_ALIKE = 0.03  #: of their spacing, how far that of one set may be from the other's
_SAME_PLACE = 2.0  #: spacings by which the edges of the sets may differ
_EDGE_MM = 0.25  #: on two sides or more they are the same: rows under a fill keep away from all of its edges
_WAY = 2.0  #: sides of the mesh along which the thread goes from one set to the other, at most


def without_meshes(sewn: Sewn, strokes: Strokes, pieces: list[Piece]) -> list[Piece]:
    """Make lines of the bands that are the two sets of a mesh, sewn one after the other in one thread.

    Threads at ``mesh_mm`` or more from each other hide no cloth, and a second set just like the first across
    all of it leaves windows as large as any row's gap: that is a net, whatever its mesh.
    """
    table = constants("regions")
    least = table["mesh_mm"].value
    bands = [k for k, piece in enumerate(pieces) if piece.shape == "rows" and piece.spacing_mm >= least]
    found: set[int] = set()
    for one, two in itertools.pairwise(bands):
        if not _crossed(sewn, strokes, pieces[one], pieces[two]):
            continue
        # Under a later fill the same two sets are its underlay.
        over = dense_ground(sewn, pieces[two + 1 :])
        if hidden_share(sewn, pieces[one], over) < table["hidden_share"].value:
            found |= {one, two}
    return [Piece(p.first, p.last, "line") if k in found else p for k, p in enumerate(pieces)]


def _crossed(sewn: Sewn, strokes: Strokes, before: Piece, after: Piece) -> bool:
    """Whether two bands are the sets of one mesh."""
    spacing = max(before.spacing_mm, after.spacing_mm)
    if before.direction_deg is None or after.direction_deg is None:
        return False
    if not sewn.joined[before.last + 1 : after.first + 1].all():
        return False
    if abs(before.spacing_mm - after.spacing_mm) > _ALIKE * spacing:
        return False
    if axial_gap(before.direction_deg, after.direction_deg) < 90.0 - _SQUARE_DEG:
        return False
    turn = np.radians(before.direction_deg)
    along = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners: list[Floats] = [
        np.concatenate(box_of(strokes.start[band.rows] @ along, strokes.end[band.rows] @ along))
        for band in (before, after)
    ]
    off = np.abs(corners[0] - corners[1])
    side = float((corners[0][2:] - corners[0][:2]).max())
    near = bool(off.max() < _SAME_PLACE * spacing) and int((off < _EDGE_MM).sum()) >= 2
    return near and sewn.path_mm(before.last + 1, after.first) < _WAY * side
