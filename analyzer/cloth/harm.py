"""What the needle does to cloth and thread: holes that crowd, holes in rows, ties missing."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats, box_of, distinct, parts
from analyzer.cloth.nearby import expanded
from analyzer.cloth.types import Needling, Perforation
from analyzer.design import Design
from analyzer.goods.constants import constants

_Longs = npt.NDArray[np.int64]

_SAME_MM = 0.01  #: penetrations that round to the same multiple are one hole
_MOST_PERFORATIONS = 20
_MOST_PAIRS = 100_000  #: pairs of holes compared at a time, so that they stay in cache


def needling(design: Design) -> Needling:
    """Measure what the needle does: holes that crowd, rows of them, thread ends without ties."""
    known = constants("cloth")
    blade, pitch = known["blade_mm"].value, known["perforation_pitch_mm"].value
    holes = _holes(design.penetrations, blade)
    others = np.zeros(len(holes), dtype=np.int64)
    close = []
    for one, two, square in _neighbours(holes, blade):
        others += np.bincount(one, minlength=len(holes)) + np.bincount(two, minlength=len(holes))
        beside = square < pitch * pitch
        close.append(np.stack([one[beside], two[beside]]))
    ends_tied, ends = _ties(design)
    return Needling(
        holes=len(holes),
        near_share=float(np.mean(others >= known["crowd_others"].value)),
        perforations=_perforations(holes, np.concatenate(close, axis=1)),
        thread_ends=ends,
        ends_untied=ends - ends_tied,
    )


def _holes(penetrations: Floats, cell_mm: float) -> Floats:
    """Return where the needle goes through, each place once, by cells of ``cell_mm`` in rows; (n, 2) mm."""
    low, _ = box_of(penetrations)
    x, y = np.round((penetrations - low) / _SAME_MM).astype(np.int64).T
    side = max(int(x.max()), int(y.max())) + 1
    x, y = np.divmod(distinct(x * side + y), side)
    per_cell = round(cell_mm / _SAME_MM)
    order = np.argsort(y // per_cell * (side // per_cell + 1) + x // per_cell, kind="stable")
    holes: Floats = np.stack([x[order], y[order]], axis=1) * _SAME_MM + low
    return holes


def _neighbours(holes: Floats, reach_mm: float) -> Iterator[tuple[_Longs, _Longs, Floats]]:
    """Yield pairs of holes nearer than ``reach_mm``, each once, and their squared distances, mm2.

    The holes (n, 2) come sorted by cells of that side, row by row, so that those of neighbouring cells in a
    row follow each other: for each hole the rest of its cell and the next one, and three cells above.
    """
    origin = box_of(holes)[0] - 0.5 * _SAME_MM
    column, row = np.floor((holes - origin) / reach_mm).astype(np.int64).T
    wide = int(column.max()) + 3
    cell = row * wide + column + 1
    begins = np.stack([np.arange(1, len(holes) + 1), np.searchsorted(cell, cell + wide - 1)])
    stops = np.stack(
        [np.searchsorted(cell, cell + 1, side="right"), np.searchsorted(cell, cell + wide + 1, side="right")]
    )
    total = np.cumsum((stops - begins).sum(axis=0))
    first = 0
    while first < len(holes):
        done = int(total[first - 1]) if first else 0
        last = max(first + 1, int(np.searchsorted(total, done + _MOST_PAIRS, side="right")))
        for begin, stop in zip(begins[:, first:last], stops[:, first:last], strict=True):
            one, rank = expanded(np.maximum(stop - begin, 0))
            two = begin[one] + rank
            one += first
            step = holes[one] - holes[two]
            square = step[:, 0] ** 2 + step[:, 1] ** 2
            near = square < reach_mm * reach_mm
            yield one[near], two[near], square[near]
        first = last


def _perforations(holes: Floats, pairs: _Longs) -> tuple[Perforation, ...]:
    """Return rows of holes so close that the cloth tears along them like a stamp, longest first.

    Holes nearer than ``perforation_pitch_mm`` to each other, ``pairs`` (2, p), are one chain. A chain is a
    row where it is much longer than wide; an area full of holes is a matter of needle crowding.
    """
    known = constants("cloth")
    if pairs.shape[1] == 0:
        return ()
    count, label = parts(pairs[0], pairs[1], len(holes))
    number = np.bincount(label, minlength=count)
    order = np.argsort(label, kind="stable")
    starts = np.cumsum(number) - number
    sorted_holes = holes[order]
    low = np.minimum.reduceat(sorted_holes, starts)
    extent = np.maximum.reduceat(sorted_holes, starts) - low
    length = np.hypot(extent[:, 0], extent[:, 1])
    found = []
    least = known["perforation_mm"].value
    for i in np.flatnonzero((length >= least) & (number * known["perforation_pitch_mm"].value >= length)):
        chain = sorted_holes[starts[i] : starts[i] + number[i]]
        per_mm = number[i] / _way(chain)
        if per_mm <= known["perforation_row_per_mm"].value:
            x, y = chain[len(chain) // 2].tolist()
            found.append(Perforation((x, y), float(number[i] / per_mm), float(per_mm)))
    return tuple(sorted(found, key=lambda row: -row.length_mm)[:_MOST_PERFORATIONS])


def _way(chain: Floats) -> float:
    """Return the length of the line that a chain of holes (n, 2) follows: cells of 1 mm that it passes."""
    cells = np.unique(np.floor(chain).astype(np.int64), axis=0)
    extent = float(np.hypot(*np.ptp(chain, axis=0)))
    # A straight or curved line passes 4/pi cells for each of its length, on average over its directions.
    return max(extent, len(cells) * np.pi / 4.0)


def _ties(design: Design) -> tuple[int, int]:
    """Return how many thread ends are tied, and how many there are: two for each stretch between cuts.

    An end is tied where, within the first or last few stitches, one short stitch goes back over another.
    """
    known = constants("cloth")
    m = len(design.penetrations)
    step = np.zeros((m, 2))
    step[1:] = np.diff(design.penetrations, axis=0)
    step[~design.joined] = 0.0
    length = np.hypot(step[:, 0], step[:, 1])
    back = np.zeros(m, dtype=np.bool_)
    brief = (length > 0.0) & (length <= known["tie_stitch_mm"].value)
    turned = (step[1:] * step[:-1]).sum(axis=1) <= -0.5 * length[1:] * length[:-1]
    back[1:] = brief[1:] & brief[:-1] & turned
    total = np.append(0, np.cumsum(back))
    first = np.flatnonzero(~design.joined)
    last = np.append(first[1:], m)
    long_enough = last - first > 2
    first, last = first[long_enough], last[long_enough]
    reach = round(known["tie_stitches"].value) + 1
    at_start = total[np.minimum(first + reach, last)] > total[first]
    at_end = total[last] > total[np.maximum(last - reach, first)]
    return int(at_start.sum() + at_end.sum()), 2 * len(first)
