"""What lines an uncovered place, and whether the place is probably meant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats
from analyzer.cloth.ground import centres
from analyzer.cloth.nearby import Nearby, expanded
from analyzer.goods.constants import constants
from analyzer.laid import Grid

_Longs = npt.NDArray[np.int64]

LINE, SATIN, FILL = 0, 1, 2  #: what a thread belongs to: a run or hidden stitching, a satin, a fill

_RIM_POINTS = 32  #: points of a void's rim that are looked at, about


@dataclass(frozen=True, slots=True)
class Lining:
    """What the stitches on the cloth say of a rim that they lie on.

    ``kind`` (k,) is LINE, SATIN or FILL; ``region`` (k,) and ``stitch`` (k,) are numbers; ``ends_row`` (k, 2)
    tells for each end whether a row ends there.
    """

    kind: npt.NDArray[np.int8]
    region: _Longs
    stitch: _Longs
    ends_row: Bools


@dataclass(frozen=True, slots=True)
class Rims:
    """What lines each of v places, as shares of its rim; ``spread`` is the range of stitch numbers there."""

    line: Floats
    satin: Floats
    fill: Floats
    row_ends: Floats  #: of fills
    one_region: Floats  #: the region with the largest share
    spread: _Longs


def rims(
    edge: _Longs,
    place: _Longs,
    covered: Bools,
    grid: Grid,
    turn: Floats,
    count: int,
    near: Nearby,
    lining: Lining,
    width_mm: float,
) -> Rims:
    """Look at the rims of the places 1 .. count: covered pixels beside theirs.

    ``edge`` (n,) are flat pixels of places, all that have covered ones beside them, ``place`` (n,) whose they
    are, 0 for none. The raster's points turned back by ``turn`` are those of the threads ``near``.
    """
    rim, void = _rim(edge[place > 0], place[place > 0] - 1, covered)
    order = np.argsort(void, kind="stable")
    rim, void = rim[order], void[order]
    number = np.bincount(void, minlength=count)
    _, rank = expanded(number)
    taken = rank % np.maximum(number // _RIM_POINTS, 1)[void] == 0
    rows, columns = np.divmod(rim[taken], grid.nx)
    at, void = centres(grid, rows, columns) @ turn.T, void[taken]
    thread = near.nearest(at, 0.51 * width_mm)
    at, void, thread = at[thread >= 0], void[thread >= 0], thread[thread >= 0]
    a, b = near.a[thread], near.b[thread]
    d = b - a
    length = np.hypot(d[:, 0], d[:, 1])
    along = ((at - a) * d).sum(axis=1) / np.maximum(length, 1e-15)
    # A rim point belongs to an end of its thread where it lies beyond it or within a thread's width of it.
    ends = lining.ends_row[thread]
    at_end = ((along < width_mm) & ends[:, 0]) | ((along > length - width_mm) & ends[:, 1])
    kind, stitch = lining.kind[thread], lining.stitch[thread]
    total = np.maximum(np.bincount(void, minlength=count), 1)

    def share(chosen: Bools) -> Floats:
        return np.bincount(void[chosen], minlength=count) / total

    regions = int(lining.region.max(initial=0)) + 1
    pairs, hits = np.unique(void * regions + lining.region[thread], return_counts=True)
    most = np.zeros(count)
    np.maximum.at(most, pairs // regions, hits)
    first, last = np.full(count, np.iinfo(np.int64).max), np.zeros(count, dtype=np.int64)
    np.minimum.at(first, void, stitch)
    np.maximum.at(last, void, stitch)
    return Rims(
        line=share(kind == LINE),
        satin=share(kind == SATIN),
        fill=share(kind == FILL),
        row_ends=share((kind == FILL) & at_end),
        one_region=most / total,
        spread=np.maximum(last - first, 0),
    )


def _rim(edge: _Longs, place: _Longs, covered: Bools) -> tuple[_Longs, _Longs]:
    """Return the covered pixels that share a side with one of ``edge`` (n,), and the place of that one."""
    flat, nx = covered.ravel(), covered.shape[1]
    found, whose = [], []
    for step in (-nx, nx, -1, 1):
        beside = flat[edge + step]
        found.append(edge[beside] + step)
        whose.append(place[beside])
    return np.concatenate(found), np.concatenate(whose)


def judge(seen: Rims, radius_mm: Floats, area_mm2: Floats, opens: Bools) -> tuple[Bools, Bools]:
    """Return which places are probably meant, and which are mere texture, (v,) each.

    Texture are wedges between the turns of one satin, or at the ends of a fill's rows, which lie open in
    every wide-set or curved column and every zig-zag of rows, and what is smaller than a letter's counter
    between satins: a matter of the spacing, reported by its coverage. Hundreds of them in one wreath would
    hide what is amiss. For the rest:

    - what is wide is meant, and so is what only runs, or satins from a certain size on, enclose: meshes,
      letters' counters, the ground between letters;
    - a gap beside a fill that is long and narrow opened between two things or lacks rows: not meant;
    - a compact place in a fill is meant where its rim is finished (rows end there, or a line runs along it)
      and from a certain size on.
    """
    known = constants("cloth")
    small = radius_mm < known["meant_radius_mm"].value
    texture = (
        small
        & (seen.one_region >= known["texture_rim_share"].value)
        & (seen.spread <= known["texture_stitches"].value)
    )
    slender = area_mm2 / (np.pi * radius_mm**2)
    texture &= (seen.satin > 0.5) | ((seen.fill > 0.5) & (slender <= known["texture_slender"].value))
    satins = seen.satin >= known["texture_rim_share"].value
    texture |= satins & (radius_mm < known["meant_counter_mm"].value)
    compact = slender <= known["meant_slender"].value
    finished = seen.line + seen.satin + seen.row_ends >= known["meant_rim_share"].value
    no_fill = seen.fill < known["meant_fill_share"].value
    lines = seen.line >= known["meant_line_share"].value
    of_size = radius_mm >= np.where(lines, 0.0, known["meant_counter_mm"].value)
    finished |= radius_mm >= known["meant_compact_mm"].value
    meant = (no_fill & of_size) | (~small & compact & finished & ~opens)
    return meant | (radius_mm >= known["meant_surely_mm"].value), texture
