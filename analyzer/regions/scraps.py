"""Scraps: what a band leaves over at its ends, where rows are too short or too skew to be linked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.groups import Piece, axial_gap, rows_of_both
from analyzer.regions.hidden import Ground, hidden_share
from analyzer.regions.sewn import Sewn, dot, median, near_box
from analyzer.regions.strokes import Strokes

_PARALLEL_DEG = 15.0
_ROWS_SHARE = 0.35  #: short outermost rows have connectors of nearly their own length
_BACK = -0.2  #: cosine between a thread and the next where the needle turns back
_FAN_THREADS = 30  #: a fan has no more
_LIKE = (0.6, 1.6)  #: threads of a column are so long, of its width
_FEW_PAIRS = 20_000  #: so many distances are sooner worked out than a tree is built
_LONGEST_ROWS = 2.5  #: rows of a fill that are not linked to it, at most
_ON_TOP_SHARE = 0.5  #: more of a scrap than this within half a row of a fill lies on it, not beside it
_AND_FRO = -0.9  #: cosine between a row and the next
_FIRST_ROWS = 6.0  #: spacings from a fill to the first of few rows that jumps part from it
_APART = (0.4, 2.0)  #: spacings between the first rows of a fill
_LEAD_ROWS = 3  #: of a fill, that tell to which side it goes
_LOOK_STITCHES = 40  #: stitches of the band that a scrap is compared with


def absorb_scraps(sewn: Sewn, strokes: Strokes, pieces: list[Piece], over: Ground | None) -> list[Piece]:
    """Give scraps of line to the band that they begin or end: its outermost rows, a way along its edge."""
    pieces = list(pieces)
    kept: list[Piece] = []
    for k, piece in enumerate(pieces):
        before = kept[-1] if kept else None
        after = pieces[k + 1] if k + 1 < len(pieces) else None
        if piece.shape != "line":
            kept.append(piece)
        elif before and follows(sewn, before, piece) and _threads_of(strokes, piece, before):
            kept[-1] = _with_scrap(strokes, before, piece)
        elif after and follows(sewn, piece, after) and _threads_of(strokes, piece, after):
            pieces[k + 1] = _with_scrap(strokes, after, piece)
        elif after and (first := _first_rows(sewn, strokes, piece, after)) is not None:
            kept.append(replace(piece, last=first - 1))
            pieces[k + 1] = _with_scrap(strokes, after, replace(piece, first=first))
        elif piece.path_mm(sewn) >= _most_mm(strokes, before, after):
            kept.append(piece)
        elif (back := _apart(sewn, strokes, kept, piece)) is not None:
            kept[back:] = [_with_scrap(strokes, kept[back], piece)]
        elif before and _ends(sewn, strokes, before, piece, over):
            kept[-1] = _with_scrap(strokes, before, piece)
        elif after and _begins(sewn, strokes, piece, after):
            pieces[k + 1] = _with_scrap(strokes, after, piece)
        else:
            kept.append(piece)
    return kept


def _most_mm(strokes: Strokes, before: Piece | None, after: Piece | None) -> float:
    """How long a scrap may be: no longer than a few rows of what it may be of."""
    rows = [p.rows for p in (before, after) if p is not None and p.shape == "rows"]
    longest = max((float(strokes.chord_mm[each].max()) for each in rows), default=0.0)
    return max(constants("regions")["scrap_mm"].value, _LONGEST_ROWS * longest)


def _apart(sewn: Sewn, strokes: Strokes, kept: list[Piece], scrap: Piece) -> int | None:
    """Index of the fill that a scrap is a last small section of, reached by a jump or after a cut."""
    back = len(kept) - 1
    while back >= 0 and kept[back].shape in ("float", "tie"):
        back -= 1
    if back < 0 or kept[back].shape != "rows" or (back == len(kept) - 1 and follows(sewn, kept[-1], scrap)):
        return None
    band = kept[back]
    between = slice(band.last + 1, scrap.first + 1)
    if sewn.halts[between].any() or not _rows_of(sewn, strokes, scrap, band):
        return None
    own, _ = sewn.samples(scrap.first, scrap.last)
    rows, _ = sewn.samples(band.first, band.last)
    reach = 1.5 * band.spacing_mm + 0.35
    rows = near_box(rows, own, 3.0 * reach)
    away = np.asarray(cKDTree(rows).query(own, distance_upper_bound=3.0 * reach)[0])
    beside = away.min() < reach and away.max() < 3.0 * reach
    return back if beside and (away < 0.5 * band.spacing_mm).mean() < _ON_TOP_SHARE else None


def follows(sewn: Sewn, before: Piece, after: Piece) -> bool:
    """Whether thread joins one piece to the next."""
    return after.first == before.last + 1 and bool(sewn.joined[after.first])


def _ends(sewn: Sewn, strokes: Strokes, band: Piece, scrap: Piece, over: Ground | None) -> bool:
    """Whether a scrap is the last rows of a band or a way along it; what is covered next belongs to that."""
    if not band.band or not follows(sewn, band, scrap):
        return False
    if _tiny(sewn, scrap):
        return True
    short = scrap.path_mm(sewn) < constants("regions")["scrap_mm"].value
    own = (short and hidden_share(sewn, scrap, over) < 0.5) or _rows_of(sewn, strokes, scrap, band)
    return own and _lies_on(sewn, strokes, scrap, band)


def _begins(sewn: Sewn, strokes: Strokes, scrap: Piece, band: Piece) -> bool:
    """Whether a scrap is the first rows of a band; what only leads up to it or lies under it is not."""
    if not band.band or not follows(sewn, scrap, band):
        return False
    if _tiny(sewn, scrap):
        return True
    return _rows_of(sewn, strokes, scrap, band) and _lies_on(sewn, strokes, scrap, band)


def _first_rows(sewn: Sewn, strokes: Strokes, scrap: Piece, band: Piece) -> int | None:
    """Return the stitch at which a line that leads up to a fill becomes its first rows, None without any.

    Rows go to and fro a spacing apart; what leads up to them, or on from them to the others, does not.
    """
    if band.shape != "rows" or band.hidden or sewn.halts[scrap.first : band.first + 1].any():
        return None
    rows = _along(strokes, scrap, band)
    start = _unbroken_from(strokes, rows, band.spacing_mm)
    # One pair alone may be the last side of an edge run and the first row.
    if start + 2 >= len(rows):
        start = _outside(strokes, rows, band)
    if start >= len(rows) or strokes.last[rows[-1]] < scrap.last - 2:
        return None
    first = int(strokes.first[rows[start]]) + 1
    part = replace(scrap, first=first)
    if first <= scrap.first:
        return None
    own, theirs = sewn.samples(part.first, part.last)[0], sewn.samples(band.first, band.last)[0]
    reach = _FIRST_ROWS * band.spacing_mm + 0.3
    away = cKDTree(near_box(theirs, own, reach)).query(own, distance_upper_bound=reach)[0]
    return first if (np.asarray(away) < reach).all() else None


def _unbroken_from(strokes: Strokes, rows: Ints, spacing_mm: float) -> int:
    """Return from which of ``rows`` (r,) on each goes back beside the one before, all the way to the last."""
    one, two = rows[:-1], rows[1:]
    step = strokes.start[two] + strokes.end[two] - strokes.start[one] - strokes.end[one]
    axis = strokes.unit[one]
    offset = np.abs(step[:, 0] * axis[:, 1] - step[:, 1] * axis[:, 0]) / 2
    back = (dot(axis, strokes.unit[two]) < _AND_FRO) & (two - one <= 2)
    apart = (offset > _APART[0] * spacing_mm) & (offset < _APART[1] * spacing_mm)
    # Where rows, underlay's too, lie further back, something else lies between.
    broken = np.flatnonzero(~(back & apart))
    return int(broken[-1]) + 1 if broken.size else 0


def _outside(strokes: Strokes, rows: Ints, band: Piece) -> int:
    """Return from which of ``rows`` (r,) on they lead to a band from outside, r without any.

    A row or two before the others lie on the side that the others go away from; an edge run, a little
    further in, lies where they go.
    """
    lead = band.rows[:_LEAD_ROWS]
    every = np.concatenate([rows, lead])
    start = _unbroken_from(strokes, every[: len(rows) + 1], band.spacing_mm)
    if band.direction_deg is None or len(lead) < _LEAD_ROWS:
        return len(rows)
    turn = np.radians(band.direction_deg)
    middle = strokes.start[every[start:]] + strokes.end[every[start:]]
    onward = np.diff(middle[:, 1] * np.cos(turn) - middle[:, 0] * np.sin(turn))
    return start if (onward > 0.0).all() or (onward < 0.0).all() else len(rows)


def _rows_of(sewn: Sewn, strokes: Strokes, scrap: Piece, band: Piece) -> bool:
    """Whether a fair part of a scrap runs along the rows of a band."""
    return bool(strokes.chord_mm[_along(strokes, scrap, band)].sum() > _ROWS_SHARE * scrap.path_mm(sewn))


def _threads_of(strokes: Strokes, scrap: Piece, band: Piece) -> bool:
    """Whether a scrap is threads of a column that fan out round a corner, from rail to rail like its own."""
    if band.shape != "zigzag":
        return False
    first, stop = strokes.within(scrap.first, scrap.last)
    if not 2 <= stop - first <= _FAN_THREADS:
        return False
    if strokes.cosine[first + 1 : stop].max() >= _BACK:
        return False
    chord, width = strokes.chord_mm[first:stop], median(strokes.chord_mm[band.rows])
    return bool(chord.min() > _LIKE[0] * width and chord.max() < _LIKE[1] * width)


def _tiny(sewn: Sewn, scrap: Piece) -> bool:
    return scrap.last - scrap.first < 2 and scrap.path_mm(sewn) < constants("regions")["bridge_mm"].value


def _along(strokes: Strokes, scrap: Piece, band: Piece) -> Ints:
    """Return the strokes of a scrap that run along the rows of a band."""
    first, stop = strokes.within(scrap.first, scrap.last)
    if stop > first and strokes.last[stop - 1] > scrap.last:
        stop -= 1
    if stop <= first or band.direction_deg is None:
        return np.zeros(0, dtype=np.int32)
    along = axial_gap(strokes.turn_deg[first:stop], band.direction_deg) < _PARALLEL_DEG
    along &= strokes.chord_mm[first:stop] > 2 * band.spacing_mm
    found: Ints = (along.nonzero()[0] + first).astype(np.int32)
    return found


def _with_scrap(strokes: Strokes, band: Piece, scrap: Piece) -> Piece:
    """Return a band with a scrap at its end; what runs along the rows there are rows too."""
    return replace(
        band,
        first=min(band.first, scrap.first),
        last=max(band.last, scrap.last),
        strokes=rows_of_both(band.rows, _along(strokes, scrap, band)),
    )


def _lies_on(sewn: Sewn, strokes: Strokes, scrap: Piece, band: Piece) -> bool:
    """Whether a scrap is nowhere further from a band than its next rows would be."""
    own, _ = sewn.samples(scrap.first, scrap.last)
    along = _along(strokes, scrap, band)
    reach = max(3.0, len(along)) * band.spacing_mm + 0.3
    first, last = max(band.first, scrap.first - _LOOK_STITCHES), min(band.last, scrap.last + _LOOK_STITCHES)
    if _beside(own, sewn.samples(first, last)[0], reach):
        return True
    # A last section may lie beside rows sewn long before: rows to and fro are of the fill there, too.
    if _unbroken_from(strokes, along, band.spacing_mm) + 2 > len(along):
        return False
    return _beside(own, near_box(sewn.samples(band.first, band.last)[0], own, reach), reach)


def _beside(own: Floats, rows: Floats, reach_mm: float) -> bool:
    """Whether each of ``own`` (k, 2) is within reach of one of ``rows`` (r, 2)."""
    if len(own) * len(rows) < _FEW_PAIRS:
        x, y = (own[:, None, axis] - rows[None, :, axis] for axis in (0, 1))
        return bool(len(rows) and (x * x + y * y).min(axis=1).max() < reach_mm**2)
    found = np.asarray(cKDTree(rows).query(own, distance_upper_bound=reach_mm)[0])
    return bool((found < reach_mm).all())
