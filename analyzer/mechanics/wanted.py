"""The quantities that are wanted over all draws: gaps along outlines and widths of columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Floats, Ints, frozen
from analyzer.design import Design
from analyzer.goods.constants import constants
from analyzer.mechanics.drift import drift
from analyzer.mechanics.law import StitchClass
from analyzer.mechanics.layout import Layout
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
    for item in regions.items:
        if item.kind is not RegionKind.SATIN or item.width_mm is None or item.row_spacing_mm is None:
            continue
        own = np.flatnonzero((regions.region_of == item.id) & (kind == StitchClass.SATIN) & design.joined)
        if own.size:
            chosen = own[
                np.unique(np.linspace(0, own.size - 1, _STITCHES_OF_A_COLUMN).round().astype(np.intp))
            ]
            # row spacing is from thread to thread; the pitch of a zig-zag is there and back
            result.append(
                Column(item.id, item.width_mm, 2.0 * item.row_spacing_mm, frozen(chosen.astype(np.int32)))
            )
    return tuple(result)


def gap_shift(
    layout: Layout, states: Floats, design: Design, pair: OutlinePair, forming: Floats | None = None
) -> Floats:
    """Return what drift adds to the gap at each station, ``n . (d_outline - d_edge)``, (v, k) mm."""
    outline = drift(layout, states, pair.at, pair.outline_stitch, forming)
    edge = drift(layout, states, pair.edge, pair.edge_stitch, forming)
    result: Floats = np.einsum("vki,ki->vk", outline - edge, pair.normal)
    return result


def width_loss(
    layout: Layout,
    states: Floats,
    design: Design,
    column: Column,
    radius_mm: float,
    forming: Floats | None = None,
) -> Floats:
    """Visible loss of width of a column, without play, (v,) mm.

    The mean approach of both rails since each stitch's own moment. Open columns show more of it and close
    ones less than the grid can tell: see ``satin_visible`` in ``stitch_law.toml``.
    """
    last = column.stitches
    b, a = design.penetrations[last], design.penetrations[last - 1]
    n = (b - a) / np.hypot(*(b - a).T)[:, None]
    approach = drift(layout, states, a, last, forming) - drift(layout, states, b, last, forming)
    share = visible_share(column.pitch_mm, radius_mm)
    result: Floats = share * np.einsum("vsi,si->vs", approach, n).mean(axis=1)
    return result


def visible_share(pitch_mm: float, radius_mm: float) -> float:
    """Loss of width of a satin of ``pitch_mm``, there and back, over what the grid tells of it."""
    law = constants("stitch_law")
    ratio = pitch_mm / radius_mm
    return float(law["satin_visible"].value * ratio ** law["satin_visible_exponent"].value)
