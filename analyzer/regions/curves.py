"""Fills of curved rows: spirals, contours, waves, whose rows are stretches of one line or of many."""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.spatial import cKDTree

from analyzer.arrays import Bools, Floats, Ints, box_of
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap, main_direction
from analyzer.regions.hidden import Ground, settled
from analyzer.regions.raster import grown, shrunk
from analyzer.regions.sewn import Sewn
from analyzer.regions.strokes import Strokes

_CELL_MM = 0.5
_STEP_MM = 0.25
_INNER_CELLS = 3  #: a place is inside a fill where so many closed cells to all sides of it are laid
_MOST_CELLS = 16_000_000  #: coarser cells beyond this, for absurdly large designs
_MOST_PASSES = 3  #: of an outline
_ROUND_ALL_MM = 1.5  #: an outline is nowhere so much smaller than what it goes round
_WAY_STITCHES, _LEAST_WAY_MM = 12, 2.5  #: looked at before an outline; a way to it is longer
_STRAIGHT_ON = 0.97  #: cosine between the stitches of a way
_ACROSS = 0.8  #: cosine between a way and the rings under it, most
_CROSSED = 3  #: a way that crosses so many rings is none of them
_DEEP_CELLS = 3  #: an outline is nowhere so many cells inside
_OF_THE_FILL = 0.7  #: a ring lies in what all of them take up over this share of its length
_WIDEST_MM = 1.4  #: rings further apart than this are a drawing
_FEW_ROWS = 8  #: so few rows side by side may be a stretch of curved ones
_STRAIGHT_SHARE, _STRAIGHT_DEG = 0.75, 15.0  #: rows that are so much of a line and so parallel are straight
_NEXT_RING_MM = 5.0  #: from the end of a ring to the next one


@dataclass(frozen=True, slots=True)
class _Laid:
    """What lines take up, in cells: ``inner``, where all around is laid, and ``taken``, out to its edge."""

    points: Floats  #: (q, 2) mm, samples along the lines
    stitch: Ints  #: (q,)
    cell: Ints  #: (q,) flat index
    inner: Bools  #: (cells,)
    taken: Bools  #: (cells,)
    deep: Bools  #: (cells,) taken, and well inside
    cell_mm: float


def curved_fills(sewn: Sewn, strokes: Strokes, pieces: list[Piece]) -> list[Piece]:
    """Return the pieces with curved fills made of lines: of one line, or of rings sewn one after the other.

    Rings that jumps, cuts or ties part are one fill with what lies between them.
    """
    kept: list[Piece] = []
    for group in _lines_together(sewn, pieces):
        kept += _curved(sewn, strokes, group)
    return kept


def _lines_together(sewn: Sewn, pieces: list[Piece]) -> Iterator[list[Piece]]:
    """Gather lines, floats, ties and bands of few rows that no halt parts; any other band stands alone."""
    halts = np.cumsum(sewn.halts)

    def key(item: tuple[int, Piece]) -> tuple[int, int]:
        number, piece = item
        return (number, 0) if piece.band and not _few(piece) else (-1, int(halts[piece.last]))

    for _, group in itertools.groupby(enumerate(pieces), key):
        yield [piece for _, piece in group]


def _few(piece: Piece) -> bool:
    return piece.shape == "rows" and len(piece.rows) < _FEW_ROWS


def _curved(sewn: Sewn, strokes: Strokes, group: list[Piece]) -> list[Piece]:
    """Return a group with what is curved fills in it; lines that are not keep the bands between them."""
    if len(group) == 1:
        return _with_outline(sewn, strokes, curved_rows(sewn, strokes, group[0]))
    whole: list[Piece] = []
    parts: list[list[Piece]] = []
    for piece in group:
        line = piece.shape == "line" or _few(piece)
        if line and whole and whole[-1].shape == "line" and _follows(sewn, whole[-1], piece):
            whole[-1] = replace(whole[-1], last=piece.last)
            parts[-1].append(piece)
        else:
            whole.append(Piece(piece.first, piece.last, "line") if line else piece)
            parts.append([piece])
    every = [piece for part in parts for piece in part]
    starts = [piece.first for piece in every]
    kept: list[Piece] = []
    for piece in _rings(sewn, whole):
        curved = curved_rows(sewn, strokes, piece)
        inside = every[bisect_left(starts, piece.first) : bisect_right(starts, piece.last)]
        curves = curved.shape == "curves" and not _straight(sewn, strokes, piece, inside)
        kept += _with_outline(sewn, strokes, curved) if curves else inside
    return kept


def _straight(sewn: Sewn, strokes: Strokes, piece: Piece, inside: list[Piece]) -> bool:
    """Whether a line is a section of few straight rows: bands of one direction are nearly all of it."""
    rows = np.concatenate([each.rows for each in inside])
    if not rows.size or strokes.chord_mm[rows].sum() < _STRAIGHT_SHARE * piece.path_mm(sewn):
        return False
    turn = main_direction(strokes, rows)
    way = np.degrees(np.arctan2(strokes.unit[rows, 1], strokes.unit[rows, 0]))
    return turn is not None and bool((axial_gap(way, turn) < _STRAIGHT_DEG).all())


