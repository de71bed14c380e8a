"""Uncovered places that stitching encloses, and gaps that open to the outside: how large, and where.

Pixels further from every thread than the least void radius are labelled; what touches the outside encloses
nothing. Slits narrower than twice that radius therefore neither join voids to each other nor let them leak
out. What opens to the outside is a gap where a small disc cannot roll into it and threads line it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats
from analyzer.cloth.ground import closed, dilated
from analyzer.cloth.middles import middles
from analyzer.cloth.nearby import Nearby
from analyzer.cloth.places import Places, Runs
from analyzer.cloth.rims import Lining, judge, rims
from analyzer.cloth.sheet import Sheet
from analyzer.cloth.types import Void
from analyzer.goods.constants import constants
from analyzer.laid import Grid, lay_twice

_Longs = npt.NDArray[np.int64]

_DIRECTIONS = 16  #: in which the rows round an open gap are looked for
_OFF_PX = 0.71  #: a pixel's middle may lie half a diagonal off the true middle of a void
_OFF_MOST = 0.45  #: of the least radius: on coarse rasters, where every gap between rows would pass
_STRIP_PX = 2.3  #: width of the strip between the far part of a void and its rim, a pixel of doubt included


def find_voids(sheet: Sheet, near: Nearby, lining: Lining, width_mm: float) -> tuple[Void, ...]:
    """Return the voids, largest first.

    Places no wider than the gaps between the rows round them are left out, being a matter of the rows'
    spacing, and so are the wedges between a satin's own turns.
    """
    known = constants("cloth")
    grid, least = sheet.grid, known["void_radius_mm"].value
    places, enclosed = _places(sheet, near, width_mm)
    count = len(places.box)
    if count == 0:
        return ()
    opens = np.arange(count) >= enclosed
    reach = np.where(opens, known["void_open_mm"].value, least) + 0.5 * width_mm + grid.cell_mm
    middle, clearance, pixel, pixel_clearance = middles(places, reach, grid, sheet.turn, near)
    places = places.grown(sheet.covered, int(np.ceil(least / grid.cell_mm)))
    area: Floats = places.area_px * grid.cell_mm**2
    columns, rows = _pixels(middle @ sheet.turn, grid)
    inside = places.labels[rows, columns] == np.arange(1, count + 1)
    # Towards its mouth a gap widens: its middle must not move out of it.
    middle = np.where((opens & ~inside)[:, None], pixel, middle)
    radius: Floats = np.where(opens & ~inside, pixel_clearance, clearance) - 0.5 * width_mm
    turned = middle @ sheet.turn
    rows_mm = _spacing(sheet, turned, np.where(opens, radius + width_mm, 0.0))
    kept = (radius > least) & (radius > known["row_gap_share"].value * rows_mm - 0.5 * width_mm)
    # A tail of a void is no void of its own: its middle moves into what is far from all threads.
    kept &= inside | opens
    kept &= ~opens | (area >= known["void_open_slender"].value * (2.0 * radius) ** 2)
    if not kept.any():
        return ()
    number = np.append(0, np.where(kept, np.cumsum(kept), 0))
    middle, radius, area, opens = middle[kept], radius[kept], area[kept], opens[kept]
    place = number[places.labels.ravel()[places.rim]]
    seen = rims(places.rim, place, sheet.covered, grid, sheet.turn, radius.size, near, lining, width_mm)
    meant, texture = judge(seen, radius, area, opens)
    order = np.argsort(-area, kind="stable")
    return tuple(
        Void(
            area_mm2=float(area[i]),
            at=(float(middle[i, 0]), float(middle[i, 1])),
            radius_mm=float(radius[i]),
            meant=bool(meant[i]),
            open=bool(opens[i]),
        )
        for i in order.tolist()
        if not texture[i]
    )


def _pixels(at: Floats, grid: Grid) -> tuple[_Longs, _Longs]:
    """Return the columns and rows of the pixels that hold points (..., 2) mm, the nearest of the raster."""
    pixel = ((at - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(np.int64)
    return pixel[..., 0].clip(0, grid.nx - 1), pixel[..., 1].clip(0, grid.ny - 1)


def _spacing(sheet: Sheet, at: Floats, reach_mm: Floats) -> Floats:
    """Return the widest row spacing on the circle of radius ``reach_mm`` (v,) round ``at`` (v, 2); (v,)."""
    angle = np.linspace(0.0, 2.0 * np.pi, _DIRECTIONS, endpoint=False)
    circle = at[:, None] + reach_mm[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    columns, rows = _pixels(circle, sheet.grid)
    widest: Floats = sheet.spacing_mm[sheet.rows[rows, columns].max(axis=1)]
    return widest


def _places(sheet: Sheet, near: Nearby, width_mm: float) -> tuple[Places, int]:
    """Find the places that stitching encloses, and after them the gaps that open to the outside.

    Enclosed are parts further from all threads than the least radius, and pixels nearly as far away from all
    of those: a void only just large enough may hold no pixel centre that is far enough. (On a raster coarser
    than the usual, which huge designs get, some of those may be missed.)
    Returns them, and how many are enclosed.
    """
    grid, least = sheet.grid, constants("cloth")["void_radius_mm"].value
    a, b = near.a @ sheet.turn, near.b @ sheet.turn
    off_mm = min(_OFF_PX * grid.cell_mm, _OFF_MOST * least)
    widths_mm = width_mm + 2.0 * (least - off_mm), width_mm + 2.0 * least
    bubbles, far = (np.logical_not(each, out=each) for each in lay_twice(a, b, widths_mm, grid))
    bubbles &= ~dilated(far, _STRIP_PX)
    bubbles |= far
    runs = Runs.of(bubbles)
    del bubbles
    outside = runs.touching(grid.shape)
    enclosed = runs.renumbered(~outside)
    return Places.of(grid.shape, enclosed, _open_gaps(sheet, far, runs.renumbered(outside))), enclosed.count


def _open_gaps(sheet: Sheet, far: Bools, outside: Runs) -> Runs:
    """Find the gaps into which a disc of ``void_open_mm`` cannot roll from outside, and which threads line.

    A corner between two edges is no gap: much of its rim is the mouth that opens to the outside.
    """
    known = constants("cloth")
    pocket = closed(sheet.covered, known["void_open_mm"].value / sheet.grid.cell_mm)
    pocket &= far
    runs = Runs.of(pocket)
    opens = np.zeros(runs.count, dtype=np.bool_)
    opens[runs.label[outside.labels_at(runs.start) >= 0]] = True
    runs = runs.renumbered(opens)
    inside, free, nx = pocket.ravel(), far.ravel(), sheet.grid.nx
    rim, mouth = np.zeros(runs.count), np.zeros(runs.count)
    for pixel, label in runs.pixels():
        for step in (1, -1, nx, -nx):
            edge = ~inside[pixel + step]
            rim += np.bincount(label[edge], minlength=runs.count)
            edge &= free[pixel + step]
            mouth += np.bincount(label[edge], minlength=runs.count)
    return runs.renumbered(mouth <= known["void_mouth_share"].value * rim)
