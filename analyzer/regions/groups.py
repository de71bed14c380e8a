"""Chains of linked strokes become bands: rows of a fill, threads of a zig-zag. What is left is lines."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats, Ints
from analyzer.goods.constants import constants
from analyzer.regions.sewn import Sewn, median, medians
from analyzer.regions.strokes import Links, Strokes

_LEAST_ROWS = 4  #: fewer strokes side by side are no pattern of their own
_CERTAIN_ROWS = 6  #: so many are one whatever is around them
_KIN_DEG = 12.0
_ADJOINING_SHARE = 0.5  #: of a zig-zag more threads than this begin where the one before ended
_REVERSED_SHARE = 0.9  #: between two parts of one zig-zag nearly every thread turns back
_TURN_BACK = -0.2  #: cosine between a thread and the next where the needle turns back
_TURNED_AT_ONCE = 0.64  #: cosine between a thread and the next but one: less is the corner of two columns
_SAME_WAY = 0.3  #: cosine between successive steps across; a pattern turns less than this at once
_PROGRESS_ROWS = 8  #: threads over which the way of a column is taken
_DOUBLED_BACK = -0.5  #: cosine between the ways of two columns, less is a stroke back
_ROUND_CORNER = 10  #: threads that turn a corner, at most, beyond those that lie side by side
_FULL, _LONGEST, _SHORT = 0.6, 1.7, 0.8  #: of a column's width: threads round a corner, threads cut by one
_FEW_BETWEEN = 3  #: strokes between two parts of a pattern that one look bridges
_FAN = 8  #: threads between two parts of a border that fan out round a corner, at least
_ONE_WAY = 0.3  #: length of the axial mean of directions, less is none
_SPLIT_SHARE = 0.8  #: of a split satin nearly every thread begins where the one before ended
_EVEN_WIDTH = 0.12  #: median deviation of a column's width, of that width
_SPLITS = 4  #: most stitches to one thread of a split satin
Keys: TypeAlias = npt.NDArray[np.int64]
_Degrees = TypeVar("_Degrees", float, Floats)
_LATTICE_MM2 = 0.02  #: two steps this small may point anywhere: coordinates are whole tenths


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of the sequence on its way to becoming a region; stitches ``first .. last``, inclusive."""

    first: int
    last: int
    shape: str  #: "rows", "curves", "zigzag", "line", "tie" or "float"
    strokes: Ints | None = None  #: of a band, the strokes side by side in order
    spacing_mm: float = 0.0  #: of a band
    direction_deg: float | None = None  #: of a band; None where it has no main direction
    hidden: bool = False  #: later stitching covers it
    passes: int = 1  #: of a line, how often it is sewn between the same points
    kin: bool = False  #: of a band with few rows, whether a larger one of the same thread is like it

    @property
    def band(self) -> bool:
        """Whether it is rows or a zig-zag."""
        return self.strokes is not None

    def path_mm(self, sewn: Sewn) -> float:
        """Thread length, mm."""
        return sewn.path_mm(self.first, self.last)

    @property
    def rows(self) -> Ints:
        """The strokes of a band, none for anything else."""
        return self.strokes if self.strokes is not None else np.zeros(0, dtype=np.int32)

    def joined_with(self, after: Piece) -> Piece:
        """Return the band that this one and a later one of the same pattern make together."""
        own, more = len(self.rows), len(after.rows)
        return replace(
            self if own >= more else after,
            first=self.first,
            last=after.last,
            shape="rows" if "rows" in (self.shape, after.shape) else self.shape,
            strokes=rows_of_both(self.rows, after.rows),
            spacing_mm=(self.spacing_mm * own + after.spacing_mm * more) / (own + more),
            kin=False,
            hidden=self.hidden and after.hidden,
        )


def find_bands(strokes: Strokes, links: Links) -> list[Piece]:
    """Follow the links into chains of like spacing that keep going the same way; bridge small breaks."""
    bands = _bands(strokes, links, *_chains(links))
    # Fewer than four strokes are a tip of a larger band or nothing: never joined among themselves.
    bands = _mark_kin([b for b in bands if b.shape == "rows" or len(b.rows) >= _LEAST_ROWS])
    return _bridge(strokes, [b for b in bands if b.kin or len(b.rows) >= _LEAST_ROWS])


def _mark_kin(bands: list[Piece]) -> list[Piece]:
    """Mark bands of few rows that continue a larger one: the tips and corners of a shape."""
    marked: list[Piece] = []
    for k, band in enumerate(bands):
        small = band.shape == "rows" and len(band.rows) < _CERTAIN_ROWS
        if not small:
            marked.append(band)
            continue
        around = [other for other in bands[max(k - 3, 0) : k + 4] if len(other.rows) >= _CERTAIN_ROWS]
        kin = any(_kin(band, other) for other in around)
        marked.append(replace(band, kin=True) if kin else band)
    return marked


