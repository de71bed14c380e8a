"""Slip at the rim: a hoop holds the cloth by friction, up to a limit.

As long as no place along the rim is pulled harder than the hoop grips, the rim is clamped. Where it is, the
cloth creeps inwards until the friction of what slips and the grip of what still holds carry the pull: every
node of the rim either stays, with a reaction up to its limit, or slides while the friction keeps its limit
(Coulomb's law; its direction is taken as that of the pull when the node begins to slide). The set of sliding
nodes is found by repeated solves, block after block of the sewing. The tension of hooping itself already
uses up part of the grip.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import sparse

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged
from analyzer.mechanics.drift import end_displacement
from analyzer.mechanics.law import Stitches
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.sequence import Sewn, Variants, sew
from analyzer.mechanics.solvers import solve_direct

_ROUNDS = 60  # changes of the sliding set in one block; a rim of a hundred nodes takes three to ten
_ENOUGH = 1e-3  # of the limit: friction is not known better
_TOLERANCE = 1e-4  # of the runs whose difference is what slip does
_DRAG = 1e-5  # stiffness of what slides over that of the cloth: keeps a sheet in place that slides all round


@dataclass(frozen=True, slots=True)
class Rim:
    """The r nodes that the hoop holds and that cloth inside it pulls at.

    ``node`` (r,), ``outward`` (r, 2) unit vectors, ``length_mm`` (r,) of rim that each node stands for.
    """

    node: np.ndarray[tuple[int], np.dtype[np.intp]]
    outward: Floats
    length_mm: Floats


def rim_of(layout: Layout) -> Rim:
    """Return the rim: held nodes next to free ones, across corners too."""
    grid = layout.grid
    held = ~layout.free.reshape(grid.ny + 1, grid.nx + 1, 2)[:, :, 0]
    inside = np.pad(~held, 1).astype(np.float64)
    away = np.zeros((*held.shape, 2))  # from the free neighbours, those across corners included
    for up, right in product((-1, 0, 1), repeat=2):
        neighbour = inside[1 + up : 1 + up + held.shape[0], 1 + right : 1 + right + held.shape[1]]
        away -= neighbour[..., None] * (right, up)
    size = np.hypot(away[..., 0], away[..., 1])
    here = held & (size > 0)
    normal = away / np.where(size > 0, size, 1.0)[..., None]
    # half of each edge to the next node along the rim, as seen along the normal: steps of an oval slant
    along_x = np.pad((here[:, :-1] & here[:, 1:]).astype(np.float64), ((0, 0), (1, 1)))
    along_y = np.pad((here[:-1] & here[1:]).astype(np.float64), ((1, 1), (0, 0)))
    edges = (along_x[:, :-1] + along_x[:, 1:]) * np.abs(normal[..., 1])
    edges += (along_y[:-1] + along_y[1:]) * np.abs(normal[..., 0])
    node = np.flatnonzero(here.ravel())
    return Rim(node, normal.reshape(-1, 2)[node], 0.5 * grid.cell_mm * edges.ravel()[node])


class Sliding:
    """The rim during one sewing; called by :func:`~analyzer.mechanics.sequence.sew` after each block.

    ``force`` (r, 2) mN is what the rim pulls at each of its nodes with, hooping included; ``slid`` (r,) which
    nodes have slid so far.
    """

    def __init__(self, layout: Layout, *, grip_n_per_m: float, hooping_n_per_m: float) -> None:
        self.layout, self.rim = layout, rim_of(layout)
        self.limit: Floats = grip_n_per_m * self.rim.length_mm  # N/m times mm is mN
        self.force: Floats = hooping_n_per_m * self.rim.length_mm[:, None] * self.rim.outward
        self.slid: Bools = np.zeros(len(self.rim.node), dtype=np.bool_)
        self._own = (2 * self.rim.node[:, None] + np.arange(2)).astype(np.intp)

    def __call__(self, stiffness: Floats, step: Floats, loads: Floats) -> Floats:
        """Return what slip adds to a block's ``step`` (dofs,) mm under ``loads`` (dofs,) mN.

        ``stiffness`` (cells, 3, 3) N/m is that of the block, its own ties included.

        Raises:
            NotConverged: the sliding set does not settle.

        """
        lattice = self.layout.lattice
        matrix = lattice.matrix(lattice.assemble(stiffness[None]))
        trial = self.force + (matrix @ step - loads)[self._own]
        if not (np.hypot(*trial.T) > self.limit).any():
            self.force = trial
            return np.zeros_like(step)
        moved, self.force, sliding = self._slide(matrix, trial)
        self.slid |= sliding
        return moved

    def _slide(self, matrix: sparse.csr_matrix, trial: Floats) -> tuple[Floats, Floats, Bools]:
        """Return the moves (dofs,), the forces (r, 2) at the rim, and which nodes (r,) slide."""
        size = np.hypot(*trial.T)
        sliding = size > self.limit
        holds = trial / np.where(size > 0, size, 1.0)[:, None]  # which way the friction holds
        drag = _DRAG * float(matrix.diagonal().mean())
        for _ in range(_ROUNDS):
            loosened = self.layout.free.copy()
            loosened[self._own[sliding]] = True
            loads, dragged = np.zeros(len(loosened)), np.zeros(len(loosened))
            loads[self._own[sliding]] = self.limit[sliding, None] * holds[sliding] - trial[sliding]
            dragged[self._own[sliding]] = drag
            moved = solve_direct((matrix + sparse.diags_array(dragged)).tocsr(), loads, loosened)
            force = trial + (matrix @ moved)[self._own]
            size = np.hypot(*force.T)
            back = sliding & (np.einsum("ri,ri->r", moved[self._own], holds) > 0)  # pushed outwards
            more = ~sliding & (size > (1.0 + _ENOUGH) * self.limit)
            if not back.any() and not more.any():
                return moved, force, sliding
            holds[more] = force[more] / size[more, None]
            sliding = (sliding & ~back) | more
        raise NotConverged(
            f"slip along the hoop did not settle in {_ROUNDS} rounds: hold the goods more firmly"
        )


def most_pull_n_per_m(layout: Layout, sewn: Sewn, hooping_n_per_m: float) -> float:
    """Return the largest pull along the rim after a sewing with the rim clamped, hooping included."""
    rim = rim_of(layout)
    inner = layout.lattice.forces(sewn.layer_resultants.sum(axis=0) + sewn.tie_resultants)
    pulled = (inner - sewn.pull_forces).reshape(-1, 2)[rim.node] / rim.length_mm[:, None]
    return float(np.hypot(*(pulled + hooping_n_per_m * rim.outward).T).max(initial=0.0))


def with_slip(
    layout: Layout,
    states: Floats,
    spread: Layout,
    stitches: Stitches,
    nominal: Variants,
    *,
    grip_n_per_m: float,
    hooping_n_per_m: float,
) -> Floats:
    """Return ``states`` (1, blocks + 1, nodes, 2) mm on ``layout`` with what slip at the rim adds.

    Slip varies slowly in space and time: it is the difference of two sewings of the ``nominal`` variant on
    the coarse ``spread`` layout, one with the rim clamped and one sliding.

    Raises:
        NotConverged: a solve missed its tolerance, or the sliding set does not settle.

    """
    sliding = Sliding(spread, grip_n_per_m=grip_n_per_m, hooping_n_per_m=hooping_n_per_m)
    slid = sew(spread, stitches, nominal, tolerance=_TOLERANCE, slide=sliding).states
    if not sliding.slid.any():
        return states
    added = slid - sew(spread, stitches, nominal, tolerance=_TOLERANCE).states
    grid = layout.grid
    x = grid.x0_mm + grid.cell_mm * np.arange(grid.nx + 1)
    y = grid.y0_mm + grid.cell_mm * np.arange(grid.ny + 1)
    places = np.stack([np.tile(x, grid.ny + 1), np.repeat(y, grid.nx + 1)], axis=1)
    each = np.stack([end_displacement(spread, added[:, : k + 1], places)[0] for k in range(added.shape[1])])
    # the coarse block and the share of it that is done when each fine block ends
    last = np.searchsorted(layout.blocks.block, np.arange(layout.blocks.count), side="right") - 1
    when = np.r_[0.0, spread.blocks.block[last] + spread.blocks.moment[last]]
    when[-1] = spread.blocks.count
    begun = np.minimum(when.astype(np.intp), spread.blocks.count - 1)
    share = (when - begun)[:, None, None]
    result: Floats = states + ((1.0 - share) * each[begun] + share * each[begun + 1])[None]
    return result
