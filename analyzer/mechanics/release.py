"""Release: what moves when the work is taken out of the hoop, trimmed and finished.

Nothing holds the rim any more, what is torn, trimmed or rinsed away carries nothing, and the threads still
pull: ``du = -K_free^-1 integral B^T (N_kept + N_ties) + K_free^-1 f``, three degrees of freedom pinned. Cloth
that was hooped stretched springs back by what its own tension and that of the layers clamped with it leave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analyzer.arrays import Floats
from analyzer.at_rest import threads_at_rest
from analyzer.goods import Layer, Stack
from analyzer.goods.constants import constants
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pullin import stitched
from analyzer.mechanics.sequence import Sewn
from analyzer.mechanics.solvers import solve_direct
from analyzer.mechanics.types import Unhooped

PULL, HOOPING = 0, 1  #: what is released: what sewing left, and 1 N/m of hooping tension


@dataclass(frozen=True, slots=True)
class Freed:
    """The finished work on its grid, hooping apart from the rest: everything is linear in it.

    ``left`` (l, cells) is the share of each layer that is there and not cut by the needle; ``stiffness``
    (cells, 3, 3) N/m of all that stays, ties included; ``moved`` (2, ny+1, nx+1, 2) mm from the hooped state
    and ``resultants`` (2, cells, 3) N/m of what stays without the pull of the threads, by :data:`PULL` and
    :data:`HOOPING` (for 1 N/m).
    """

    left: Floats
    stiffness: Floats
    moved: Floats
    resultants: Floats


def finished_share(layer: Layer, layout: Layout) -> Floats:
    """Share of a layer that is left in each cell after finishing, (cells,).

    Torn and trimmed backing stays under the stitching, the trimmed one with a margin; where it is gone a
    small floor keeps the equations regular. What is rinsed or melted away leaves that floor everywhere.
    """
    limits = constants("mechanics")
    dense = stitched(layout)
    floor = limits["film_floor"].value
    if layer.removal == "kept":
        return np.ones(len(dense))
    if layer.removal in ("rinsed", "heated"):
        return np.full(len(dense), floor)
    away = ndimage.distance_transform_edt(~dense.reshape(layout.grid.shape)).ravel() * layout.grid.cell_mm
    margin = limits["trimming_margin_mm"].value if layer.removal == "trimmed" else 0.0
    return np.where(away <= margin, 1.0, floor)


def free(layout: Layout, stack: Stack, sewn: Sewn, layers: Floats) -> Freed:
    """Take what was sewn out of the hoop and finish it; ``layers`` (l, 3, 3) N/m are the layers' stiffness.

    Raises:
        NotConverged: the free sheet cannot be solved.

    """
    lattice = layout.lattice
    stays = np.stack([finished_share(layer, layout) for layer in stack.layers])
    left = stays * sewn.kept
    stiffness = np.einsum("lc,lij->cij", left, layers) + sewn.ties
    held = np.einsum("lc,lci->ci", stays, sewn.layer_resultants) + sewn.tie_resultants
    stretch = np.einsum("lc,lij,j->ci", left, layers, hooping_strain(stack, layers))
    before = np.stack([held, stretch])
    # while hooped, all stress together balanced the pull inside the rim; taking it at the middle of each cell
    # only nearly does, so the balance itself is taken there, and what is new are the rim and what is removed
    hooped = lattice.forces(sewn.layer_resultants.sum(axis=0) + sewn.tie_resultants)
    pull = np.where(layout.free.reshape(hooped.shape), hooped, sewn.pull_forces)
    moved = relax(lattice, stiffness, before, np.stack([pull, 0.0 * pull]))
    resultants = before + np.einsum("cij,wcj->wci", stiffness, lattice.strain(moved))
    return Freed(left, stiffness, moved, resultants)


@threads_at_rest()
def relax(lattice: Lattice, stiffness: Floats, resultants: Floats, forces: Floats) -> Floats:
    """Displacement (w, ny+1, nx+1, 2) mm with which a sheet that nothing holds comes to rest.

    ``stiffness`` (cells, 3, 3) N/m; ``resultants`` (w, cells, 3) N/m are what it carries before, ``forces``
    (w, ny+1, nx+1, 2) mN what acts on its nodes, for w cases. The lower left corner stays, and the lower
    right one on its height.

    Raises:
        NotConverged: some part of the sheet hangs on nothing.

    """
    pinned = np.ones(2 * lattice.nodes, dtype=np.bool_)
    pinned[[0, 1, 2 * lattice.nx + 1]] = False
    loads = np.stack([(f - lattice.forces(n)).reshape(-1) for f, n in zip(forces, resultants, strict=True)])
    matrix = lattice.matrix(lattice.assemble(stiffness[None]))
    moved = solve_direct(matrix, np.ascontiguousarray(loads.T), pinned)
    result: Floats = np.ascontiguousarray(moved.T).reshape(len(loads), lattice.ny + 1, lattice.nx + 1, 2)
    return result


def is_clamped(stack: Stack, layer: Layer) -> bool:
    """Whether the hooping tension is in this layer."""
    return layer.role == "goods" or stack.holding not in ("floated", "adhesive")


def hooping_strain(stack: Stack, layers: Floats) -> Floats:
    """Strain (3,) that 1 N/m of hooping tension makes in what the hoop clamps.

    Layers that are hooped together stretch together and share the tension; goods laid on hooped backing
    carry it alone. Lace has no goods to spring back.
    """
    clamped = [is_clamped(stack, layer) for layer in stack.layers]
    if stack.goods is None:
        return np.zeros(3)
    strain: Floats = np.linalg.solve(layers[clamped].sum(axis=0), np.array([1.0, 1.0, 0.0]))
    return strain


def unhooped(layout: Layout, freed: Freed, hooping_n_per_m: float, places: Floats, along: Floats) -> Unhooped:
    """Return how the sewn ``places`` (p, 2) mm move; ``along`` (2,) is the main direction of the stitches.

    Shortening is that of the best even strain over all places, times their extent.
    """
    field = freed.moved[PULL] + hooping_n_per_m * freed.moved[HOOPING]
    nodes, weights = layout.lattice.weights(places - layout.origin_mm)
    moved = np.einsum("pci,pc->pi", field.reshape(-1, 2)[nodes], weights)
    moved = without_rigid_motion(places, moved)
    arm = places - places.mean(axis=0)
    size = np.hypot(*moved.T)
    worst = int(size.argmax())
    lost = []
    for direction in (along, np.array([-along[1], along[0]])):
        x, u = arm @ direction, moved @ direction
        lost.append(-float(x @ u) / max(float(x @ x), 1e-12) * float(np.ptp(x)))
    return Unhooped(
        moved_mm=float(size[worst]),
        at=(float(places[worst, 0]), float(places[worst, 1])),
        along_mm=lost[0],
        across_mm=lost[1],
    )


def without_rigid_motion(places: Floats, moved: Floats) -> Floats:
    """Return ``moved`` (p, 2) mm less the shift and the small turn that fit it best at ``places`` (p, 2).

    Work in the hand lies anywhere; only a change of its shape shows.
    """
    middle = places.mean(axis=0)
    arm = places - middle
    shift = moved.mean(axis=0)
    turned = np.stack([-arm[:, 1], arm[:, 0]], axis=1)
    spin = float((turned * (moved - shift)).sum() / max(float((arm * arm).sum()), 1e-12))
    result: Floats = moved - shift - spin * turned
    return result
