"""Base stitching: which underlay lies beneath each fill and each column, told from where it runs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from analyzer.arrays import Bools, Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap
from analyzer.regions.hidden import dense
from analyzer.regions.sewn import SAMPLE_MM, Sewn, dot
from analyzer.regions.shapes import rails
from analyzer.regions.strokes import Strokes
from analyzer.regions.types import Base, Region, RegionKind, UnderlayKind

_LEAST_ZIG_ZAG = 3  #: threads in a row from side to side
_STOREY_MM = 1e5  #: more than any design is wide
_CROSSED_DEG = 30.0  #: open rows that differ by more than this cross each other

Keys: TypeAlias = npt.NDArray[np.int64]


def find_bases(sewn: Sewn, strokes: Strokes, pieces: list[Piece], items: list[Region]) -> tuple[Base, ...]:
    """Return the base of every fill and satin, in the order of their ids."""
    under: dict[int, list[int]] = {}
    for item, piece in zip(items, pieces, strict=True):
        if item.kind in (RegionKind.FILL, RegionKind.SATIN) and dense(piece):
            under[item.id] = [
                n
                for n in item.covers
                if items[n].kind in (RegionKind.UNDERLAY, RegionKind.TRAVEL)
                and items[n].colour == item.colour
            ]
    kinds: dict[int, set[UnderlayKind]] = {}
    columns: dict[int, list[Piece]] = {}
    for number, below in under.items():
        parts = [pieces[n] for n in below]
        lines = [piece for piece in parts if not piece.band]
        if items[number].kind is RegionKind.FILL:
            kinds[number] = _under_fill(sewn, strokes, pieces[number], parts)
            continue
        kinds[number] = {UnderlayKind.ZIG_ZAG} if len(lines) < len(parts) else set()
        if lines:
            columns[number] = lines
    for number, more in _under_columns(sewn, strokes, pieces, columns).items():
        kinds[number] |= more
    return tuple(Base(number, _in_order(kinds[number]), tuple(below)) for number, below in under.items())


def _in_order(kinds: set[UnderlayKind]) -> tuple[UnderlayKind, ...]:
    if len(kinds) < 2:
        return tuple(kinds)
    return tuple(kind for kind in UnderlayKind if kind in kinds)


def _under_columns(
    sewn: Sewn, strokes: Strokes, pieces: list[Piece], under: dict[int, list[Piece]]
) -> dict[int, set[UnderlayKind]]:
    """Tell by how far from the middle the lines ``under`` each column run."""
    if not under:
        return {}
    tops = list(under)
    columns = _Columns.of(strokes, [pieces[number] for number in tops])
    first, count, own = [], [], []
    for k, lines in enumerate(under.values()):
        first += [line.first for line in lines]
        count += [line.last - line.first + 1 for line in lines]
        own += [k] * len(lines)
    stretch = np.repeat(np.arange(len(own)), count)
    number = np.arange(stretch.size) - np.repeat(np.cumsum(count) - count, count)
    number += np.repeat(first, count)
    column = np.repeat(own, count)
    across, zig_zags = columns.crossed(sewn.penetrations[number], number, column)
    # Samples of the stitches that are joined and do not cross.
    kept = np.flatnonzero(sewn.joined[number] & ~across)
    points, which = sewn.samples_of(number[kept])
    centre, sides = columns.beside(points, column[kept[which]])
    table = constants("regions")
    kinds: dict[int, set[UnderlayKind]] = {}
    for k, top in enumerate(tops):
        kinds[top] = {UnderlayKind.ZIG_ZAG} if zig_zags[k] else set()
        share = table["base_share"].value * columns.length_mm[k]
        if centre[k] * SAMPLE_MM > share:
            kinds[top].add(UnderlayKind.CENTRE_RUN)
        if sides[k] * SAMPLE_MM > 2 * share:
            kinds[top].add(UnderlayKind.EDGE_RUN)
    return kinds


@dataclass(frozen=True, slots=True)
class _Columns:
    """The middles of the threads of c columns, and the tree that finds the nearest of the same column."""

    middle: Floats  #: (t, 2) mm
    half: Floats  #: (t, 2) mm, from the middle to one rail
    width: Floats  #: (t,) mm, of that
    tree: cKDTree  #: of the middles, columns lying far above each other
    spacing_mm: Floats  #: (c,)
    length_mm: Floats  #: (c,) along the middle

    @classmethod
    def of(cls, strokes: Strokes, tops: list[Piece]) -> _Columns:
        """Take up columns."""
        count = np.array([len(top.rows) for top in tops])
        column = np.repeat(np.arange(len(tops)), count)
        begin = np.cumsum(count) - count
        left, right = rails(strokes, np.concatenate([top.rows for top in tops]), begin)
        middle, half = (left + right) / 2, (left - right) / 2
        # Along every second middle: those of neighbours jump from side to side.
        even = np.flatnonzero((np.arange(len(middle)) - begin[column]) % 2 == 0)
        step, own = np.hypot(*np.diff(middle[even], axis=0).T), column[even]
        step[own[1:] != own[:-1]] = 0.0
        length = np.bincount(own[1:], weights=step, minlength=len(tops)).astype(np.float64)
        return cls(
            middle=middle,
            half=half,
            width=np.hypot(*half.T),
            tree=cKDTree(_storeys(middle, column)),
            spacing_mm=np.array([top.spacing_mm for top in tops]),
            length_mm=length,
        )

    def crossed(self, points: Floats, number: Keys, column: Keys) -> tuple[Bools, Bools]:
        """Return which stitches lead across the column, (k,), and which columns have a zig-zag so, (c,)."""
        table = constants("regions")
        by = self.tree.query(_storeys(points, column))[1]
        side = dot(points - self.middle.take(by, axis=0), self.half.take(by, axis=0))
        side /= np.maximum(self.width[by], 0.1) ** 2
        wide = np.abs(side) > table["centre_part"].value
        across = np.zeros(number.size, dtype=np.bool_)
        across[1:] = wide[1:] & wide[:-1] & (side[1:] * side[:-1] < 0)
        across[1:] &= (np.diff(number) == 1) & (np.diff(column) == 0)
        times = np.bincount(column[1:][across[1:] & across[:-1]], minlength=len(self.spacing_mm))
        return across, times >= _LEAST_ZIG_ZAG

    def beside(self, points: Floats, column: Keys) -> tuple[Keys, Keys]:
        """Count samples near the middle of each column and the others, both (c,)."""
        away, nearest = self.tree.query(_storeys(points, column))
        # Between two threads of the column the nearest middle is up to half a spacing away along it.
        off = np.asarray(away) ** 2 - (self.spacing_mm[column] / 2) ** 2
        where = np.sqrt(np.maximum(off, 0.0)) / self.width[nearest]
        near = where < constants("regions")["centre_part"].value
        count = len(self.spacing_mm)
        return np.bincount(column[near], minlength=count), np.bincount(column[~near], minlength=count)


def _storeys(points: Floats, column: Keys) -> Floats:
    """Lift the ``points`` (k, 2) of each column to a height of its own, far from all others; (k, 3)."""
    return np.column_stack([points, column * _STOREY_MM])


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
    reach = table["edge_run_mm"].value
    away = np.asarray(cKDTree(edge).query(points, distance_upper_bound=reach)[0])
    near = np.count_nonzero(away < reach) * SAMPLE_MM
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
