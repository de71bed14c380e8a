"""What each region covers by itself: all regions laid at once, side by side on one sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.cloth.ground import closed
from analyzer.laid import Grid, lay_apart

_Longs = npt.NDArray[np.int64]
_Window: TypeAlias = tuple[slice, slice]
_Shelf: TypeAlias = tuple[int, int, int]

_MOST_PIXELS = 6_000_000  #: of a sheet; what does not fit goes to the next one
_LEAST_WIDTH = 1024  #: pixels


@dataclass(frozen=True, slots=True)
class Patches:
    """Windows of the design's raster, one for each of some regions, side by side on a sheet.

    Window i belongs to the region in place ``owner[i]``, lies at ``on_raster[i]`` (rows, columns) of the
    raster and at ``on_sheet[i]`` of the sheet. On the sheet ``over`` (ny, nx) counts a region's own threads,
    with butt ends, ``covered`` is what they cover with round ones and ``ground`` what they take up.
    """

    owner: list[int]
    on_raster: list[_Window]
    on_sheet: list[_Window]
    over: Bytes
    covered: Bools
    ground: Bools


def patches(
    a: Floats, b: Floats, owner: _Longs, closing_px: Floats, width_mm: float, grid: Grid
) -> Iterator[Patches]:
    """Yield the windows of all owners that have threads, in no particular order.

    ``a`` and ``b`` (k, 2) mm are the ends of the threads, ``owner`` (k,) the place of the region that each
    belongs to; over ``closing_px`` (owners,) a region's threads are closed to its ground. One raster pass
    over a sheet costs less than one for each of many small windows.
    """
    order = np.argsort(owner, kind="stable")
    if order.size == 0:
        return
    starts = np.flatnonzero(np.diff(owner[order], prepend=owner[order[0]] - 1))
    stops = np.append(starts[1:], order.size)
    who = owner[order[starts]]
    closing = closing_px[who]
    # Discs that hold the same pixels are those whose squared radii have the same whole part.
    square = np.floor(closing * closing).astype(np.int64)
    margin = closing + (2.0 + 0.5 * width_mm / grid.cell_mm)
    first, size = _windows(a[order], b[order], starts, margin, grid)
    for chosen, place, sheet_px, shelves in _sheets(size, square):
        shift = np.zeros((len(who), 2))
        shift[chosen] = (place - first[chosen]) * grid.cell_mm
        rows = np.concatenate([np.arange(starts[i], stops[i]) for i in chosen.tolist()])
        moved = np.repeat(shift[chosen], (stops - starts)[chosen], axis=0)
        thread = order[rows]
        sheet = Grid(grid.x0_mm, grid.y0_mm, grid.cell_mm, int(sheet_px[0]), int(sheet_px[1]))
        over, covered = lay_apart(a[thread] + moved, b[thread] + moved, width_mm, sheet)
        ground = np.empty_like(covered)
        for bottom, top, disc in shelves:
            ground[bottom:top] = closed(covered[bottom:top], math.sqrt(disc + 0.5))
        yield Patches(
            owner=who[chosen].tolist(),
            on_raster=_slices(first[chosen], size[chosen]),
            on_sheet=_slices(place, size[chosen]),
            over=over,
            covered=covered,
            ground=ground,
        )


def _slices(first: _Longs, size: _Longs) -> list[_Window]:
    """Return the rows and columns of windows from their first pixels (x, y) and sizes, (n, 2) each."""
    corners = np.column_stack([first, first + size]).tolist()
    return [(slice(y, top), slice(x, east)) for x, y, east, top in corners]


def _windows(a: Floats, b: Floats, starts: _Longs, margin_px: Floats, grid: Grid) -> tuple[_Longs, _Longs]:
    """Return the first pixel (x, y) and the size in pixels of each group of threads, (groups, 2) each."""
    origin, bounds = np.array([grid.x0_mm, grid.y0_mm]), np.array([grid.nx, grid.ny])
    low = (np.minimum.reduceat(np.minimum(a, b), starts) - origin) / grid.cell_mm - margin_px[:, None]
    high = (np.maximum.reduceat(np.maximum(a, b), starts) - origin) / grid.cell_mm + margin_px[:, None]
    first = np.clip(np.floor(low), 0, bounds - 1).astype(np.int64)
    return first, np.clip(np.ceil(high), first + 1, bounds).astype(np.int64) - first


def _sheets(size: _Longs, disc: _Longs) -> Iterator[tuple[_Longs, _Longs, _Longs, list[_Shelf]]]:
    """Place windows of ``size`` (n, 2) on shelves, those of like ``disc`` (n,) together, the tallest first.

    Yields, sheet by sheet, which windows it holds (k,), where each begins (k, 2), its size (2,), pixels, and
    from which row to which it has windows of which disc.
    """
    width = max(int(size[:, 0].max()), _LEAST_WIDTH)
    placed: list[tuple[int, int, int]] = []
    shelves: list[_Shelf] = []
    x = bottom = top = 0
    order = np.lexsort((-size[:, 1], disc))
    for i, one, (wide, tall) in zip(order.tolist(), disc[order].tolist(), size[order].tolist(), strict=True):
        if x + wide > width or (shelves and shelves[-1][2] != one):
            x, bottom = 0, top
            if placed and (bottom + tall) * width > _MOST_PIXELS:
                yield _sheet(placed, width, top, shelves)
                placed, shelves, bottom, top = [], [], 0, 0
        if not shelves or shelves[-1][2] != one:
            shelves.append((bottom, bottom, one))
        placed.append((i, x, bottom))
        x, top = x + wide, max(top, bottom + tall)
        shelves[-1] = (shelves[-1][0], top, one)
    yield _sheet(placed, width, top, shelves)


def _sheet(
    placed: list[tuple[int, int, int]], width: int, height: int, shelves: list[_Shelf]
) -> tuple[_Longs, _Longs, _Longs, list[_Shelf]]:
    table = np.array(placed, dtype=np.int64)
    return table[:, 0], table[:, 1:], np.array([width, height]), shelves
