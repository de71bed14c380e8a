"""Laying threads of a given width on a fine grid: the union of them, and how many lie over each point.

A thread is a capsule (round ends) or a rectangle (butt ends) about its stitch. Both are convex, so a scanline
through pixel centres meets each in one span, which is known in closed form. Every span adds +1 where it
starts and -1 after its end; summed along x that gives the number of threads over every pixel centre at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bytes, Floats
from analyzer.laid.grid import Grid

_Longs = npt.NDArray[np.int64]

_BAND_PIXELS = 250_000  #: pixels of the difference array held at a time: half a MB, so that it stays in cache
_CHUNK_SPANS = 100_000  #: spans computed at a time
_TINY = 1e-12  #: pixels; stands in for a vanishing length in a division
_MOST = 255  #: threads over a point are counted up to here


def lay(
    a: Floats, b: Floats, width_mm: float, grid: Grid, *, ends: Literal["round", "butt"] = "round"
) -> Bytes:
    """Return how many threads lie over each pixel centre, (ny, nx) uint8, capped at 255.

    ``a`` and ``b`` (k, 2), mm, are the ends of the stitches. With ``ends="round"`` the result is positive
    exactly where a pixel centre lies in the union of the threads; with ``"butt"`` two stitches that follow
    each other in a line are not counted twice at their joint.
    """
    radius = 0.5 * width_mm / grid.cell_mm
    # Pixel units in which the centre of pixel [j, i] is (i, j).
    origin = np.array([grid.x0_mm, grid.y0_mm])
    start = (np.asarray(a, dtype=np.float64).reshape(-1, 2) - origin) / grid.cell_mm - 0.5
    end = (np.asarray(b, dtype=np.float64).reshape(-1, 2) - origin) / grid.cell_mm - 0.5
    size = np.array([grid.nx, grid.ny])
    low = np.clip(np.ceil(np.minimum(start, end) - radius), 0, size).astype(np.int64)
    high = np.clip(np.floor(np.maximum(start, end) + radius), -1, size - 1).astype(np.int64)
    met = np.flatnonzero((low <= high).all(axis=1))
    start, end, low, high = start[met], end[met], low[met], high[met]
    shape = _round_shape(start, end, radius) if ends == "round" else _butt_shape(start, end, radius)
    find = _round_spans if ends == "round" else _butt_spans

    threads = np.zeros(grid.shape, dtype=np.uint8)
    rows_at_once = max(1, _BAND_PIXELS // (grid.nx + 1))
    # Half the memory where no count can overflow it.
    buffer = np.empty(rows_at_once * (grid.nx + 1), np.int16 if len(start) < 1 << 15 else np.int32)
    one = buffer.dtype.type(1)  # of the array's own type: add.at is ten times slower on mixed ones
    for bottom in range(0, grid.ny, rows_at_once):
        top = min(bottom + rows_at_once, grid.ny)
        here = np.flatnonzero((low[:, 1] < top) & (high[:, 1] >= bottom))
        if here.size == 0:
            continue
        west, east = int(low[here, 0].min()), int(high[here, 0].max()) + 1
        width = east - west + 1
        steps = buffer[: (top - bottom) * width]
        steps.fill(0)
        first_row, last_row = low[here, 1].clip(bottom), high[here, 1].clip(None, top - 1)
        for stitch, count, row in _scanlines(here, first_row, last_row):
            left, right = find(shape[:, stitch].repeat(count, axis=1), row.astype(np.float64))
            row -= bottom
            row *= width
            first = np.ceil(left, out=left).clip(west, east, out=left).astype(np.int64)
            last = np.floor(right, out=right).clip(west - 1, east - 1, out=right).astype(np.int64)
            some = last >= first
            row -= west
            np.add.at(steps, (row + first)[some], one)
            row += 1
            np.subtract.at(steps, (row + last)[some], one)
        over = steps.reshape(top - bottom, width)
        np.cumsum(over, axis=1, out=over)
        np.minimum(over[:, :-1], _MOST, out=threads[bottom:top, west:east], casting="unsafe")
    return threads


def _scanlines(stitches: _Longs, low: _Longs, high: _Longs) -> Iterator[tuple[_Longs, _Longs, _Longs]]:
    """Yield stitches, how many rows each may meet, and those rows, in chunks of bounded size."""
    count = high - low + 1
    total = np.cumsum(count)
    begin = 0
    while begin < stitches.size:
        done = int(total[begin - 1]) if begin else 0
        stop = max(begin + 1, int(np.searchsorted(total, done + _CHUNK_SPANS, side="right")))
        part = count[begin:stop]
        row = np.arange(part.sum())
        row += np.repeat(low[begin:stop] - (total[begin:stop] - part - done), part)
        yield stitches[begin:stop], part, row
        begin = stop


def _round_shape(start: Floats, end: Floats, radius: float) -> Floats:
    """Return what :func:`_round_spans` needs of every capsule, (7, k)."""
    (x, y), (dx, dy) = start.T, (end - start).T
    length = np.maximum(np.hypot(dx, dy), _TINY)
    slope = np.where(dy < 0.0, np.minimum(dy, -_TINY), np.maximum(dy, _TINY))
    touch = radius * dx / length * np.sign(slope)
    return np.stack([x, y, dx, dy, 1.0 / slope, touch, np.full(len(x), radius * radius)])


def _round_spans(shape: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the ends of the span in which each scanline ``y`` (q,) meets its capsule (empty: left > right).

    The capsule is the union of discs about start + t (end - start). The left end is the least of
    x(t) - sqrt(r^2 - (y - y(t))^2), convex in t, whose minimum lies where the capsule's side touches the
    disc, brought back into [0, 1]; the right end likewise (derived).
    """
    x, y0, dx, dy, per_slope, touch, square = shape
    height = np.subtract(y, y0, out=y)
    spans = []
    for side in (-1.0, 1.0):
        t = height + touch if side > 0.0 else height - touch
        t *= per_slope
        t.clip(0.0, 1.0, out=t)
        room = t * dy
        np.subtract(height, room, out=room)
        np.subtract(square, np.square(room, out=room), out=room)
        outside = room < 0.0
        reach = np.sqrt(np.maximum(room, 0.0, out=room), out=room)
        t *= dx
        t += x
        t += reach if side > 0.0 else -reach
        t[outside] = -side * np.inf
        spans.append(t)
    return spans[0], spans[1]


