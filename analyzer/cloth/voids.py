"""Uncovered places enclosed by stitching: how large, where, and whether they are probably meant.

Pixels further from every thread than the least void radius are labelled; what touches the outside is none.
Slits narrower than twice that radius therefore neither join voids to each other nor let them leak out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from analyzer.arrays import Bools, Floats
from analyzer.cloth.ground import centres, rim
from analyzer.cloth.types import Void
from analyzer.goods.constants import constants
from analyzer.laid import Grid, lay

_Longs = npt.NDArray[np.int64]
_Labels = npt.NDArray[np.int32]

_RIM_POINTS = 50  #: points of a void's rim that are looked at, about
_PIECE_MM = 2.0  #: threads are cut to this for the search tree, whose boxes should not overlap much
_REFINE = ((1.0, 3), (0.33, 3))  #: spread (pixels) and half-number of the points tried around a void's middle


@dataclass(frozen=True, slots=True)
class Threads:
    """Stitches on the cloth.

    ``a``, ``b`` (k, 2) mm are their ends; ``finishing`` (k,) is true where a rim along the stitch is a
    finished one; ``ends_row`` (k, 2) tells for each end whether a row ends there.
    """

    a: Floats
    b: Floats
    finishing: Bools
    ends_row: Bools


def find_voids(
    threads: Threads, width_mm: float, grid: Grid, covered: Bools, spacing_mm: npt.NDArray[np.float32]
) -> tuple[Void, ...]:
    """Return the voids, largest first.

    ``covered`` (ny, nx) is what the threads cover; ``spacing_mm`` (ny, nx) the widest row spacing of the
    regions whose ground a pixel belongs to, 0 elsewhere: places no wider than the gaps between such rows are
    left out, being a matter of the rows' spacing.
    """
    known = constants("cloth")
    least = known["void_radius_mm"].value
    far = lay(threads.a, threads.b, width_mm + 2.0 * least, grid) == 0
    labels, count = _enclosed(far)
    if count == 0:
        return ()
    grown = _grown(labels, covered, int(np.ceil(least / grid.cell_mm)))
    area = np.bincount(grown.ravel(), minlength=count + 1)[1:] * grid.cell_mm**2
    threads = _short(threads)
    tree = shapely.STRtree(shapely.linestrings(np.stack([threads.a, threads.b], axis=1)))
    middle, clearance = _refined(_middles(labels, count, grid), threads, tree, grid.cell_mm)
    radius = clearance - 0.5 * width_mm
    columns, rows = ((middle - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(np.int64).T
    row_gap = radius <= known["row_gap_share"].value * spacing_mm[rows, columns]
    meant = radius >= known["meant_surely_mm"].value
    # A gap that opened between two things is long and narrow; a place left open seldom is.
    compact = area <= known["meant_slender"].value * np.pi * radius**2
    doubtful = (radius >= known["meant_radius_mm"].value) & compact & ~meant
    if doubtful.any():
        finished = _finished(
            np.where(np.append(False, doubtful)[grown], grown, 0), count, grid, threads, tree, width_mm
        )
        meant |= doubtful & (finished >= known["meant_rim_share"].value)
    order = np.argsort(-area, kind="stable")
    return tuple(
        Void(
            area_mm2=float(area[i]),
            at=(float(middle[i, 0]), float(middle[i, 1])),
            radius_mm=float(radius[i]),
            meant=bool(meant[i]),
        )
        for i in order.tolist()
        if radius[i] > least and not row_gap[i]
    )


def _short(threads: Threads) -> Threads:
    """Cut the stitches into pieces of at most ``_PIECE_MM``; only the outer pieces keep the ends of rows."""
    number = np.ceil(np.hypot(*(threads.b - threads.a).T) / _PIECE_MM).clip(1.0).astype(np.int64)
    of = np.repeat(np.arange(len(number)), number)
    rank = np.arange(of.size) - np.repeat(np.cumsum(number) - number, number)
    a, step = threads.a[of], (threads.b - threads.a)[of]
    ends = threads.ends_row[of] & np.stack([rank == 0, rank == number[of] - 1], axis=1)
    start, stop = (rank / number[of])[:, None], ((rank + 1) / number[of])[:, None]
    return Threads(a + start * step, a + stop * step, threads.finishing[of], ends)


def _enclosed(far: Bools) -> tuple[_Labels, int]:
    """Label the parts of ``far`` (ny, nx) that do not touch the raster's border, 1 .. count."""
    labels, count = ndimage.label(far)
    outside = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    number = np.arange(1, count + 1)
    keep = ~np.isin(number, outside)
    renumber = np.zeros(count + 1, dtype=np.int32)
    renumber[1:][keep] = np.arange(1, np.count_nonzero(keep) + 1)
    return renumber[labels], int(np.count_nonzero(keep))