def _kin(band: Piece, other: Piece) -> bool:
    if other.shape != "rows" or band.direction_deg is None or other.direction_deg is None:
        return False
    like = abs(band.spacing_mm - other.spacing_mm) < 0.1 + 0.2 * other.spacing_mm
    return like and axial_gap(band.direction_deg, other.direction_deg) < _KIN_DEG


def _chains(links: Links) -> tuple[Ints, Keys]:
    """Return chains of strokes, each linked to the next: all their strokes, (r,), and how many each has."""
    partner, offset = links.partner.tolist(), links.offset_mm.tolist()
    onward = _onward(links).tolist()
    rows: list[int] = []
    begins: list[int] = []
    k, count = 0, len(partner)
    while k < count:
        tail = partner[k]
        if tail < 0:
            k += 1
            continue
        usual = offset[k]
        begins.append(len(rows))
        rows.append(k)
        while onward[k]:
            more = offset[tail] - usual
            if abs(more) > 0.15 + 0.6 * usual:
                break
            usual += 0.2 * more
            k = tail
            rows.append(k)
            tail = partner[k]
        rows.append(tail)
        k = tail
    bounds = np.array([*begins, len(rows)], dtype=np.int64)
    return np.array(rows, dtype=np.int32), bounds[1:] - bounds[:-1]


def _onward(links: Links) -> Bools:
    """Return for each stroke whether its partner is linked too, onward in the same direction, (s,)."""
    partner = links.partner
    onward = (partner >= 0) & (partner[partner] >= 0)
    stroke = np.flatnonzero(onward)
    after = partner[stroke]
    here, before = links.across[after], links.across[stroke]
    cosine = here[:, 0] * before[:, 0] + here[:, 1] * before[:, 1]
    scale = links.offset_mm[after] * links.offset_mm[stroke]
    onward[stroke] = cosine > _SAME_WAY * scale - _LATTICE_MM2
    return onward


def _bands(strokes: Strokes, links: Links, rows: Ints, count: Keys) -> list[Piece]:
    """Return the band that each chain, of so many of the ``rows``, is."""
    if not count.size:
        return []
    begin = np.cumsum(count) - count
    spacing = _spacings(links, rows, count)
    zig_zag = _zig_zags(strokes, rows, count, spacing)
    weight = strokes.chord_mm[rows]
    doubled = weight * (strokes.unit[rows, 0] + 1j * strokes.unit[rows, 1]) ** 2
    mean = np.add.reduceat(doubled, begin) / np.add.reduceat(weight, begin)
    turn = _axial_degrees(np.angle(mean))
    first, last = strokes.first[rows[begin]] + 1, strokes.last[rows[begin + count - 1]]
    parts = zip(
        *(array.tolist() for array in (begin, count, first, last, zig_zag, spacing, turn)),
        (np.abs(mean) > _ONE_WAY).tolist(),
        strict=True,
    )
    return [
        Piece(
            first=a,
            last=b,
            shape="zigzag" if zig_zag_too else "rows",
            strokes=rows[at : at + size],
            spacing_mm=apart,
            direction_deg=degrees if one_way else None,
        )
        for at, size, a, b, zig_zag_too, apart, degrees, one_way in parts
    ]


def _spacings(links: Links, rows: Ints, count: Keys) -> Floats:
    """Mean offset of neighbouring threads, mm, over those near the median, which the lattice makes jump.

    For each of the bands with so many of the ``rows``, one after the other, (b,).
    """
    inner = np.ones(rows.size, dtype=np.bool_)
    inner[np.cumsum(count) - 1] = False  # the last row of a band has no neighbour in it
    offsets = links.offset_mm[rows[inner]]
    middle = np.repeat(medians(offsets, count - 1), count - 1)
    usual = np.abs(offsets - middle) <= 0.15 + 0.6 * middle
    begin = np.cumsum(count - 1) - (count - 1)
    total = np.add.reduceat(np.where(usual, offsets, 0.0), begin)
    return total / np.add.reduceat(usual, begin, dtype=np.int64)


