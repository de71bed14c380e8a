"""The largest circles in uncovered places: where they stand, and how far they are from every thread."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from analyzer.arrays import Floats, distinct
from analyzer.cloth.ground import centres
from analyzer.cloth.nearby import Nearby, expanded, square_distance
from analyzer.cloth.places import Places
from analyzer.laid import Grid

_Longs = npt.NDArray[np.int64]
_Labels = npt.NDArray[np.int32]

_NEARLY_PX = 1.4  #: pixels whose depths differ by less may lie the other way round
_MOST_TRIED = 400  #: pixels of a place whose distances are compared
_MOST_PIXELS = 1_000_000  #: of windows worked on together
_SIDES_PX = (6, 8, 10, 12, 16, 20, 24, 32, 48, 64, 96, 128, 192)  #: sides of windows worked on together
_MOST_SIDE_PX = 500  #: of larger windows every second, third ... pixel is looked at
_MOST_PAIRS = 100_000  #: pairs of point and thread measured at a time
#: Half the sides (pixels) of the squares of points tried one after another around the best pixel, and into
#: how many steps that is divided.
_SEARCH = ((1.0, 3), (0.33, 2), (0.1, 1), (0.05, 1))
_MOST_PLACES = 500  #: searched at a time


def middles(
    places: Places, reach_mm: Floats, grid: Grid, turn: Floats, near: Nearby
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the middle (count, 2) mm and the distance (count,) mm from every thread's line.

    Last come the best pixel of each place, which lies in it for certain, and its distance.

    The ``places`` lie on the raster ``grid``, whose points turned back by ``turn`` are those of the threads
    ``near``; no point of place i is further than ``reach_mm[i - 1]`` from a thread
    but by its depth in the place. Of the pixels about as deep in a place as its deepest, the one furthest
    from all threads is taken and moved to where it is furthest nearby.
    """
    place, rows, columns, depth, coarse = _deep(places)
    at = centres(grid, rows, columns) @ turn.T
    clearance = _clearances(at, reach_mm[place] + (depth + 2.0 * coarse - 2.0) * grid.cell_mm, near)
    order = np.lexsort((-clearance, place))
    best = order[np.flatnonzero(np.diff(place[order], prepend=-1))]
    moved, distance = _refined(at[best], clearance[best], coarse[best] * grid.cell_mm, near)
    return moved, distance, at[best], clearance[best]


