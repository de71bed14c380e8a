"""The spans in which scanlines meet rectangles and discs, in closed form, many at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats

_Longs = npt.NDArray[np.int64]
_Singles = npt.NDArray[np.float32]
_Spans = Iterator[tuple[_Longs, _Longs]]

_CHUNK_SPANS = 24_000  #: spans computed at a time, so that they stay in cache
_SPARE_SHARE = 0.2  #: shapes are worked on together when their numbers of rows differ by less
_LEVEL = 3e-5  #: least sine of a side: what is more level is tilted by 0.004 pixels over 12 mm
_BLOCK_PIXELS = 60_000  #: pixels of a block, which should fit in cache


@dataclass(frozen=True, slots=True)
class Sheet:
    """The rows from ``bottom`` to ``top`` of a grid ``nx`` wide, laid out with one column more.

    It keeps, by blocks of rows, from which to which column shapes reach.
    """

    bottom: int
    top: int
    nx: int
    west: _Longs = field(init=False)
    east: _Longs = field(init=False)

    def __post_init__(self) -> None:
        """Begin with no shapes in any block."""
        blocks = -(-(self.top - self.bottom) // self.block_rows)
        object.__setattr__(self, "west", np.full(blocks, self.nx))
        object.__setattr__(self, "east", np.zeros(blocks, dtype=np.int64))

    @property
    def block_rows(self) -> int:
        """Rows of a block."""
        return max(1, _BLOCK_PIXELS // (self.nx + 1))

    def reach(self, low: _Longs, count: _Longs, west: Floats, east: Floats) -> None:
        """Note shapes (k,) on ``count`` rows from ``low`` on, between two columns."""
        if low.size == 0:
            return
        first = (low - self.bottom) // self.block_rows
        last = (low + count - 1 - self.bottom) // self.block_rows
        left = np.clip(np.floor(west), 0, self.nx).astype(np.int64)
        right = np.clip(np.ceil(east) + 1.0, 0, self.nx).astype(np.int64)
        for k in range(int((last - first).max()) + 1):
            block = np.minimum(first + k, last)
            np.minimum.at(self.west, block, left)
            np.maximum.at(self.east, block, right)

    def blocks(self) -> Iterator[tuple[int, int, int, int]]:
        """Yield the first row and the one after the last (from the sheet's), and so with the columns."""
        for k, (west, east) in enumerate(zip(self.west.tolist(), self.east.tolist(), strict=True)):
            if west < east:
                bottom = k * self.block_rows
                yield bottom, min(bottom + self.block_rows, self.top - self.bottom), west, east


def spare_rows(tallest: int) -> int:
    """Return how many rows beyond its own a shape of so many rows may be given."""
    return int(tallest * _SPARE_SHARE)


def rectangle_spans(stitches: Floats, radius: float, sheet: Sheet) -> _Spans:
    """Yield where the spans of rectangles about stitches (4, k) start, and where after them they stop.

    Both are flat places on the sheet. Stitches are x0, y0, x1, y1 in pixels; those of no length have none.
    Along the thread |height ux - x uy| <= r, across it 0 <= x ux + height uy <= length: two strips, in each
    of which x runs from (height m + c) to (height m + d).
    """
    x0, y0, x1, y1 = stitches
    dx, dy = x1 - x0, y1 - y0
    length = np.sqrt(dx * dx + dy * dy)
    per = 1.0 / np.maximum(length, 1e-30)
    rise = radius * np.abs(dx) * per
    low = np.maximum(np.ceil(np.minimum(y0, y1) - rise), sheet.bottom).astype(np.int64)
    count = np.minimum(np.floor(np.maximum(y0, y1) + rise), sheet.top - 1.0).astype(np.int64) - low + 1
    count[length == 0.0] = 0
    order = np.argsort(np.clip(count, 0, 32_767).astype(np.int16), kind="stable")
    order = order[np.searchsorted(count[order], 1) :]
    low, count = low[order], count[order]
    x0, dx, dy, length, per = x0[order], dx[order], dy[order], length[order], per[order]
    wide = radius * np.abs(dy) * per
    sheet.reach(low, count, x0 + np.minimum(dx, 0.0) - wide, x0 + np.maximum(dx, 0.0) + wide)
    column = np.floor(x0)
    height, inside = (low - y0[order]).astype(np.float32), (x0 - column).astype(np.float32)
    ux, uy = (dx * per).astype(np.float32), (dy * per).astype(np.float32)
    r = np.full(len(ux), radius, dtype=np.float32)
    table = np.stack(
        [
            height,
            *_strip(-uy, ux, -r, r, inside),
            *_strip(ux, uy, np.zeros_like(r), length.astype(np.float32), inside),
        ]
    )
    for here, j in _chunks(count):
        over = table[0, here, None] + j
        m_one, c_one, d_one, m_two, c_two, d_two = table[1:, here, None]
        one, two = m_one * over, np.multiply(m_two, over, out=over)
        left = one + c_one
        np.maximum(left, two + c_two, out=left)
        right = np.minimum(np.add(one, d_one, out=one), np.add(two, d_two, out=two), out=one)
        yield _placed(left, right, column[here], low[here], sheet)


def _strip(
    by_x: _Singles, by_height: _Singles, low: _Singles, high: _Singles, shift: _Singles
) -> tuple[_Singles, _Singles, _Singles]:
    """Solve low <= by_height height + by_x x <= high for x, (k,) each.

    Returns m, c and d with height m + c <= x + shift <= height m + d; a strip that is all but level is tilted
    a little, so that there is a solution.
    """
    per: _Singles = np.reciprocal(np.copysign(np.maximum(np.abs(by_x), np.float32(_LEVEL)), by_x))
    one, two = low * per, high * per
    one += shift
    two += shift
    m: _Singles = -by_height * per
    return m, np.minimum(one, two), np.maximum(one, two)


def disc_spans(middles: Floats, radius: float, sheet: Sheet) -> _Spans:
    """Yield the same of the discs about the points (2, k), pixels."""
    x, y = middles
    low = np.maximum(np.ceil(y - radius), sheet.bottom).astype(np.int64)
    count = np.minimum(np.floor(y + radius), sheet.top - 1.0).astype(np.int64) - low + 1
    order = np.argsort(np.clip(count, 0, 32_767).astype(np.int16), kind="stable")
    order = order[np.searchsorted(count[order], 1) :]
    low, count, x = low[order], count[order], x[order]
    sheet.reach(low, count, x - radius, x + radius)
    column = np.floor(x)
    height, inside = (low - y[order]).astype(np.float32), (x - column).astype(np.float32)
    square = np.float32(radius * radius)
    for here, j in _chunks(count):
        room = height[here, None] + j
        np.multiply(room, room, out=room)
        np.subtract(square, room, out=room)
        missed = room < 0.0
        reach = np.sqrt(np.maximum(room, 0.0, out=room), out=room)
        reach[missed] = -1.0
        yield _placed(inside[here, None] - reach, inside[here, None] + reach, column[here], low[here], sheet)


def _chunks(count: _Longs) -> Iterator[tuple[slice, _Singles]]:
    """Yield shapes with rising numbers of rows (k,) in parts of like numbers, with the rows from 0 on."""
    begin = 0
    while begin < count.size:
        alike = int(count[begin]) + spare_rows(int(count[begin]))
        stop = int(np.searchsorted(count, alike, side="right"))
        stop = min(stop, begin + max(1, _CHUNK_SPANS // int(count[stop - 1])))
        yield slice(begin, stop), np.arange(int(count[stop - 1]), dtype=np.float32)
        begin = stop


def _placed(
    left: _Singles, right: _Singles, column: Floats, low: _Longs, sheet: Sheet
) -> tuple[_Longs, _Longs]:
    """Turn the ends of spans (k, rows), measured from ``column``, into flat places on the sheet.

    Where a row misses its shape the span stops where it starts.
    """
    shift = column.astype(np.float32)[:, None]
    np.ceil(left, out=left)
    np.floor(right, out=right)
    right += np.float32(1.0)
    edge = np.float32(sheet.nx)
    for ends in (left, right):
        ends += shift
        np.maximum(ends, np.float32(0.0), out=ends)
        np.minimum(ends, edge, out=ends)
    np.maximum(right, left, out=right)
    row = (low - sheet.bottom)[:, None] * (sheet.nx + 1) + np.arange(left.shape[1]) * (sheet.nx + 1)
    first, stop = left.astype(np.int64), right.astype(np.int64)
    first += row
    stop += row
    return first.ravel(), stop.ravel()