def _grown(labels: _Labels, covered: Bools, times: int) -> _Labels:
    """Grow labelled parts back over uncovered pixels, ``times`` pixels far."""
    for _ in range(times):
        grown = ndimage.maximum_filter(labels, size=3)
        labels = np.where((labels == 0) & ~covered, grown, labels)
    return labels


def _middles(labels: _Labels, count: int, grid: Grid) -> Floats:
    """Return the innermost pixel centre of each labelled part, (count, 2) mm."""
    middle = np.empty((count, 2))
    for i, place in enumerate(ndimage.find_objects(labels)):
        # One pixel of edge on every side: enclosed parts never reach the raster's border.
        bottom, left = place[0].start - 1, place[1].start - 1
        inside = labels[bottom : place[0].stop + 1, left : place[1].stop + 1] == i + 1
        depth = ndimage.distance_transform_edt(inside)
        row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
        middle[i] = centres(grid, np.array([row + bottom]), np.array([column + left]))[0]
    return middle


def _refined(
    middle: Floats, threads: Threads, tree: shapely.STRtree, pixel_mm: float
) -> tuple[Floats, Floats]:
    """Move each middle (v, 2) to where it is furthest from every thread's line; return that distance too, mm.

    Tries a lattice of points around it, twice, with exact distances to the threads nearby.
    """
    nearest = tree.query_nearest(shapely.points(middle), all_matches=False, return_distance=True)[1]
    void, thread = tree.query(shapely.points(middle), predicate="dwithin", distance=nearest + 4.0 * pixel_mm)
    order = np.argsort(void, kind="stable")
    void, thread = void[order], thread[order]
    starts = np.flatnonzero(np.concatenate([[True], void[1:] != void[:-1]]))
    best = nearest
    for spread, half in _REFINE:
        steps = np.arange(-half, half + 1) * spread * pixel_mm / half
        offsets = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        tried = middle[:, None, :] + offsets
        distance = _distances(tried[void], threads.a[thread], threads.b[thread])
        least = np.minimum.reduceat(distance, starts, axis=0)
        pick = np.argmax(least, axis=1)
        middle = tried[np.arange(len(middle)), pick]
        best = least[np.arange(len(middle)), pick]
    return middle, best


def _distances(points: Floats, a: Floats, b: Floats) -> Floats:
    """Return the distances of points (q, n, 2) from segments (q, 2)-(q, 2); (q, n)."""
    d = b - a
    square = np.maximum((d * d).sum(axis=1), 1e-30)[:, None]
    t = np.clip(((points - a[:, None]) * d[:, None]).sum(axis=2) / square, 0.0, 1.0)
    rest = points - a[:, None] - t[..., None] * d[:, None]
    return np.asarray(np.hypot(rest[..., 0], rest[..., 1]), dtype=np.float64)


def _finished(
    labels: _Labels, count: int, grid: Grid, threads: Threads, tree: shapely.STRtree, width_mm: float
) -> Floats:
    """Return the share of each void's rim that is finished: row ends, or along a run or a satin; (count,)."""
    rows, columns = np.nonzero(rim(labels == 0))
    void = labels[rows, columns] - 1
    order = np.argsort(void, kind="stable")
    rows, columns, void = rows[order], columns[order], void[order]
    number = np.bincount(void, minlength=count)
    stride = np.maximum(number // _RIM_POINTS, 1)
    rank = np.arange(void.size) - np.repeat(np.cumsum(number) - number, number)
    taken = rank % stride[void] == 0
    at, void = centres(grid, rows[taken], columns[taken]), void[taken]
    thread = tree.nearest(shapely.points(at))
    a, b = threads.a[thread], threads.b[thread]
    d = b - a
    t = ((at - a) * d).sum(axis=1) / np.maximum((d * d).sum(axis=1), 1e-30)
    length = np.hypot(d[:, 0], d[:, 1])
    # A rim point belongs to an end of its thread where it lies beyond it or within a thread's width of it.
    close = width_mm / np.maximum(length, width_mm)
    ends = threads.ends_row[thread]
    good = threads.finishing[thread] | ((t < close) & ends[:, 0]) | ((t > 1.0 - close) & ends[:, 1])
    return np.bincount(void, weights=good, minlength=count) / np.maximum(
        np.bincount(void, minlength=count), 1
    )
