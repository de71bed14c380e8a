"""What the needle does to cloth and thread: holes in rows, stitches too short or too long, ties missing."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from analyzer.arrays import Bools, Floats
from analyzer.cloth.types import Needling, Perforation
from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.regions import RegionKind, Regions

_Longs = npt.NDArray[np.int64]

_SAME_MM = 0.01  #: penetrations that round to the same multiple are one hole
_MOST_PERFORATIONS = 20


def needling(design: Design, regions: Regions) -> Needling:
    """Measure what the needle does, penetration by penetration and stitch by stitch."""
    known = constants("cloth")
    lattice = np.unique(np.round(design.penetrations / _SAME_MM).astype(np.int64), axis=0)
    holes: Floats = lattice.astype(np.float64) * _SAME_MM
    tree = cKDTree(holes)
    blade = known["blade_mm"].value
    near = np.asarray(tree.query(holes, k=2, distance_upper_bound=blade)[0])[:, 1] < blade
    ends_tied, ends = _ties(design)
    short, long_mm = _lengths(design, regions)
    return Needling(
        holes=len(holes),
        near_share=float(near.mean()),
        perforations=_perforations(holes, tree),
        short=int(np.count_nonzero(short)),
        longest_mm=long_mm,
        thread_ends=ends,
        ends_untied=ends - ends_tied,
    )


def _perforations(holes: Floats, tree: cKDTree) -> tuple[Perforation, ...]:
    """Return rows of holes so close that the cloth tears along them like a stamp, longest first.

    Holes nearer than ``perforation_pitch_mm`` to each other are one chain. A chain is a row where it is
    much longer than wide; an area full of holes is a matter of needle crowding.
    """
    known = constants("cloth")
    pairs = tree.query_pairs(known["perforation_pitch_mm"].value, output_type="ndarray")
    if len(pairs) == 0:
        return ()
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), pairs.T), shape=(len(holes), len(holes)))
    count, label = connected_components(graph.tocsr(), directed=False)
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


def _lengths(design: Design, regions: Regions) -> tuple[Bools, float]:
    """Return which stitches are short and follow or precede another short one, and the longest seen, mm.

    Ties are meant to be short, and a lone short stitch is the turn of a row.
    """
    kinds = {region.id: region.kind for region in regions.items}
    top = max(kinds, default=-1) + 2
    tie, hidden = np.zeros(top, dtype=np.bool_), np.zeros(top, dtype=np.bool_)
    for number, kind in kinds.items():
        tie[number] = kind is RegionKind.TIE
        hidden[number] = kind in (RegionKind.UNDERLAY, RegionKind.TRAVEL)
    sewn = design.joined & ~design.jumped
    lengths = design.lengths_mm
    short = sewn & ~tie[regions.region_of] & (lengths < constants("limits")["short_stitch_mm"].value)
    beside = np.zeros_like(short)
    beside[1:] |= short[:-1]
    beside[:-1] |= short[1:]
    seen = np.where(sewn & ~hidden[regions.region_of], lengths, 0.0)
    return short & beside, float(seen.max())


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
