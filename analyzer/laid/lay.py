"""Laying threads of a given width on a fine grid: the union of them, and how many lie over each point.

A thread is a rectangle about its stitch with a disc at either end. Both are convex, so a scanline through
pixel centres meets each in one span, which is known in closed form (:mod:`analyzer.laid.spans`). Every span
adds one where it starts and takes it away after its end; summed along x that gives the number of threads over
every pixel centre at once. Rectangles and discs are summed in the two halves of one integer.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.laid.grid import Grid
from analyzer.laid.spans import Sheet, disc_spans, rectangle_spans, spare_rows

_Longs = npt.NDArray[np.int64]
_Steps: TypeAlias = npt.NDArray[np.int32] | npt.NDArray[np.int64]

_BAND_PIXELS = 2_000_000  #: pixels of the difference array held at a time, 8 MB
_STRAIGHT = 0.02  #: tangent below which two stitches that follow each other leave no notch at their joint
_MOST = 255  #: threads over a point are counted up to here


def lay(
    a: Floats, b: Floats, width_mm: float, grid: Grid, *, ends: Literal["round", "butt"] = "round"
) -> Bytes:
    """Return how many threads lie over each pixel centre, (ny, nx) uint8, capped at 255.

    ``a`` and ``b`` (k, 2), mm, are the ends of the stitches. The threads are counted with butt ends, so that
    two stitches that follow each other in a line are not counted twice at their joint. With ``ends="round"``
    what only a thread's round end covers counts as one thread: the result is positive where a pixel centre
    lies in the union of the round-ended threads. Spans are computed in single precision, to about a
    thousandth of a pixel.
    """
    threads, covered = _laid(a, b, width_mm, grid, round_ends=ends == "round")
    return np.maximum(threads, covered.view(np.uint8), out=threads) if ends == "round" else threads


def lay_apart(a: Floats, b: Floats, width_mm: float, grid: Grid) -> tuple[Bytes, Bools]:
    """Return the threads counted with butt ends, and what they cover with round ends; (ny, nx) each."""
    return _laid(a, b, width_mm, grid, round_ends=True)


def lay_twice(a: Floats, b: Floats, widths_mm: tuple[float, float], grid: Grid) -> tuple[Bools, Bools]:
    """Return which pixel centres the union of round-ended threads of each of two widths holds, (ny, nx) each.

    The same as :func:`lay` twice, in one pass over the pixels.
    """
    narrow, wide = (np.zeros(grid.shape, dtype=np.bool_) for _ in range(2))
    radii = [0.5 * width / grid.cell_mm for width in widths_mm]
    for steps, sheet, stitches, discs, half in _bands(a, b, max(radii), grid, round_ends=True):
        flat = steps.reshape(-1)
        for radius, unit in zip(radii, (1, 1 << half), strict=True):
            one = steps.dtype.type(unit)
            for shapes in (rectangle_spans(stitches, radius, sheet), disc_spans(discs, radius, sheet)):
                for first, stop in shapes:
                    np.add.at(flat, first, one)
                    np.subtract.at(flat, stop, one)
        for bottom, top, west, east in sheet.blocks():
            over = steps[bottom:top, west : east + 1]
            np.cumsum(over, axis=1, out=over)
            here = slice(sheet.bottom + bottom, sheet.bottom + top), slice(west, east)
            np.greater_equal(over[:, :-1], 1 << half, out=wide[here])
            over &= (1 << half) - 1
            np.not_equal(over[:, :-1], 0, out=narrow[here])
            over.fill(0)
    return narrow, wide


def _laid(a: Floats, b: Floats, width_mm: float, grid: Grid, *, round_ends: bool) -> tuple[Bytes, Bools]:
    radius = 0.5 * width_mm / grid.cell_mm
    threads = np.zeros(grid.shape, dtype=np.uint8)
    covered = np.zeros(grid.shape if round_ends else (0, 0), dtype=np.bool_)
    for steps, sheet, stitches, discs, half in _bands(a, b, radius, grid, round_ends=round_ends):
        flat, one = steps.reshape(-1), steps.dtype.type(1)
        for first, stop in rectangle_spans(stitches, radius, sheet):
            np.add.at(flat, first, one)
            np.subtract.at(flat, stop, one)
        one = steps.dtype.type(1 << half)
        for first, stop in disc_spans(discs, radius, sheet):
            np.add.at(flat, first, one)
            np.subtract.at(flat, stop, one)
        _summed(steps, threads[sheet.bottom : sheet.top], covered[sheet.bottom : sheet.top], sheet, half)
    return threads, covered


def _bands(
    a: Floats, b: Floats, radius: float, grid: Grid, *, round_ends: bool
) -> Iterator[tuple[_Steps, Sheet, Floats, Floats, int]]:
    """Yield for each band of rows that threads meet the steps to be filled in, zeros, and what meets it.

    That is: steps (rows and some to spare, nx + 1), which must be zeros again in the end; the sheet of the
    band; its stitches (4, k) and round ends (2, n) in pixels; and by how many bits the second of the two
    counts that a step holds is shifted.
    """
    # Pixel units in which the centre of pixel [j, i] is (i, j).
    origin = np.array([grid.x0_mm, grid.y0_mm]) + 0.5 * grid.cell_mm
    ends_mm = [np.asarray(each, dtype=np.float64).reshape(-1, 2) - origin for each in (a, b)]
    stitches = np.concatenate([each.T for each in ends_mm]) / grid.cell_mm
    middles = _round_ends(stitches) if round_ends else np.zeros((2, 0))
    rows = max(1, min(_BAND_PIXELS // (grid.nx + 1), grid.ny))
    low, high = np.minimum(stitches[1], stitches[3]), np.maximum(stitches[1], stitches[3])
    of_stitch = _by_band(low - radius, high + radius, rows, grid)
    of_disc = _by_band(middles[1] - radius, middles[1] + radius, rows, grid)

    # Two counts in one integer, unless so many threads might lie on a point that they would run over.
    few = stitches.shape[1] < 1 << 14
    half = 16 if few else 32
    spare = spare_rows(min(int((high - low).max(initial=0.0) + 2.0 * radius) + 2, rows))
    shape = rows + spare, grid.nx + 1
    steps: _Steps = np.zeros(shape, dtype=np.int32) if few else np.zeros(shape, dtype=np.int64)
    for band, (own, discs) in enumerate(zip(of_stitch, of_disc, strict=True)):
        if own.size == 0 and discs.size == 0:
            continue
        bottom, top = band * rows, min(band * rows + rows, grid.ny)
        yield steps, Sheet(bottom, top, grid.nx), stitches[:, own], middles[:, discs], half
        steps[top - bottom :].fill(0)


def _round_ends(stitches: Floats) -> Floats:
    """Return the ends of stitches (4, k) that are no joints within a line, each once; (2, n)."""
    x0, y0, x1, y1 = stitches
    met = np.zeros(x0.size + 1, dtype=np.bool_)  # whether a stitch begins where the one before ends
    line = np.zeros_like(met)  # whether it goes on straight
    if x0.size > 1:
        met[1:-1] = (x0[1:] == x1[:-1]) & (y0[1:] == y1[:-1])
        dx, dy = x1 - x0, y1 - y0
        dot = dx[1:] * dx[:-1] + dy[1:] * dy[:-1]
        cross = dx[:-1] * dy[1:] - dy[:-1] * dx[1:]
        line[1:-1] = met[1:-1] & (dot > 0.0) & (np.abs(cross) <= _STRAIGHT * dot)
    starts, ends = ~met[:-1], ~line[1:]
    return np.stack([np.append(x0[starts], x1[ends]), np.append(y0[starts], y1[ends])])


def _by_band(low: Floats, high: Floats, rows: int, grid: Grid) -> list[_Longs]:
    """Return, for each band of so many rows of the grid, which shapes from ``low`` to ``high`` meet it."""
    bands = -(-grid.ny // rows)
    if bands == 1:
        return [np.flatnonzero((high >= 0.0) & (low <= grid.ny - 1))]
    first = np.maximum(np.floor(low / rows), 0.0).astype(np.int64)
    last = np.minimum(np.floor(high / rows), bands - 1.0).astype(np.int64)
    number = np.maximum(last - first + 1, 0)
    shape = np.repeat(np.arange(low.size), number)
    rank = np.arange(shape.size) - np.repeat(np.cumsum(number) - number, number)
    band = (first[shape] + rank).astype(np.int16)
    order = np.argsort(band, kind="stable")
    return np.split(shape[order], np.searchsorted(band[order], np.arange(1, bands)))


def _summed(
    steps: _Steps,
    threads: Bytes,
    covered: Bools,
    sheet: Sheet,
    half: int,
) -> None:
    """Sum the steps (rows, nx + 1) along x, and clear them for the next band.

    The lower half goes into ``threads`` (rows, nx), and where there is anything into ``covered``, if wanted.
    """
    for bottom, top, west, east in sheet.blocks():
        over = steps[bottom:top, west : east + 1]
        np.cumsum(over, axis=1, out=over)
        if covered.size:
            np.greater(over[:, :-1], 0, out=covered[bottom:top, west:east])
            over &= (1 << half) - 1
        if int(over.max()) > _MOST:
            np.minimum(over, _MOST, out=over)
        np.copyto(threads[bottom:top, west:east], over[:, :-1], casting="unsafe")
        over.fill(0)
