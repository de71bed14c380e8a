"""What each region covers by itself: all regions laid at once, side by side on one sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.laid import Grid, lay_apart

_Longs = npt.NDArray[np.int64]

_MOST_PIXELS = 6_000_000  #: of a sheet; what does not fit goes to the next one
_LEAST_WIDTH = 1024  #: pixels


@dataclass(frozen=True, slots=True)
class Patch:
    """One region's window on the design's raster.

    ``owner`` is the region's place, ``threads`` (k,) the rows of its stitches, ``rows`` and ``columns``
    the window; there ``over`` (ny, nx) counts its own threads, with butt ends, and ``covered`` is what they
    cover with round ones.
    """

    owner: int
    threads: _Longs
    rows: slice
    columns: slice
    over: Bytes
    covered: Bools

    def without_pixels(self) -> Patch:
        """Return the window alone, so that the sheet that it lay on can go."""
        return replace(self, over=np.zeros((0, 0), dtype=np.uint8), covered=np.zeros((0, 0), dtype=np.bool_))


def patches(
    a: Floats, b: Floats, owner: _Longs, margin_px: Floats, width_mm: float, grid: Grid
) -> Iterator[Patch]:
    """Yield the patch of every owner that has threads, in no particular order.

    ``a`` and ``b`` (k, 2) mm are the ends of the threads, ``owner`` (k,) the place of the region that each
    belongs to, ``margin_px`` (owners,) the bare pixels wanted round its threads. One raster pass over a sheet
    on which the windows lie side by side costs less than one for each of many small windows.
    """
    order = np.argsort(owner, kind="stable")
    if order.size == 0:
        return
    starts = np.flatnonzero(np.diff(owner[order], prepend=owner[order[0]] - 1))
    stops = np.append(starts[1:], order.size)
    who = owner[order[starts]]
    first, size = _windows(a[order], b[order], starts, margin_px[who] + 0.5 * width_mm / grid.cell_mm, grid)
    for chosen, place, sheet_px in _sheets(size):
        shift = np.zeros((len(who), 2))
        shift[chosen] = (place - first[chosen]) * grid.cell_mm
        rows = np.concatenate([np.arange(starts[i], stops[i]) for i in chosen.tolist()])
        moved = np.repeat(shift[chosen], (stops - starts)[chosen], axis=0)
        thread = order[rows]
        sheet = Grid(grid.x0_mm, grid.y0_mm, grid.cell_mm, int(sheet_px[0]), int(sheet_px[1]))
        over, covered = lay_apart(a[thread] + moved, b[thread] + moved, width_mm, sheet)
        for i, (x, y) in zip(chosen.tolist(), place.tolist(), strict=True):
            (x0, y0), (nx, ny) = first[i].tolist(), size[i].tolist()
            yield Patch(
                owner=int(who[i]),
                threads=order[starts[i] : stops[i]],
                rows=slice(y0, y0 + ny),
                columns=slice(x0, x0 + nx),
                over=over[y : y + ny, x : x + nx],
                covered=covered[y : y + ny, x : x + nx],
            )


def _windows(a: Floats, b: Floats, starts: _Longs, margin_px: Floats, grid: Grid) -> tuple[_Longs, _Longs]:
    """Return the first pixel (x, y) and the size in pixels of each group of threads, (groups, 2) each."""
    origin, bounds = np.array([grid.x0_mm, grid.y0_mm]), np.array([grid.nx, grid.ny])
    low = (np.minimum.reduceat(np.minimum(a, b), starts) - origin) / grid.cell_mm - margin_px[:, None]
    high = (np.maximum.reduceat(np.maximum(a, b), starts) - origin) / grid.cell_mm + margin_px[:, None]
    first = np.clip(np.floor(low), 0, bounds - 1).astype(np.int64)
    return first, np.clip(np.ceil(high), first + 1, bounds).astype(np.int64) - first


def _sheets(size: _Longs) -> Iterator[tuple[_Longs, _Longs, _Longs]]:
    """Place windows of ``size`` (n, 2) on shelves, the tallest first.

    Yields, sheet by sheet, which windows it holds (k,), where each begins (k, 2), and its size (2,), pixels.
    """
    width = max(int(size[:, 0].max()), _LEAST_WIDTH)
    placed: list[tuple[int, int, int]] = []
    x = bottom = top = 0
    for i in np.argsort(-size[:, 1], kind="stable").tolist():
        wide, tall = size[i].tolist()
        if x + wide > width:
            x, bottom = 0, top
            if placed and (bottom + tall) * width > _MOST_PIXELS:
                yield _sheet(placed, width, top)
                placed, bottom, top = [], 0, 0
        placed.append((i, x, bottom))
        x, top = x + wide, max(top, bottom + tall)
    yield _sheet(placed, width, top)


def _sheet(placed: list[tuple[int, int, int]], width: int, height: int) -> tuple[_Longs, _Longs, _Longs]:
    table = np.array(placed, dtype=np.int64)
    return table[:, 0], table[:, 1:], np.array([width, height])
