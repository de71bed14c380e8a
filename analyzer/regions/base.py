"""Base stitching: which underlay lies beneath each fill and each column, told from where it runs."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap
from analyzer.regions.hidden import dense
from analyzer.regions.sewn import SAMPLE_MM, Sewn
from analyzer.regions.shapes import rails
from analyzer.regions.strokes import Strokes
from analyzer.regions.types import Base, Region, RegionKind, UnderlayKind

_LEAST_ZIG_ZAG = 3  #: threads in a row from side to side
_CROSSED_DEG = 30.0  #: open rows that differ by more than this cross each other


def find_bases(sewn: Sewn, strokes: Strokes, pieces: list[Piece], items: list[Region]) -> tuple[Base, ...]:
    """Return the base of every fill and satin, in the order of their ids."""
    found = []
    for item, piece in zip(items, pieces, strict=True):
        if item.kind not in (RegionKind.FILL, RegionKind.SATIN) or not dense(piece):
            continue
        under = [
            n
            for n in item.covers
            if items[n].kind in (RegionKind.UNDERLAY, RegionKind.TRAVEL) and items[n].colour == item.colour
        ]
        column = item.kind is RegionKind.SATIN
        look = _under_column if column else _under_fill
        kinds = look(sewn, strokes, piece, [pieces[n] for n in under])
        found.append(Base(item.id, tuple(kind for kind in UnderlayKind if kind in kinds), tuple(under)))
    return tuple(found)


def _under_column(sewn: Sewn, strokes: Strokes, top: Piece, under: list[Piece]) -> set[UnderlayKind]:
    """Tell by how far from its middle the lines under a column run."""
    table = constants("regions")
    kinds = {UnderlayKind.ZIG_ZAG for piece in under if piece.band}
    lines = [piece for piece in under if not piece.band]
    if not lines:
        return kinds
    left, right = rails(strokes, top.rows)
    middle, half = (left + right) / 2, (left - right) / 2
    tree, width = cKDTree(middle), np.hypot(*half.T)
    number = np.concatenate([np.arange(piece.first, piece.last + 1) for piece in lines])
    by = tree.query(sewn.penetrations[number])[1]
    side = np.einsum("ij,ij->i", sewn.penetrations[number] - middle[by], half[by])
    side /= np.maximum(width[by], 0.1) ** 2
    wide = np.abs(side) > table["centre_part"].value
    across = np.zeros(number.size, dtype=np.bool_)
    across[1:] = wide[1:] & wide[:-1] & (side[1:] * side[:-1] < 0) & (np.diff(number) == 1)
    if np.count_nonzero(across[1:] & across[:-1]) >= _LEAST_ZIG_ZAG:
        kinds.add(UnderlayKind.ZIG_ZAG)
    points, stitch = _along(sewn, lines)
    points = points[~np.isin(stitch, number[across])]
    if not len(points):
        return kinds
    away, nearest = tree.query(points)
    # Between two threads of the column the nearest middle is up to half a spacing away along it.
    where = np.sqrt(np.maximum(np.asarray(away) ** 2 - (top.spacing_mm / 2) ** 2, 0.0)) / width[nearest]
    centre = np.count_nonzero(where < table["centre_part"].value) * SAMPLE_MM
    sides = np.count_nonzero(where >= table["centre_part"].value) * SAMPLE_MM
    length = float(np.hypot(*np.diff(middle[::2], axis=0).T).sum())
    if centre > table["base_share"].value * length:
        kinds.add(UnderlayKind.CENTRE_RUN)
    if sides > 2 * table["base_share"].value * length:
        kinds.add(UnderlayKind.EDGE_RUN)
    return kinds


def _under_fill(sewn: Sewn, strokes: Strokes, top: Piece, under: list[Piece]) -> set[UnderlayKind]:
    """Tell open rows by their bands or long strokes, an edge run by how far from the edge lines keep."""
    table = constants("regions")
    turns = [(piece.direction_deg, piece.path_mm(sewn)) for piece in under if piece.band]
    kinds: set[UnderlayKind] = set()
    rows = [(turn, length) for turn, length in turns if turn is not None]
    longest = max((length for _, length in rows), default=0.0)
    rows = [(turn, length) for turn, length in rows if length > 0.3 * longest]
    if rows:
        crossed = max(axial_gap(a, b) for a, _ in rows for b, _ in rows) > _CROSSED_DEG
        kinds.add(UnderlayKind.CROSSED_ROWS if crossed else UnderlayKind.CROSS)
    lines = [piece for piece in under if not piece.band]
    if not lines:
        return kinds
    left, right = rails(strokes, top.rows)
    edge = np.concatenate([left, right, _outermost(strokes, sewn, top)])
    points, _ = _along(sewn, lines)
    away = np.asarray(cKDTree(edge).query(points)[0])
    near = np.count_nonzero(away < table["edge_run_mm"].value) * SAMPLE_MM
    round_ = float(np.hypot(*np.diff(left, axis=0).T).sum() + np.hypot(*np.diff(right, axis=0).T).sum())
    if near > table["base_share"].value * min(round_, 2 * float(np.ptp(edge, axis=0).sum())):
        kinds.add(UnderlayKind.EDGE_RUN)
    return kinds


def _outermost(strokes: Strokes, sewn: Sewn, top: Piece) -> Floats:
    """Return points along the first and the last row of a fill, which are edges themselves."""
    ends = [top.rows[0], top.rows[-1]]
    return np.concatenate([sewn.penetrations[strokes.first[r] : strokes.last[r] + 1] for r in ends])


def _along(sewn: Sewn, lines: list[Piece]) -> tuple[Floats, Ints]:
    """Return samples along lines, (q, 2) mm, and the stitch of each, (q,)."""
    parts = [sewn.samples(piece.first, piece.last) for piece in lines]
    points, stitch = np.concatenate([p for p, _ in parts]), np.concatenate([s for _, s in parts])
    held = sewn.joined[stitch]
    return points[held], stitch[held]
