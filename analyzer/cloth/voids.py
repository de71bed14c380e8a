"""Uncovered places that stitching encloses, and gaps that open to the outside: how large, and where.

Pixels further from every thread than the least void radius are labelled; what touches the outside encloses
nothing. Slits narrower than twice that radius therefore neither join voids to each other nor let them leak
out. What opens to the outside is a gap where a small disc cannot roll into it and threads line it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from analyzer.arrays import Bools, Floats, distinct
from analyzer.cloth.ground import closed, dilated
from analyzer.cloth.middles import middles
from analyzer.cloth.nearby import Nearby
from analyzer.cloth.rims import Lining, judge, rims
from analyzer.cloth.sheet import Sheet
from analyzer.cloth.types import Void
from analyzer.goods.constants import constants
from analyzer.laid import Grid, lay

_Longs = npt.NDArray[np.int64]
_Labels = npt.NDArray[np.int32]

_ROWS = 64  #: of the raster renumbered at a time, since numbers used as places are widened
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
    labels, enclosed, count = _places(sheet, near, width_mm)
    if count == 0:
        return ()
    opens = np.arange(count) >= enclosed
    reach = np.where(opens, known["void_open_mm"].value, least) + 0.5 * width_mm + grid.cell_mm
    middle, clearance, pixel, pixel_clearance = middles(labels, count, reach, grid, sheet.turn, near)
    edge, area_px = _grow(labels, sheet.covered, count, int(np.ceil(least / grid.cell_mm)))
    area: Floats = area_px * grid.cell_mm**2
    columns, rows = _pixels(middle @ sheet.turn, grid)
    inside = labels[rows, columns] == np.arange(1, count + 1)
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
    place = number[labels.ravel()[edge]]
    seen = rims(edge, place, sheet.covered, grid, sheet.turn, radius.size, near, lining, width_mm)
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


def _places(sheet: Sheet, near: Nearby, width_mm: float) -> tuple[_Labels, int, int]:
    """Label the places that stitching encloses, then the gaps that open to the outside.

    Enclosed are parts further from all threads than the least radius, and pixels nearly as far away from all
    of those: a void only just large enough may hold no pixel centre that is far enough. (On a raster coarser
    than the usual, which huge designs get, some of those may be missed.)
    Returns the labels (ny, nx), how many are enclosed, and how many there are in all.
    """
    grid, least = sheet.grid, constants("cloth")["void_radius_mm"].value
    a, b = near.a @ sheet.turn, near.b @ sheet.turn
    far = lay(a, b, width_mm + 2.0 * least, grid) == 0
    off_mm = min(_OFF_PX * grid.cell_mm, _OFF_MOST * least)
    bubbles = lay(a, b, width_mm + 2.0 * (least - off_mm), grid) == 0
    bubbles &= ~dilated(far, _STRIP_PX)
    bubbles |= far
    labels = np.empty(grid.shape, dtype=np.int32)
    count = int(ndimage.label(bubbles, output=labels))
    del bubbles
    outside = np.zeros(count + 1, dtype=np.bool_)
    for side in (labels[0], labels[-1], labels[:, 0], labels[:, -1]):
        outside[side] = True
    outside[0] = False
    number = np.where(outside, 0, np.arange(count + 1)).astype(np.int32)
    number[~outside] = np.arange(count + 1 - np.count_nonzero(outside))
    enclosed = int(number.max())
    pockets, pocket = _open_gaps(sheet, far, outside[labels])
    for row in range(0, len(labels), _ROWS):
        labels[row : row + _ROWS] = number[labels[row : row + _ROWS]]
    labels.ravel()[pockets] = enclosed + pocket
    return labels, enclosed, enclosed + int(pocket.max(initial=0))


def _open_gaps(sheet: Sheet, far: Bools, outside: Bools) -> tuple[_Longs, _Longs]:
    """Find the gaps into which a disc of ``void_open_mm`` cannot roll from outside, and which threads line.

    A corner between two edges is no gap: much of its rim is the mouth that opens to the outside.
    Returns flat pixels of the raster, and the number of the gap, from 1, that each belongs to.
    """
    known = constants("cloth")
    outside &= far
    pocket = closed(sheet.covered, known["void_open_mm"].value / sheet.grid.cell_mm)
    pocket &= outside
    pixel = np.flatnonzero(pocket)
    if pixel.size == 0:
        return pixel, pixel
    nx = sheet.grid.nx
    inside, free = pocket.ravel(), outside.ravel()
    ends = []
    for step in (1, nx):
        beside = np.flatnonzero(inside[pixel + step])
        ends.append(np.stack([beside, np.searchsorted(pixel, pixel[beside] + step)]))
    one, two = np.concatenate(ends, axis=1)
    graph = coo_array((np.ones(one.size, dtype=np.int8), (one, two)), shape=(pixel.size, pixel.size))
    count, label = connected_components(graph.tocsr(), directed=False)
    rim, mouth = np.zeros(count), np.zeros(count)
    for step in (1, -1, nx, -nx):
        edge = ~inside[pixel + step]
        rim += np.bincount(label[edge], minlength=count)
        edge &= free[pixel + step]
        mouth += np.bincount(label[edge], minlength=count)
    keep = mouth <= known["void_mouth_share"].value * rim
    renumber = np.where(keep, np.cumsum(keep), 0)
    kept = keep[label]
    return pixel[kept], renumber[label[kept]]


def _grow(labels: _Labels, covered: Bools, count: int, times: int) -> tuple[_Longs, Floats]:
    """Grow the places 1 .. count back over uncovered pixels, ``times`` pixels far, in place.

    Returns the flat pixels of all places that may have covered ones beside them, in rising order, and how
    many pixels each place has, (count,).
    """
    some = labels > 0
    area = np.bincount(labels[some], minlength=count + 1)
    inner = some.copy()
    for axis in (0, 1):
        here, there = np.moveaxis(inner, axis, 0), np.moveaxis(some, axis, 0)
        here[1:] &= there[:-1]
        here[:-1] &= there[1:]
    edge = np.flatnonzero(some & ~inner)
    flat, cover = labels.ravel(), covered.ravel()
    nx = labels.shape[1]
    around = np.array([dy * nx + dx for dy in (-1, 0, 1) for dx in (-1, 0, 1) if dy or dx])
    found = [edge]
    for _ in range(times):
        beside = edge[:, None] + around
        bare = (flat[beside] == 0) & ~cover[beside]
        whose = np.broadcast_to(flat[edge][:, None], beside.shape)[bare]
        beside = beside[bare]
        np.maximum.at(flat, beside, whose)
        edge = distinct(beside)
        area += np.bincount(flat[edge], minlength=count + 1)
        found.append(edge)
    return np.sort(np.concatenate(found)), area[1:].astype(np.float64)
