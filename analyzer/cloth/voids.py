"""Uncovered places that stitching encloses, and gaps that open to the outside: how large, and where.

Pixels further from every thread than the least void radius are labelled; what touches the outside encloses
nothing. Slits narrower than twice that radius therefore neither join voids to each other nor let them leak
out. What opens to the outside is a gap where a small disc cannot roll into it and threads line it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy import ndimage

from analyzer.arrays import Bools, Floats
from analyzer.cloth.ground import SIDES, centres, closed, dilated
from analyzer.cloth.rims import Threads, judge, rims
from analyzer.cloth.types import Void
from analyzer.goods.constants import constants
from analyzer.laid import Grid, lay

_Longs = npt.NDArray[np.int64]
_Labels = npt.NDArray[np.int32]

_PIECE_MM = 2.0  #: threads are cut to this for the search tree, whose boxes should not overlap much
_DIRECTIONS = 16  #: in which the rows round an open gap are looked for
_OFF_PX = 0.71  #: a pixel's middle may lie half a diagonal off the true middle of a void
_STRIP_PX = 2.3  #: width of the strip between the far part of a void and its rim, a pixel of doubt included
_MOST_TRIED = 400  #: pixels of a void whose distances are compared
_REFINE = ((1.0, 3), (0.33, 3))  #: spread (pixels) and half-number of the points tried around a void's middle


def find_voids(
    threads: Threads, width_mm: float, grid: Grid, covered: Bools, spacing_mm: npt.NDArray[np.float32]
) -> tuple[Void, ...]:
    """Return the voids, largest first.

    ``covered`` (ny, nx) is what the threads cover, with ``void_open_mm`` of bare pixels round it;
    ``spacing_mm`` (ny, nx) the widest row spacing of the regions whose ground a pixel belongs to, 0
    elsewhere: places no wider than the gaps between such rows are left out, being a matter of the rows'
    spacing, and so are the wedges between a satin's own turns.
    """
    known = constants("cloth")
    least = known["void_radius_mm"].value
    far = lay(threads.a, threads.b, width_mm + 2.0 * least, grid) == 0
    labels, enclosed, count = _places(far, covered, threads, width_mm, grid)
    if count == 0:
        return ()
    opens = np.arange(count) >= enclosed
    grown = _grown(labels, covered, int(np.ceil(least / grid.cell_mm)))
    pixels = np.bincount(grown.ravel(), minlength=count + 1)[1:]
    area: Floats = pixels.astype(np.float64) * grid.cell_mm**2
    short = _short(threads)
    tree = shapely.STRtree(shapely.linestrings(np.stack([short.a, short.b], axis=1)))
    middle, clearance = _refined(_middles(labels, count, grid, tree), short, tree, grid.cell_mm)
    radius: Floats = clearance - 0.5 * width_mm
    rows_mm = _spacing(spacing_mm, grid, middle, np.where(opens, radius + width_mm, 0.0))
    kept = (radius > least) & (radius > known["row_gap_share"].value * rows_mm - 0.5 * width_mm)
    # A tail of a void is no void of its own: its middle moves into what is far from all threads.
    columns, rows = ((middle - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(np.int64).T
    kept &= grown[rows, columns] == np.arange(1, count + 1)
    kept &= ~opens | (area >= known["void_open_slender"].value * (2.0 * radius) ** 2)
    if not kept.any():
        return ()
    number = np.where(kept, np.cumsum(kept), 0)
    renumbered = np.append(0, number).astype(np.int32)[grown]
    middle, radius, area, opens = middle[kept], radius[kept], area[kept], opens[kept]
    seen = rims(renumbered, covered, radius.size, grid, short, tree, width_mm)
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


def _spacing(spacing_mm: npt.NDArray[np.float32], grid: Grid, at: Floats, reach_mm: Floats) -> Floats:
    """Return the widest row spacing on the circle of radius ``reach_mm`` (v,) round ``at`` (v, 2); (v,)."""
    angle = np.linspace(0.0, 2.0 * np.pi, _DIRECTIONS, endpoint=False)
    circle = at[:, None] + reach_mm[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    pixel = ((circle - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(np.int64)
    columns, rows = pixel[..., 0].clip(0, grid.nx - 1), pixel[..., 1].clip(0, grid.ny - 1)
    widest: Floats = spacing_mm[rows, columns].max(axis=1).astype(np.float64)
    return widest


def _places(
    far: Bools, covered: Bools, threads: Threads, width_mm: float, grid: Grid
) -> tuple[_Labels, int, int]:
    """Label the parts of ``far`` (ny, nx) that stitching encloses, then the gaps that open to the outside.

    Returns the labels, how many are enclosed, and how many there are in all.
    """
    labels, count = ndimage.label(far)
    outside = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    number = np.arange(count + 1)
    keep = ~np.isin(number, outside)
    keep[0] = False
    renumber = np.where(keep, np.cumsum(keep), 0).astype(np.int32)
    enclosed = int(np.count_nonzero(keep))
    labels = renumber[labels]
    bubbles, more = ndimage.label(_bubbles(far, threads, width_mm, grid))
    labels = np.where(bubbles > 0, bubbles + enclosed, labels)
    enclosed += more
    gaps, more = _open_gaps(far & (labels == 0), covered, grid)
    if more:
        labels = np.where(gaps > 0, gaps + enclosed, labels)
    return labels.astype(np.int32, copy=False), enclosed, enclosed + more


def _bubbles(far: Bools, threads: Threads, width_mm: float, grid: Grid) -> Bools:
    """Return pixels nearly far enough from all threads, away from all that is ``far``.

    A void only just large enough may hold no pixel centre that is far enough: they stand up to 0.71 pixels
    off its middle.
    """
    least = constants("cloth")["void_radius_mm"].value - _OFF_PX * grid.cell_mm
    near = lay(threads.a, threads.b, width_mm + 2.0 * least, grid) > 0
    return ~(near | dilated(far, _STRIP_PX))


def _open_gaps(outside: Bools, covered: Bools, grid: Grid) -> tuple[_Labels, int]:
    """Label the gaps into which a disc of ``void_open_mm`` cannot roll from outside, and which threads line.

    A corner between two edges is no gap: much of its rim is the mouth that opens to the outside.
    """
    known = constants("cloth")
    pocket = closed(covered, known["void_open_mm"].value / grid.cell_mm) & outside
    labels, count = ndimage.label(pocket)
    if count == 0:
        return np.zeros(pocket.shape, dtype=np.int32), 0
    free = outside & ~pocket
    rim, mouth = np.zeros(count + 1), np.zeros(count + 1)
    for here, there in SIDES:
        edge = pocket[here] & ~pocket[there]
        rim += np.bincount(labels[here][edge], minlength=count + 1)
        edge &= free[there]
        mouth += np.bincount(labels[here][edge], minlength=count + 1)
    keep = mouth <= known["void_mouth_share"].value * rim
    keep[0] = False
    renumber = np.where(keep, np.cumsum(keep), 0).astype(np.int32)
    return renumber[labels].astype(np.int32, copy=False), int(np.count_nonzero(keep))


def _short(threads: Threads) -> Threads:
    """Cut the stitches into pieces of at most ``_PIECE_MM``; only the outer pieces keep the ends of rows."""
    number = np.ceil(np.hypot(*(threads.b - threads.a).T) / _PIECE_MM).clip(1.0).astype(np.int64)
    of = np.repeat(np.arange(len(number)), number)
    rank = np.arange(of.size) - np.repeat(np.cumsum(number) - number, number)
    a, step = threads.a[of], (threads.b - threads.a)[of]
    ends = threads.ends_row[of] & np.stack([rank == 0, rank == number[of] - 1], axis=1)
    start, stop = (rank / number[of])[:, None], ((rank + 1) / number[of])[:, None]
    return Threads(
        a + start * step, a + stop * step, threads.kind[of], threads.region[of], threads.stitch[of], ends
    )


def _grown(labels: _Labels, covered: Bools, times: int) -> _Labels:
    """Grow labelled parts back over uncovered pixels, ``times`` pixels far."""
    labels = labels.copy()
    bare = ~covered & (labels == 0)
    for _ in range(times):
        wide = labels.copy()
        np.maximum(wide[1:], labels[:-1], out=wide[1:])
        np.maximum(wide[:-1], labels[1:], out=wide[:-1])
        grown = wide.copy()
        np.maximum(grown[:, 1:], wide[:, :-1], out=grown[:, 1:])
        np.maximum(grown[:, :-1], wide[:, 1:], out=grown[:, :-1])
        np.copyto(labels, grown, where=bare)
        bare &= labels == 0
    return labels


def _middles(labels: _Labels, count: int, grid: Grid, tree: shapely.STRtree) -> Floats:
    """Return the pixel centre of each labelled part that is furthest from all threads, (count, 2) mm.

    Of the pixels about as deep inside a part as its deepest, some are compared by their exact distances.
    """
    tried: list[_Longs] = []
    for i, place in enumerate(ndimage.find_objects(labels)):
        # One pixel of edge on every side: labelled parts never reach the raster's border.
        bottom, left = place[0].start - 1, place[1].start - 1
        inside = labels[bottom : place[0].stop + 1, left : place[1].stop + 1] == i + 1
        depth = ndimage.distance_transform_edt(inside)
        deep = np.argwhere(depth >= max(float(depth.max()) - 1.4, 0.5))
        deep = deep[:: max(1, len(deep) // _MOST_TRIED)]
        tried.append(np.column_stack([deep[:, 0] + bottom, deep[:, 1] + left, np.full(len(deep), i)]))
    rows, columns, void = np.concatenate(tried).T
    at = centres(grid, rows, columns)
    distance = tree.query_nearest(shapely.points(at), all_matches=False, return_distance=True)[1]
    order = np.lexsort((-distance, void))
    return at[order[np.flatnonzero(np.diff(void[order], prepend=-1))]]


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
