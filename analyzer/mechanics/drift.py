"""Drift: how far the cloth at a point has moved since a given moment of the sewing."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats, Ints
from analyzer.mechanics.layout import Layout


def end_displacement(layout: Layout, states: Floats, points: Floats) -> Floats:
    """Displacement (v, p, 2) mm of ``points`` (p, 2) when all is sewn."""
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    result: Floats = np.einsum("vpci,pc->vpi", states[:, -1][:, nodes], weights)
    return result


def drift(layout: Layout, states: Floats, points: Floats, penetration: Ints) -> Floats:
    """Drift (v, p, 2) mm of ``points`` (p, 2) since the moment at which ``penetration`` (p,) is made.

    While block k is sewn the cloth moves evenly from state k to state k + 1; at a share ``moment`` of the
    block the displacement is that share of the way. What happened to the cloth before a stitch lies ahead
    of the needle and never shows: only what comes after does.
    """
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    block = layout.blocks.block[penetration][:, None]
    moment = layout.blocks.moment[penetration][:, None]
    ahead = states[:, block, nodes] * ((1.0 - moment) * weights)[:, :, None]
    ahead += states[:, block + 1, nodes] * (moment * weights)[:, :, None]
    result: Floats = end_displacement(layout, states, points) - ahead.sum(axis=2)
    return result
