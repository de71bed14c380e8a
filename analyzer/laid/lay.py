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

_BAND_PIXELS = 250_000  #: pixels of the difference array held at a time: 1 MB, so that it stays in cache
_CHUNK_SPANS = 400_000  #: spans computed at a time
_TINY = 1e-12  #: pixels; stands in for a vanishing length in a division
_ONE = np.int32(1)  #: of the array's own type: add.at is ten times slower on mixed ones
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
    low = np.ceil(np.minimum(start[:, 1], end[:, 1]) - radius)
    high = np.floor(np.maximum(start[:, 1], end[:, 1]) + radius)
    low = np.clip(low, 0, grid.ny).astype(np.int64)
    high = np.clip(high, -1, grid.ny - 1).astype(np.int64)
    find = _round_spans if ends == "round" else _butt_spans

    threads = np.zeros(grid.shape, dtype=np.uint8)
    rows_at_once = max(1, _BAND_PIXELS // (grid.nx + 1))
    buffer = np.empty(rows_at_once * (grid.nx + 1), dtype=np.int32)
    for bottom in range(0, grid.ny, rows_at_once):
        top = min(bottom + rows_at_once, grid.ny)
        steps = buffer[: (top - bottom) * (grid.nx + 1)]
        steps.fill(0)
        for stitch, row in _scanlines(np.maximum(low, bottom), np.minimum(high, top - 1)):
            left, right = find(start[stitch], end[stitch], row.astype(np.float64), radius)
            first = np.clip(np.ceil(left), 0, grid.nx).astype(np.int64)
            after = np.clip(np.floor(right) + 1, 0, grid.nx).astype(np.int64)
            met = after > first
            base = (row[met] - bottom) * (grid.nx + 1)
            np.add.at(steps, base + first[met], _ONE)
            np.add.at(steps, base + after[met], -_ONE)
        over = steps.reshape(top - bottom, grid.nx + 1)
        np.cumsum(over, axis=1, out=over)
        threads[bottom:top] = np.minimum(over[:, :-1], _MOST)
    return threads


def _scanlines(low: _Longs, high: _Longs) -> Iterator[tuple[_Longs, _Longs]]:
    """Yield (stitch, row) for every row that each stitch may meet, in chunks of bounded size."""
    met = np.flatnonzero(high >= low)
    count = (high - low + 1)[met]
    total = np.cumsum(count)
    begin = 0
    while begin < met.size:
        done = total[begin - 1] if begin else 0
        stop = max(begin + 1, int(np.searchsorted(total, done + _CHUNK_SPANS, side="right")))
        part = count[begin:stop]
        stitch = np.repeat(met[begin:stop], part)
        offset = np.arange(stitch.size) - np.repeat(np.cumsum(part) - part, part)
        yield stitch, low[stitch] + offset
        begin = stop


def _round_spans(start: Floats, end: Floats, y: Floats, radius: float) -> tuple[Floats, Floats]:
    """Return the ends of the span in which each scanline ``y`` (q,) meets its capsule (empty: left > right).

    The capsule is the union of discs about start + t (end - start). The left end is the least of
    x(t) - sqrt(r^2 - (y - y(t))^2), convex in t, whose minimum lies where the capsule's side touches the
    disc, brought back into [0, 1]; the right end likewise (derived).
    """
    dx, dy = end[:, 0] - start[:, 0], end[:, 1] - start[:, 1]
    length = np.maximum(np.hypot(dx, dy), _TINY)
    slope = np.where(dy < 0.0, np.minimum(dy, -_TINY), np.maximum(dy, _TINY))
    touch = radius * dx / length * np.sign(slope)
    height = y - start[:, 1]
    spans = []
    for side in (-1.0, 1.0):
        t = np.clip((height + side * touch) / slope, 0.0, 1.0)
        room = radius * radius - (height - t * dy) ** 2
        reach = np.sqrt(np.maximum(room, 0.0))
        spans.append(np.where(room < 0.0, -side * np.inf, start[:, 0] + t * dx + side * reach))
    return spans[0], spans[1]


def _butt_spans(start: Floats, end: Floats, y: Floats, radius: float) -> tuple[Floats, Floats]:
    """Return the ends of the span in which each scanline meets its rectangle, common part of two strips."""
    dx, dy = end[:, 0] - start[:, 0], end[:, 1] - start[:, 1]
    length = np.hypot(dx, dy)
    some = length > 0.0
    divisor = np.where(some, length, 1.0)
    ux, uy = dx / divisor, dy / divisor
    height = y - start[:, 1]
    # Along the thread: |height ux - x uy| <= r; across it: 0 <= x ux + height uy <= length.
    left_one, right_one = _strip(-uy, height * ux, -radius, radius)
    left_two, right_two = _strip(ux, height * uy, 0.0, length)
    left, right = np.maximum(left_one, left_two), np.minimum(right_one, right_two)
    left = np.where(some, left + start[:, 0], np.inf)
    return left, np.where(some, right + start[:, 0], -np.inf)


def _strip(
    factor: Floats, offset: Floats, low: Floats | float, high: Floats | float
) -> tuple[Floats, Floats]:
    """Return the range of x with low <= factor x + offset <= high; all or nothing where factor vanishes."""
    level = np.abs(factor) < _TINY
    divisor = np.where(level, 1.0, factor)
    one, two = (low - offset) / divisor, (high - offset) / divisor
    within = (offset >= low) & (offset <= high)
    left = np.where(level, np.where(within, -np.inf, np.inf), np.minimum(one, two))
    right = np.where(level, np.where(within, np.inf, -np.inf), np.maximum(one, two))
    return left, right
