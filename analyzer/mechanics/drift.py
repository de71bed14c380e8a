"""Drift: how far the cloth at a point has moved since a given moment of the sewing."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from analyzer.arrays import Floats, Ints
from analyzer.goods.constants import constants
from analyzer.mechanics.lattice import Index
from analyzer.mechanics.layout import Layout


def end_displacement(layout: Layout, states: Floats, points: Floats) -> Floats:
    """Displacement (v, p, 2) mm of ``points`` (p, 2) when all is sewn."""
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    return _at(nodes, weights, states[:, -1])


def _at(nodes: Index, weights: Floats, field: Floats) -> Floats:
    """Read ``field`` (v, n, 2) at points between ``nodes`` (p, 4), (v, p, 2)."""
    starts = np.arange(0, nodes.size + 1, nodes.shape[1])
    shape = len(nodes), field.shape[1]
    reading = sparse.csr_matrix((weights.ravel(), nodes.ravel(), starts), shape=shape)
    return np.stack([reading @ one for one in field])


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
    """Drift (v, p, 2) mm of ``points`` (p, 2) since the moment at which ``penetration`` (p,) is made."""
    return drift_and_whole(layout, states, points, penetration, forming)[0]


def drift_and_whole(
    layout: Layout, states: Floats, points: Floats, penetration: Ints, forming: Floats | None = None
) -> tuple[Floats, Floats]:
    """Return the drift of ``points`` and, beginning to end, their displacement, (v, p, 2) mm each.

    While block k is sewn the cloth moves from state k to state k + 1, by :func:`share_of_way` of ``forming``
    (v, blocks), or evenly where that is not given. What happened to the cloth before a stitch lies ahead of
    the needle and never shows: only what comes after does.
    """
    nodes, weights = layout.lattice.weights(points - layout.origin_mm)
    number = layout.blocks.block[penetration].astype(np.intp)
    done = layout.blocks.moment[penetration][None]
    if forming is not None:
        done = share_of_way(forming[:, number], done)
    whole = _at(nodes, weights, states[:, -1])
    flat = states.reshape(len(states), -1, 2)
    before = nodes + (number * states.shape[2])[:, None]
    ahead = (1.0 - done)[..., None] * _at(before, weights, flat)
    ahead += done[..., None] * _at(before + states.shape[2], weights, flat)
    return whole - ahead, whole