def _follows(sewn: Sewn, before: Piece, after: Piece) -> bool:
    return after.first == before.last + 1 and bool(sewn.joined[after.first])


def _rings(sewn: Sewn, group: list[Piece]) -> list[Piece]:
    """Join the lines of a group that together lay an area, with the floats and ties between them."""
    lines = [piece for piece in group if piece.shape == "line"]
    if len(lines) < 2:
        return group
    boxes = np.array([np.ptp(sewn.penetrations[p.first : p.last + 1], axis=0) for p in lines])
    path = sum(piece.path_mm(sewn) for piece in lines)
    # The longest ring is around all others: less thread than would lay a fair part of its box is none.
    if path * _WIDEST_MM < 0.2 * float(boxes.prod(axis=1).max()):
        return group
    laid = _lay(sewn, lines)
    begin = group[0].first
    size = group[-1].last + 1 - begin
    taken = np.bincount(laid.stitch - begin, weights=laid.taken[laid.cell], minlength=size)
    deep = np.bincount(laid.stitch - begin, weights=laid.deep[laid.cell], minlength=size)
    total = np.bincount(laid.stitch - begin, minlength=size)
    kept: list[Piece] = []
    chunk: list[Piece] = []
    for piece in group:
        part = slice(piece.first - begin, piece.last + 1 - begin)
        own = piece.shape != "line" or bool(taken[part].sum() > _OF_THE_FILL * total[part].sum())
        # From one bay to the next it may be far; an outline is no further ring, and lies outermost.
        inmost = piece.shape != "line" or bool(deep[part].sum() > _OF_THE_FILL * total[part].sum())
        if not own or (not inmost and _away_mm(sewn, chunk, piece) > _NEXT_RING_MM):
            kept += _together(chunk)
            chunk = []
        if own:
            chunk.append(piece)
        else:
            kept.append(piece)
    return kept + _together(chunk)


def _away_mm(sewn: Sewn, chunk: list[Piece], piece: Piece) -> float:
    """How far it is from the end of the last line of a chunk to the beginning of another line."""
    ends = [each.last for each in chunk if each.shape == "line"]
    if not ends:
        return 0.0
    return float(np.hypot(*(sewn.penetrations[piece.first] - sewn.penetrations[ends[-1]])))


def _together(chunk: list[Piece]) -> list[Piece]:
    """Make one line of a stretch of rings; floats and ties at its ends stay apart."""
    lines = [k for k, piece in enumerate(chunk) if piece.shape == "line"]
    if len(lines) < 2:
        return chunk
    first, last = lines[0], lines[-1]
    return [*chunk[:first], replace(chunk[first], last=chunk[last].last), *chunk[last + 1 :]]


def _lay(sewn: Sewn, lines: list[Piece]) -> _Laid:
    """Lay lines into cells; slits up to a millimetre between them are closed."""
    parts = [sewn.finely(piece.first, piece.last, _STEP_MM) for piece in lines]
    points, stitch = np.concatenate([p for p, _ in parts]), np.concatenate([s for _, s in parts])
    low, high = box_of(points)
    cell_mm = max(_CELL_MM, float(np.sqrt(np.prod(high - low + 10.0) / _MOST_CELLS)))
    index = np.floor((points - low) / cell_mm + 5.37).astype(np.int64)
    nx, ny = (index.max(axis=0) + 7).tolist()
    cell = (index[:, 1] * nx + index[:, 0]).astype(np.int32)
    laid = np.zeros(ny * nx, dtype=np.bool_)
    laid[cell] = True
    inner = shrunk(grown(laid.reshape(ny, nx)), _INNER_CELLS)
    taken = grown(inner, _INNER_CELLS)
    deep = shrunk(taken, _DEEP_CELLS)
    return _Laid(points, stitch, cell, inner.ravel(), taken.ravel(), deep.ravel(), cell_mm)


def _with_outline(sewn: Sewn, strokes: Strokes, piece: Piece) -> list[Piece]:
    """Part a curved fill from the outline that the same line goes on to round it, after a way across."""
    start = _outline_start(sewn, piece) if piece.shape == "curves" else None
    if start is None:
        return [piece]
    fill = curved_rows(sewn, strokes, Piece(piece.first, start, "line"))
    return [fill, Piece(start + 1, piece.last, "line")] if fill.shape == "curves" else [piece]


