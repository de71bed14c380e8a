"""The quantities that are wanted over all draws: gaps along outlines and widths of columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from analyzer.arrays import Floats, Ints, frozen
from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.mechanics.drift import drift, share_of_way
from analyzer.mechanics.law import StitchClass
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.readings import Sought
from analyzer.regions.types import OutlinePair, RegionKind, Regions

_STITCHES_OF_A_COLUMN = 60  # sampled evenly; the loss of width varies slowly along a column


@dataclass(frozen=True, slots=True)
class Column:
    """A satin column: ``stitches`` (s,) are the penetrations at which its sampled stitches end."""

    region: int
    width_mm: float
    pitch_mm: float
    stitches: Ints


def columns(
    design: Design, regions: Regions, kind: np.ndarray[tuple[int], np.dtype[np.uint8]]
) -> tuple[Column, ...]:
    """Return the satin columns of a design; ``kind`` (m,) is the class of the stitch that ends there."""
    result = []
    satin = np.flatnonzero((kind == StitchClass.SATIN) & design.joined)
    satin = satin[np.argsort(regions.region_of[satin], kind="stable")]
    whose = regions.region_of[satin]
    for item in regions.items:
        if item.kind is not RegionKind.SATIN or item.width_mm is None or item.row_spacing_mm is None:
            continue
        own = satin[slice(*np.searchsorted(whose, (item.id, item.id + 1)).tolist())]
        if own.size:
            chosen = own[
                np.unique(np.linspace(0, own.size - 1, _STITCHES_OF_A_COLUMN).round().astype(np.intp))
            ]
            # row spacing is from thread to thread; the pitch of a zig-zag is there and back
            result.append(
                Column(item.id, item.width_mm, 2.0 * item.row_spacing_mm, frozen(chosen.astype(np.int32)))
            )
    return tuple(result)


def sought(design: Design, regions: Regions, columns: tuple[Column, ...]) -> Sought:
    """Return the gap shifts at all stations of all pairs, then the mean approach of all columns' rails."""
    at, penetration, direction, row = [np.zeros((0, 2))], [np.zeros(0, np.int32)], [np.zeros((0, 2))], []
    first = 0
    for pair in regions.pairs:
        at += [pair.at, pair.edge]
        penetration += [pair.outline_stitch, pair.edge_stitch]
        direction += [pair.normal, -pair.normal]
        row += 2 * [first + np.arange(len(pair.at))]
        first += len(pair.at)
    for column in columns:
        last = column.stitches
        b, a = design.penetrations[last], design.penetrations[last - 1]
        n = (b - a) / (len(last) * np.hypot(*(b - a).T)[:, None])
        at += [a, b]
        penetration += [last, last]
        direction += [n, -n]
        row += 2 * [np.full(len(last), first)]
        first += 1
    rows = np.concatenate([np.zeros(0, np.intp), *row])
    entries = (np.ones(len(rows)), (rows, np.arange(len(rows))))
    return Sought(
        at=frozen(np.concatenate(at)),
        penetration=frozen(np.concatenate(penetration)),
        direction=frozen(np.concatenate(direction)),
        gather=sparse.csr_matrix(entries, shape=(first, len(rows))),
    )


def read(layout: Layout, states: Floats, forming: Floats) -> Floats:
    """Return what is sought, (v, q) mm, from ``states`` (v, blocks + 1, nodes, 2) mm.

    All at once what :func:`gap_shift` gives for one pair; for a column the approach of its rails, from which
    :func:`visible_share` makes the loss of width.
    """
    where = layout.readings
    done = share_of_way(forming[:, where.number], where.moment[None])
    result = np.empty((len(states), where.gather.shape[0]))
    for variant, state in enumerate(states):
        share, flat = done[variant], state.reshape(-1)
        ahead = (1.0 - share) * (where.before @ flat) + share * (where.after @ flat)
        result[variant] = where.gather @ (where.end @ state[-1].reshape(-1) - ahead)
    return result


def gap_shift(
    layout: Layout, states: Floats, design: Design, pair: OutlinePair, forming: Floats | None = None
) -> Floats:
    """Return what drift adds to the gap at each station, ``n . (d_outline - d_edge)``, (v, k) mm."""
    outline = drift(layout, states, pair.at, pair.outline_stitch, forming)
    edge = drift(layout, states, pair.edge, pair.edge_stitch, forming)
    result: Floats = np.einsum("vki,ki->vk", outline - edge, pair.normal)
    return result


def visible_share(pitch_mm: float, radius_mm: float) -> float:
    """Loss of width of a satin of ``pitch_mm``, there and back, over what the grid tells of it.

    Open columns show more of it and close ones less than the grid can tell: see ``satin_visible`` in
    ``stitch_law.toml``.
    """
    law = constants("stitch_law")
    ratio = pitch_mm / radius_mm
    return float(law["satin_visible"].value * ratio ** law["satin_visible_exponent"].value)
