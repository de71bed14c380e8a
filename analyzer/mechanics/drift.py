"""Drift: how far the cloth at a point has moved since a given moment of the sewing."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.mechanics.layout import Layout


def end_displacement(layout: Layout, states: Floats, points: Floats) -> Floats:
    """Displacement (v, p, 2) mm of ``points`` (p, 2) when all is sewn."""
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    result: Floats = np.einsum("vpci,pc->vpi", states[:, -1][:, nodes], weights)
    return result


def share_of_way(forming: Floats, moment: Floats) -> Floats:
    """Share of a block's movement that has happened at ``moment`` (0 to 1) of the block.

    ``ln(1 + rho m) / ln(1 + rho)`` with rho = ``forming``, the ties of the whole block over what was there
    before it, is the movement under evenly growing pull against evenly growing ties, in one dimension
    (derived, as :func:`~analyzer.mechanics.sequence.locking_share` is): most of it comes early, while the
    cloth is still soft. Since the front passes one place after another, only ``forming_share`` of the
    movement follows that; the rest goes evenly.
    """
    even = forming < 1e-6
    rho = np.where(even, 1.0, forming)
    soft = np.where(even, moment, np.log1p(rho * moment) / np.log1p(rho))
    share = constants("stitch_law")["forming_share"].value
    result: Floats = share * soft + (1.0 - share) * moment
    return result


def drift(
    layout: Layout, states: Floats, points: Floats, penetration: Ints, forming: Floats | None = None
) -> Floats:
    """Drift (v, p, 2) mm of ``points`` (p, 2) since the moment at which ``penetration`` (p,) is made.

    While block k is sewn the cloth moves from state k to state k + 1, by :func:`share_of_way` of ``forming``
    (v, blocks), or evenly where that is not given. What happened to the cloth before a stitch lies ahead of
    the needle and never shows: only what comes after does.
    """
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    number = layout.blocks.block[penetration]
    done = layout.blocks.moment[penetration][None]
    if forming is not None:
        done = share_of_way(forming[:, number], done)
    done = done[:, :, None, None]
    block = number[:, None]
    ahead = (1.0 - done) * states[:, block, nodes] + done * states[:, block + 1, nodes]
    result: Floats = end_displacement(layout, states, points) - np.einsum("vpci,pc->vpi", ahead, weights)
    return result
