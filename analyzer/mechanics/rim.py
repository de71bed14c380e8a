"""Slip at the rim: a hoop holds the cloth by friction, up to a limit.

As long as no place along the rim is pulled harder than the hoop grips, the rim is clamped. Where it is, the
cloth creeps inwards until the friction of what slips and the grip of what still holds carry the pull: every
node of the rim either stays, with a reaction up to its limit, or slides against a friction that is its limit
(Coulomb's law under a given pressure, block after block of the sewing). That is where ``u.K.u / 2 + f.u``
plus the work against friction is least: a convex function with one minimum (Duvaut & Lions 1976, Inequalities
in Mechanics and Physics, chapter III), found by an accelerated gradient (Beck & Teboulle 2009, SIAM Journal
on Imaging Sciences 2, 183-202; begun anew where it overshoots, O'Donoghue & Candes 2015). The tension of
hooping itself already uses up part of the grip.
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

_STEPS = 50_000  # of the gradient; a rim takes some hundred
_LOOK_STEPS = 20  # steps between looks at how far it is
_MAY_SLIDE = 0.7  # of the limit: nodes that are pulled less are clamped unless they turn out to slide
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
            NotConverged: the slip is not found.

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
        loose = size > _MAY_SLIDE * self.limit
        while True:
            own = self._own[loose].ravel()
            inside = solve_direct(matrix, -matrix[:, own].toarray(), self.layout.free)
            inside[own, np.arange(len(own))] = 1.0
            slip = _least_work(matrix[own] @ inside, trial[loose], self.limit[loose])
            moved = inside @ slip.ravel()
            force = trial + (matrix @ moved)[self._own]
            size = np.hypot(*force.T)
            if not (~loose & (size > (1.0 + _ENOUGH) * self.limit)).any():
                sliding = loose.copy()
                sliding[loose] = slip.any(axis=1)
                return moved, force, sliding
            loose |= size > _MAY_SLIDE * self.limit


def _least_work(stiffness: Floats, pull: Floats, limit: Floats) -> Floats:
    """Return the slip u (r, 2) mm with the least u.K.u / 2 + pull.u + sum of limit |u|.

    ``stiffness`` (2 r, 2 r) mN/mm is that of the rim; ``pull`` (r, 2) mN; ``limit`` (r,) mN.

    Raises:
        NotConverged: forces and slip do not come to agree.

    """
    stiffness = stiffness + _DRAG * float(np.trace(stiffness)) / len(stiffness) * np.eye(len(stiffness))
    step = 1.0 / float(np.linalg.eigvalsh(stiffness)[-1])
    slip, ahead, pace = np.zeros_like(pull), np.zeros_like(pull), 1.0
    for count in range(_STEPS):
        towards = ahead - step * ((stiffness @ ahead.ravel()).reshape(-1, 2) + pull)
        size = np.hypot(*towards.T)
        new: Floats = towards * np.maximum(0.0, 1.0 - step * limit / np.maximum(size, 1e-300))[:, None]
        if ((ahead - new) * (new - slip)).sum() > 0.0:
            pace = 1.0
        next_pace = 0.5 * (1.0 + np.sqrt(1.0 + 4.0 * pace * pace))
        ahead = new + (pace - 1.0) / next_pace * (new - slip)
        slip, pace = new, next_pace
        if count % _LOOK_STEPS == 0 and _agree(stiffness, pull, limit, slip):
            return slip
    raise NotConverged("how far the goods slip in the hoop cannot be found: hold them more firmly")


def _agree(stiffness: Floats, pull: Floats, limit: Floats, slip: Floats) -> bool:
    """Say whether what slips is held by its limit against its way, and the rest by no more than that."""
    force = (stiffness @ slip.ravel()).reshape(-1, 2) + pull
    size = np.hypot(*slip.T)
    sliding = size > 0.0
    against = limit[sliding, None] * slip[sliding] / size[sliding, None]
    off = np.hypot(*(force[sliding] + against).T)
    over = np.hypot(*force[~sliding].T) - limit[~sliding]
    return bool((off <= _ENOUGH * limit[sliding]).all() and (over <= _ENOUGH * limit[~sliding]).all())


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
        NotConverged: a solve missed its tolerance, or the slip is not found.

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
