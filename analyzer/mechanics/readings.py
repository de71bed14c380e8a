"""Where the wanted quantities are read on one layout: points, their moments, and what is made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from analyzer.arrays import Floats, Ints, frozen
from analyzer.mechanics.blocks import Blocks
from analyzer.mechanics.lattice import Index, Lattice


@dataclass(frozen=True, slots=True)
class Sought:
    """The q wanted quantities as sums over the drift of p points; depends on the design alone.

    ``at`` (p, 2) mm; ``penetration`` (p,) since whose moment the drift counts; ``direction`` (p, 2) along
    which it counts; ``gather`` (q, p) sums the points' parts.
    """

    at: Floats
    penetration: Ints
    direction: Floats
    gather: sparse.csr_matrix


@dataclass(frozen=True, slots=True)
class Readings:
    """The same on one layout: matrices that take displacements to the points' parts, ``end - ahead``.

    ``end`` (p, dofs) reads the last state; ``before`` and ``after`` (p, (blocks + 1) * dofs) read all states,
    flattened, at the beginning and the end of the block in which a point is sewn. ``number`` (p,) is that
    block, ``moment`` (p,) the point's moment in it.
    """

    end: sparse.csr_matrix
    before: sparse.csr_matrix
    after: sparse.csr_matrix
    number: Ints
    moment: Floats
    gather: sparse.csr_matrix


def readings(sought: Sought, lattice: Lattice, origin_mm: Floats, blocks: Blocks) -> Readings:
    """Return how ``sought`` is read on a lattice whose lower left corner is at ``origin_mm`` (2,)."""
    nodes, weights = lattice.weights(sought.at - origin_mm)
    dofs = 2 * lattice.nodes
    columns = (2 * nodes[:, :, None] + np.arange(2)).reshape(len(nodes), 8)
    values = (weights[:, :, None] * sought.direction[:, None, :]).reshape(len(nodes), 8)
    number = blocks.block[sought.penetration].astype(np.intp)
    size = (blocks.count + 1) * dofs
    return Readings(
        end=_rows(columns, values, dofs),
        before=_rows(columns + dofs * number[:, None], values, size),
        after=_rows(columns + dofs * (number[:, None] + 1), values, size),
        number=frozen(number.astype(np.int32)),
        moment=frozen(blocks.moment[sought.penetration]),
        gather=sought.gather,
    )


def _rows(columns: Index, values: Floats, size: int) -> sparse.csr_matrix:
    """Sparse matrix (p, size) with eight entries in each row."""
    starts = np.arange(len(columns) + 1) * columns.shape[1]
    return sparse.csr_matrix((values.ravel(), columns.ravel(), starts), shape=(len(columns), size))