def _zig_zags(strokes: Strokes, rows: Ints, count: Keys, spacing_mm: Floats) -> Bools:
    """Tell which bands, of so many of the ``rows`` each, are columns, (b,).

    Threads of a zig-zag follow each other; between rows of a fill one stitch wide lies a step. The threads
    of a column too wide for one stitch turn sharply, close together.
    """
    begin = np.cumsum(count) - count
    weight, stitches = strokes.chord_mm[rows], strokes.stitches[rows]
    following = np.zeros(rows.size, dtype=np.bool_)
    following[1:] = np.diff(rows) == 1
    following[begin] = False
    adjoining = np.add.reduceat(following, begin, dtype=np.int64) / (count - 1)
    single = np.add.reduceat(np.where(stitches == 1, weight, 0.0), begin)
    thin = (adjoining > _ADJOINING_SHARE) & (single > 0.5 * np.add.reduceat(weight, begin))
    table = constants("regions")
    few = medians(stitches.astype(np.float64), count) <= _SPLITS
    close = spacing_mm < 0.6 * table["dense_satin_mm"].value
    width = medians(weight, count)
    narrow = width < table["widest_satin_mm"].value
    # Rows of a fill follow its shape; a column is as wide along most of its length.
    even = medians(np.abs(weight - np.repeat(width, count)), count) < _EVEN_WIDTH * width
    split = (adjoining > _SPLIT_SHARE) & few & close & narrow & even
    zig_zags: Bools = thin | split
    return zig_zags


def main_direction(strokes: Strokes, rows: Ints) -> float | None:
    """Axial mean of the chords, degrees in [0, 180); None where they point everywhere."""
    unit, weight = strokes.unit[rows], strokes.chord_mm[rows]
    doubled = (unit[:, 0] + 1j * unit[:, 1]) ** 2
    mean = (weight * doubled).sum() / weight.sum()
    return float(_axial_degrees(np.angle(mean))) if abs(mean) > _ONE_WAY else None


def _axial_degrees(doubled_rad: Floats) -> Floats:
    """Return the direction, degrees in [0, 180), of which an angle is the double."""
    # The remainder of a tiny negative angle is 180 itself.
    degrees: Floats = np.degrees(doubled_rad) / 2 % 180.0 % 180.0
    return degrees


def _bridge(strokes: Strokes, bands: list[Piece]) -> list[Piece]:
    """Join bands that one small break parts: like shape, spacing and threads on both sides."""
    rows = np.concatenate([band.rows for band in bands]) if bands else np.zeros(0, dtype=np.int32)
    widths = medians(strokes.chord_mm[rows], np.array([len(band.rows) for band in bands], dtype=np.int64))
    joined: list[Piece] = []
    grown: set[int] = set()
    width = 0.0
    for band, own in zip(bands, widths.tolist(), strict=True):
        if joined and _continues(strokes, joined[-1], band, (width, own)):
            grown.add(len(joined) - 1)
            band = joined.pop().joined_with(band)
            own = median(strokes.chord_mm[band.rows])
        joined.append(band)
        width = own
    return [
        replace(band, direction_deg=main_direction(strokes, band.rows)) if number in grown else band
        for number, band in enumerate(joined)
    ]


def _continues(strokes: Strokes, before: Piece, after: Piece, width_mm: tuple[float, float]) -> bool:
    """Whether a band goes on as another; ``width_mm`` are the median lengths of their threads."""
    tail, head = before.rows[-3:], after.rows[:3]
    a, b = int(tail[-1]), int(head[0])
    if before.shape != after.shape or b < a or not _alike(before.spacing_mm, after.spacing_mm):
        return False
    if strokes.stretch[a] != strokes.stretch[b]:
        return False
    if before.shape == "zigzag":
        # Round an acute corner a border fans out over many threads; a letter's next stroke begins at once.
        if b - a < _FAN and not _goes_on(strokes, before, after, width_mm):
            return False
        if _turns_back(strokes, a, b) or _turns_corner(strokes, before, after, width_mm):
            return True
    if b - a > _FEW_BETWEEN:
        return False
    gap = float(np.hypot(*(strokes.start[b] - strokes.end[a]))) if b > a else 0.0
    widths = median(strokes.chord_mm[tail]), median(strokes.chord_mm[head])
    even = before.shape == "rows" or min(widths) > 0.6 * max(widths)
    if gap > constants("regions")["bridge_mm"].value or not even:
        return False
    ends = main_direction(strokes, tail), main_direction(strokes, head)
    if ends[0] is None or ends[1] is None:
        return False
    # The sides of a border meet at a corner without a break: that is one column, whatever the angle.
    turned = before.shape == "zigzag" and gap < 1.0
    return bool(axial_gap(ends[0], ends[1]) < (60.0 if turned else 25.0))


def _turns_back(strokes: Strokes, a: int, b: int) -> bool:
    """Whether the needle goes to and fro all the way from stroke ``a`` to ``b``, as round a sharp corner."""
    width = (strokes.chord_mm[a] + strokes.chord_mm[b]) / 2
    if not (strokes.path_mm[a : b + 1] < 2.0 * width).all():
        return False
    unit = strokes.unit[a : b + 1]
    back = np.einsum("ij,ij->i", unit[1:], unit[:-1]) < _TURN_BACK
    near = strokes.unit[max(a - 2, 0) : b + 3]
    smooth = bool((np.einsum("ij,ij->i", near[2:], near[:-2]) > _TURNED_AT_ONCE).all())
    return smooth and (b == a or float(back.mean()) >= _REVERSED_SHARE)