def _butt_shape(start: Floats, end: Floats, radius: float) -> Floats:
    """Return what :func:`_butt_spans` needs of every rectangle, (10, k).

    Along the thread |height ux - x uy| <= r, across it 0 <= x ux + height uy <= length: two strips, in each
    of which x runs from (height m + c) to (height m + d). Where a strip is level its bounds are endless, and
    the scanline meets it where ``height`` lies between two bounds of its own.
    """
    (x, y), (dx, dy) = start.T, (end - start).T
    length = np.hypot(dx, dy)
    some = length > 0.0
    divisor = np.where(some, length, 1.0)
    ux, uy = dx / divisor, dy / divisor
    none = np.zeros(len(x))
    along = _strip(ux, -uy, np.full(len(x), -radius), np.full(len(x), radius))
    across = _strip(uy, ux, none, length)
    low = np.where(some, np.maximum(along[3], across[3]), np.inf)
    high = np.minimum(along[4], across[4])
    return np.stack([x, y, *along[:3], *across[:3], low, high])


def _butt_spans(shape: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the ends of the span in which each scanline meets its rectangle, common part of two strips."""
    x, y0, m_one, c_one, d_one, m_two, c_two, d_two, low, high = shape
    height = np.subtract(y, y0, out=y)
    outside = (height < low) | (height > high)
    m_one *= height
    m_two *= height
    left = np.maximum(np.add(m_one, c_one, out=c_one), np.add(m_two, c_two, out=c_two), out=c_one)
    right = np.minimum(np.add(m_one, d_one, out=d_one), np.add(m_two, d_two, out=d_two), out=d_one)
    left += x
    right += x
    left[outside] = np.inf
    right[outside] = -np.inf
    return left, right


def _strip(
    by_height: Floats, by_x: Floats, low: Floats, high: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Solve low <= by_height height + by_x x <= high for x, (k,) each.

    Returns m, c and d with height m + c <= x <= height m + d, and the least and greatest height that there
    are; where ``by_x`` vanishes x is free and the heights are bounded, elsewhere the other way round.
    """
    level = np.abs(by_x) < _TINY
    divisor = np.where(level, 1.0, by_x)
    one, two = low / divisor, high / divisor
    m = np.where(level, 0.0, -by_height / divisor)
    c = np.where(level, -np.inf, np.minimum(one, two))
    d = np.where(level, np.inf, np.maximum(one, two))
    upright = np.where(np.abs(by_height) < _TINY, 1.0, by_height)
    first, second = low / upright, high / upright
    least = np.where(level, np.minimum(first, second), -np.inf)
    greatest = np.where(level, np.maximum(first, second), np.inf)
    return m, c, d, least, greatest