def _deep(places: Places) -> tuple[_Longs, _Longs, _Longs, Floats, Floats]:
    """Return the deepest pixels of every place: place (from 0), row, column and depth in pixels.

    Last comes how many pixels apart they were looked for.
    """
    labels, box = places.labels, places.box + np.array([-1, -1, 1, 1])
    side = (box[:, 2:] - box[:, :2]).max(axis=1)
    sizes = np.array([*_SIDES_PX, max(int(side.max()), _SIDES_PX[-1])])
    kind = np.searchsorted(sizes, side)
    found = []
    for k in np.unique(kind).tolist():
        size = int(sizes[k])
        chosen = np.flatnonzero(kind == k)
        if k == len(sizes) - 1:
            for i in chosen:
                step = -(-int(side[i]) // _MOST_SIDE_PX)
                size_px = -(-(box[i, 2:] - box[i, :2]) // step) + 1
                found.append(_deepest(labels, box[i : i + 1], np.array([i]), size_px, step))
            continue
        at_once = max(1, _MOST_PIXELS // size**2)
        for begin in range(0, chosen.size, at_once):
            part = chosen[begin : begin + at_once]
            found.append(_deepest(labels, box[part], part, np.array([size, size]), 1))
    place, rows, columns, depth, coarse = (np.concatenate(each) for each in zip(*found, strict=True))
    return place, rows, columns, depth, coarse


def _deepest(
    labels: _Labels, box: _Longs, place: _Longs, size: _Longs, step: int
) -> tuple[_Longs, _Longs, _Longs, Floats, Floats]:
    """Do so every ``step`` pixels for places (k,) whose windows of one size begin where ``box`` (k, 4) says.

    The windows are stacked; each has a border outside its place, so that none sees another.
    """
    high, wide = size.tolist()
    rows = np.minimum(box[:, :1] + step * np.arange(high), labels.shape[0] - 1)
    columns = np.minimum(box[:, 1:2] + step * np.arange(wide), labels.shape[1] - 1)
    inside = labels[rows[:, :, None], columns[:, None, :]] == (place + 1)[:, None, None]
    depth = ndimage.distance_transform_edt(inside.reshape(-1, wide)).reshape(inside.shape)
    least = np.maximum(depth.max(axis=(1, 2)) - _NEARLY_PX, 0.5)
    which, y, x = np.nonzero(depth >= least[:, None, None])
    number = np.bincount(which, minlength=len(place))
    _, rank = expanded(number)
    taken = rank % np.maximum(number // _MOST_TRIED, 1)[which] == 0
    which, y, x = which[taken], y[taken], x[taken]
    far = depth[which, y, x] * step
    return place[which], rows[which, y], columns[which, x], far, np.full(far.size, float(step))


def _clearances(at: Floats, reach_mm: Floats, near: Nearby) -> Floats:
    """Return how far points (n, 2) are from every thread's line, mm; at most ``reach_mm`` (n,)."""
    result = reach_mm.copy()
    # Points with wide reach see many threads: as many at a time as keeps the pairs few.
    cost = np.cumsum((2.0 * reach_mm / near.grid.cell_mm + 2.0) ** 2 * 4.0)
    begin = 0
    while begin < len(at):
        done = cost[begin - 1] if begin else 0.0
        end = max(begin + 1, int(np.searchsorted(cost, done + _MOST_PAIRS)))
        part, reach = at[begin:end], reach_mm[begin:end, None]
        point, thread = near.within(part - reach, part + reach)
        if point.size:
            square = square_distance(part[point], near.a[thread], near.b[thread])
            starts = np.flatnonzero(np.diff(point, prepend=-1))
            result[begin + point[starts]] = np.sqrt(np.minimum.reduceat(square, starts))
        begin = end
    return result


def _refined(middle: Floats, clearance: Floats, pixel_mm: Floats, near: Nearby) -> tuple[Floats, Floats]:
    """Move each middle (v, 2) to where it is furthest from every thread's line; return that distance too."""
    middle, clearance = middle.copy(), clearance.copy()
    for begin in range(0, len(middle), _MOST_PLACES):
        here = slice(begin, begin + _MOST_PLACES)
        reach = clearance[here] + _room(_SEARCH) * pixel_mm[here]
        place, thread = near.within(middle[here] - reach[:, None], middle[here] + reach[:, None])
        # A thread that passes several cells comes once for each.
        place, thread = np.divmod(distinct(place * len(near.a) + thread), len(near.a))
        for k, (half, number) in enumerate(_SEARCH):
            square = square_distance(middle[here][place], near.a[thread], near.b[thread])
            close = square <= (clearance[here] + _room(_SEARCH[k:]) * pixel_mm[here])[place] ** 2
            place, thread = place[close], thread[close]
            if place.size == 0:
                break
            steps = np.arange(-number, number + 1) * (half / number)
            around = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
            offsets = around * pixel_mm[here, None, None]
            some, moved, least = _best(middle[here], offsets, place, near.a[thread], near.b[thread])
            middle[begin + some], clearance[begin + some] = moved, least
    return middle, clearance


def _room(search: tuple[tuple[float, int], ...]) -> float:
    """Return how much further off than the nearest thread the nearest after a search may be, pixels."""
    return 2.0 * float(np.sqrt(2.0)) * sum(half for half, _ in search)


def _best(
    middle: Floats, offsets: Floats, place: _Longs, a: Floats, b: Floats
) -> tuple[_Longs, Floats, Floats]:
    """Return the places with threads, and for each the best of the points around its middle, and how far.

    ``offsets`` (v, n, 2) lead to the points; ``a``, ``b`` (q, 2) are the threads, ``place`` (q,) whose they
    are, rising. In single precision, measured from the middles.
    """
    starts = np.flatnonzero(np.diff(place, prepend=-1))
    some = place[starts]
    dx, dy = (b - a).T.astype(np.float32)[:, :, None]
    ax, ay = (middle[place] - a).T.astype(np.float32)[:, :, None]
    around = offsets.astype(np.float32)[place]
    per = np.float32(1.0) / np.maximum(dx * dx + dy * dy, np.float32(1e-20))
    px, py = around[..., 0] + ax, around[..., 1] + ay
    along = px * dx
    along += py * dy
    along *= per
    np.maximum(along, np.float32(0.0), out=along)
    np.minimum(along, np.float32(1.0), out=along)
    px -= along * dx
    along *= dy
    py -= along
    px *= px
    py *= py
    px += py
    least = np.minimum.reduceat(px, starts, axis=0)
    pick = np.argmax(least, axis=1)
    moved = middle[some] + offsets[some, pick]
    return some, moved, np.sqrt(least[np.arange(len(some)), pick].astype(np.float64))