def _turns_corner(strokes: Strokes, before: Piece, after: Piece, width_mm: tuple[float, float]) -> bool:
    """Whether a column turns a corner: by threads that fan out, or by threads cut short on both sides of it.

    Between two columns of a letter lies a way from the rail to the middle of the next.
    """
    a, b = int(before.rows[-1]), int(after.rows[0])
    if b - a > _ROUND_CORNER:
        return False
    width = min(width_mm)
    if width < _FULL * max(width_mm):
        return False
    chord = strokes.chord_mm[a : b + 1]
    ends = strokes.chord_mm[np.concatenate([before.rows[-2:], after.rows[:2]])]
    if ends.max() < _SHORT * width:
        return bool((chord < _SHORT * width).all())
    unit = strokes.unit[a : b + 1]
    onward = np.einsum("ij,ij->i", unit[1:], unit[:-1]) >= _TURN_BACK
    return bool(chord.min() > _FULL * width and chord.max() < _LONGEST * width and onward.sum() < 2)


def _goes_on(strokes: Strokes, before: Piece, after: Piece, width_mm: tuple[float, float]) -> bool:
    """Whether a column goes on where another ends, and does not double back beside it.

    Its way is that of full threads: those cut short by a corner lie along the bisector.
    """
    way = []
    for band, last, width in ((before, True, width_mm[0]), (after, False, width_mm[1])):
        full = band.rows[strokes.chord_mm[band.rows] > _SHORT * width]
        rows = full[-_PROGRESS_ROWS:] if last else full[:_PROGRESS_ROWS]
        ends = rows[[0, -1]]
        (x0, y0), (x1, y1) = ((strokes.start[ends] + strokes.end[ends]) / 2).tolist()
        size = max(math.hypot(x1 - x0, y1 - y0), 1e-9)
        way.append(((x1 - x0) / size, (y1 - y0) / size))
    (ax, ay), (bx, by) = way
    return bool(ax * bx + ay * by > _DOUBLED_BACK)


def _alike(a: float, b: float) -> bool:
    return abs(a - b) < 0.1 + 0.35 * min(a, b)


def axial_gap(a: _Degrees, b: float) -> _Degrees:
    """Angle between two undirected directions, degrees, 0..90."""
    return abs((a - b + 90.0) % 180.0 - 90.0)


def rows_of_both(a: Ints, b: Ints) -> Ints:
    """Return strokes of two bands in order, each once."""
    if not (a.size and b.size):
        return a if a.size else b
    if a[-1] < b[0]:
        return np.concatenate([a, b])
    if b[-1] < a[0]:
        return np.concatenate([b, a])
    return np.union1d(a, b).astype(np.int32)


def fill_gaps(sewn: Sewn, ties: Bools, bands: list[Piece]) -> list[Piece]:
    """Return every stitch's piece in order: the bands, and ties, floats and lines between them."""
    m = len(sewn.penetrations)
    longest = constants("regions")["tie_stitch_mm"].value
    free = np.ones(m, dtype=np.bool_)
    for band in bands:
        free[band.first : band.last + 1] = False
    kind = np.where(ties, 1, np.where(sewn.jumped & sewn.joined & (sewn.lengths_mm > longest), 2, 0))
    kind[~free] = 3
    # A penetration that nothing joins to the one before belongs to what it begins.
    loose = np.flatnonzero(~sewn.joined)
    after = np.minimum(loose + 1, m - 1)
    kind[loose] = np.where(sewn.joined[after], kind[after], 0)
    owner = np.zeros(m, dtype=np.int64)
    for number, band in enumerate(bands, start=1):
        owner[band.first : band.last + 1] = number
    owner[loose] = np.where(sewn.joined[after], owner[after], 0)
    new = np.ones(m, dtype=np.bool_)
    new[1:] = (np.diff(kind) != 0) | (np.diff(owner) != 0) | ~sewn.joined[1:] | (kind[1:] == 2)
    begin = np.flatnonzero(new)
    stop = np.append(begin[1:], m) - 1
    pieces: list[Piece] = []
    for first, last in zip(begin.tolist(), stop.tolist(), strict=True):
        if kind[first] == 3:
            band = bands[owner[first] - 1]
            whole = (band.first, band.last) == (first, last)
            pieces.append(band if whole else replace(band, first=first, last=last))
        else:
            pieces.append(Piece(first, last, ("line", "tie", "float")[kind[first]]))
    return pieces