def _outline_start(sewn: Sewn, piece: Piece) -> int | None:
    """Number of the penetration at which a last line round all of a piece begins, None without one."""
    table = constants("regions")
    points = sewn.penetrations[piece.first : piece.last + 1]
    again = np.flatnonzero(np.hypot(*(points[:-1] - points[-1]).T) < table["retrace_mm"].value)
    size = np.ptp(points, axis=0)
    for k in again.tolist():
        path = sewn.path_mm(piece.first + k + 1, piece.last)
        if k < 2 or path > 2 * _MOST_PASSES * float(size.sum()) or path < table["curves_mm"].value:
            continue
        if (np.ptp(points[k:], axis=0) < size - _ROUND_ALL_MM).any():
            continue
        # From one ring to the next it is only a step; a way across comes straight from further off.
        step = np.diff(points[max(k - _WAY_STITCHES, 0) : k + 1], axis=0)
        length = np.hypot(*step.T)
        straight = step @ step[-1] > _STRAIGHT_ON * length * length[-1]
        bends = np.flatnonzero(~straight)
        way = float(length[bends[-1] + 1 if bends.size else 0 :].sum())
        return piece.first + k if way > _LEAST_WAY_MM else None
    return None


def without_base(sewn: Sewn, strokes: Strokes, piece: Piece, over: Ground | None) -> list[Piece]:
    """Part a curved fill from what its line goes on to sew, after a way across it, under a later border."""
    if piece.shape != "curves" or over is None:
        return [piece]
    covered = np.zeros(piece.last + 1, dtype=np.bool_)
    points, stitch = sewn.samples(piece.first, piece.last)
    covered[stitch[over.over(sewn, piece) > piece.last]] = True
    bare = np.flatnonzero(~settled(sewn, piece, covered))
    last = piece.first + int(bare[-1]) if bare.size else piece.last
    short = sewn.path_mm(last + 1, piece.last) < constants("regions")["curves_mm"].value
    if short or last < piece.first + _WAY_STITCHES:
        return [piece]
    # Most of a short way, a single stitch, may lie under the border already.
    if not any(_way_across(sewn, piece, end, points, stitch) for end in (last, last + 1)):
        return [piece]
    fill = curved_rows(sewn, strokes, Piece(piece.first, last, "line"))
    return [fill, Piece(last + 1, piece.last, "line")] if fill.shape == "curves" else [piece]


def _way_across(sewn: Sewn, piece: Piece, last: int, points: Floats, stitch: Ints) -> bool:
    """Whether stitches of a curved fill up to ``last`` are a straight way across its rings.

    ``points`` (q, 2) mm are samples along the piece, each of one ``stitch`` (q,).
    """
    step = np.diff(sewn.penetrations[piece.first : last + 1], axis=0)
    length = np.hypot(*step.T)
    straight = step @ step[-1] > _STRAIGHT_ON * length * length[-1]
    first = piece.first + 1 + int(np.flatnonzero(~straight)[-1]) + 1 if not straight.all() else last + 1
    rings = stitch < first - _WAY_STITCHES
    if sewn.path_mm(first, last) < _LEAST_WAY_MM or not rings.any():
        return False
    # The next ring runs along the one before and crosses none; a way lies across all that it goes over, but
    # for one into a tip, where rings run nearly as it does.
    way = sewn.samples(first, last)[0]
    under = stitch[rings][cKDTree(points[rings]).query(way)[1]]
    turn = sewn.penetrations[under] - sewn.penetrations[under - 1]
    along = np.abs(turn @ step[-1]) / np.maximum(np.hypot(*turn.T) * length[-1], 1e-9)
    if np.median(along) <= _ACROSS:
        return True
    chain = shapely.linestrings(sewn.penetrations[piece.first : first - _WAY_STITCHES])
    cross = shapely.intersection(chain, shapely.linestrings(sewn.penetrations[first - 1 : last + 1]))
    return bool(shapely.get_num_geometries(cross) >= _CROSSED)


def curved_rows(sewn: Sewn, strokes: Strokes, piece: Piece) -> Piece:
    """Return a line as a band of curved rows where it lays an area, else as it is.

    Inside a fill everything around is laid; along a line, sewn however often, it is not. The spacing is the
    area inside for each millimetre of thread there.
    """
    table = constants("regions")
    if piece.shape != "line" or piece.path_mm(sewn) < table["curves_mm"].value:
        return piece
    laid = _lay(sewn, [piece])
    inside = laid.inner[laid.cell]
    if inside.mean() < table["curves_share"].value:
        return piece
    length = sewn.lengths_mm[piece.first : piece.last + 1]
    own = laid.stitch - piece.first
    each = length / np.maximum(np.bincount(own), 1)
    spacing = float(laid.inner.sum() * laid.cell_mm**2 / each[own][inside].sum())
    if spacing < table["retrace_mm"].value:
        return piece
    first, stop = strokes.within(piece.first, piece.last)
    rows = np.arange(first, stop, dtype=np.int32)
    return replace(
        piece, shape="curves", strokes=rows, spacing_mm=spacing, direction_deg=main_direction(strokes, rows)
    )
