"""Pucker: the wave that must take up the excess cloth around the stitching, once it is out of the hoop.

Thin cloth ripples long before any useful limit, so a buckling load is no verdict. The size of the ripple
is: with an excess ``e`` of length over a small-slope sine of wavelength ``lambda``, the amplitude is
``(lambda/pi) sqrt(e)`` (derived), and ``lambda = 2 sqrt(pi) (B/N)^(1/4) sqrt(l)`` (Cerda & Mahadevan,
Physical Review Letters 90:074302, 2003) with bending stiffness B, tension N along the crests and their
length l. It ranks; it is no seam grade.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from analyzer.arrays import Bools, Floats
from analyzer.goods import Draws, Layer, Stack, values
from analyzer.goods.constants import constants
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pullin import principal_strains, stitched
from analyzer.mechanics.sequence import Sewn
from analyzer.mechanics.solvers import solve_direct


@dataclass(frozen=True, slots=True)
class Released:
    """What is left in the ring around the stitching after unhooping and trimming, r cells.

    ``from_pull`` (r, 3) and ``from_hooping`` (r, 3, for 1 N/m of hooping tension): elastic strain,
    resultants over stiffness, of the layers that stay, taken together; ``wavelength_mm`` of the ripple.
    """

    cells: np.ndarray[tuple[int], np.dtype[np.intp]]
    from_pull: Floats
    from_hooping: Floats
    wavelength_mm: float


def ring(layout: Layout) -> Bools:
    """Cells (cells,) next to dense stitching, in open places inside the design too."""
    density = np.bincount(
        layout.cell,
        weights=layout.ties[:, 0, 0] + layout.ties[:, 1, 1] + 2 * layout.ties[:, 0, 1],
        minlength=layout.grid.nx * layout.grid.ny,
    )
    dense = density >= constants("mechanics")["pucker_dense_mm_per_mm2"].value
    if not dense.any():
        dense = stitched(layout)
    away = ndimage.distance_transform_edt(~dense.reshape(layout.grid.shape)).ravel() * layout.grid.cell_mm
    width = max(constants("mechanics")["pucker_ring_mm"].value, 1.01 * layout.grid.cell_mm)
    near: Bools = (away > 0) & (away <= width)
    return near if near.any() else dense


def _percentile() -> float:
    """Return the percentile over the ring that stands for it: its worse part, not its single worst cell."""
    return constants("mechanics")["pucker_percentile"].value


def ring_contraction(layout: Layout, states: Floats, near: Bools) -> Floats:
    """Contraction of each variant at the end, hooped: the percentile over the ring, (v,)."""
    u = states[:, -1].reshape(len(states), layout.grid.ny + 1, layout.grid.nx + 1, 2)
    low, _ = principal_strains(layout.lattice.strain(u)[:, near])
    result: Floats = np.percentile(np.maximum(-low, 0.0), _percentile(), axis=1)
    return result


def _stays(layer: Layer, layout: Layout) -> Floats:
    """Share of a layer that is left in each cell after finishing, (cells,)."""
    limits = constants("mechanics")
    dense = stitched(layout)
    if layer.removal == "kept":
        return np.ones(len(dense))
    if layer.removal in ("rinsed", "heated"):
        return np.full(len(dense), limits["film_floor"].value)
    away = ndimage.distance_transform_edt(~dense.reshape(layout.grid.shape)).ravel() * layout.grid.cell_mm
    margin = limits["trimming_margin_mm"].value if layer.removal == "trimmed" else 0.0
    return np.where(away <= margin, 1.0, limits["film_floor"].value if layer.role != "goods" else 1.0)


def release(layout: Layout, stack: Stack, sewn: Sewn, pull_layers: Floats) -> Released:
    """Take the work out of the hoop: nothing holds the rim, removed layers are gone, the threads still pull.

    ``du = -K_free^-1 [ integral B^T (N_layers + N_ties) - f ]`` with the layers that stay; ``pull_layers``
    (l, 3, 3) N/m are the layers' stiffness.

    Raises:
        NotConverged: the free sheet cannot be solved.

    """
    lattice = layout.lattice
    stays = np.stack([_stays(layer, layout) for layer in stack.layers])
    left = stays * sewn.kept
    stiffness = np.einsum("lc,lij->cij", left, pull_layers) + sewn.ties
    held = np.einsum("lc,lci->ci", stays, sewn.layer_resultants) + sewn.tie_resultants
    hooping = np.einsum("lc,lij,j->ci", left, pull_layers, _hooping_strain(stack, pull_layers))
    forces = np.stack(
        [(sewn.pull_forces - lattice.forces(held)).reshape(-1), -lattice.forces(hooping).reshape(-1)], axis=1
    )
    free = np.ones(2 * lattice.nodes, dtype=np.bool_)
    free[[0, 1, 2 * lattice.nx + 1]] = False
    matrix = lattice.matrix(lattice.assemble(stiffness[None]))
    moved = solve_direct(matrix, forces, free)
    shape = (layout.grid.ny + 1, layout.grid.nx + 1, 2)
    cells = np.flatnonzero(ring(layout))
    pulled, springs_back = (
        before[cells]
        + np.einsum("cij,cj->ci", stiffness[cells], lattice.strain(moved[:, i].reshape(shape))[cells])
        for i, before in enumerate((held, hooping))
    )
    nominal = pulled + stack.hooping_n_per_m.value * springs_back
    return Released(
        cells=cells,
        from_pull=np.linalg.solve(stiffness[cells], pulled[:, :, None])[:, :, 0],
        from_hooping=np.linalg.solve(stiffness[cells], springs_back[:, :, None])[:, :, 0],
        wavelength_mm=_wavelength_mm(stack, nominal),
    )


def _hooping_strain(stack: Stack, layers: Floats) -> Floats:
    """Strain (3,) that 1 N/m of hooping tension makes in what the hoop clamps.

    Layers that are hooped together stretch together and share the tension; goods laid on hooped backing
    carry it alone. Lace has no goods to spring back.
    """
    clamped = [_is_clamped(stack, layer) for layer in stack.layers]
    if stack.goods is None:
        return np.zeros(3)
    strain: Floats = np.linalg.solve(layers[clamped].sum(axis=0), np.array([1.0, 1.0, 0.0]))
    return strain


def _clamped_stiffness(stack: Stack, draws: Draws) -> Floats:
    """Stiffness over the draws, relative to nominal, of the layers that share the hooping tension, (n,)."""
    clamped = [layer for layer in stack.layers if _is_clamped(stack, layer)]
    total = sum(float(np.trace(layer.membrane)) for layer in clamped)
    drawn = np.zeros(draws.count)
    for layer in clamped:
        name = {"goods": "goods_stiffness", "backing": "backing_stiffness"}.get(layer.role)
        factor = np.ones(draws.count) if name is None else values(draws, name, stack.spreads[name])
        drawn += factor * float(np.trace(layer.membrane)) / total
    return drawn


def _is_clamped(stack: Stack, layer: Layer) -> bool:
    """Whether the hooping tension is in this layer."""
    return layer.role == "goods" or stack.holding not in ("floated", "adhesive")


def _wavelength_mm(stack: Stack, resultants: Floats) -> float:
    """Wavelength of the ripple of the layers that stay, under ``resultants`` (r, 3) N/m in the ring, mm."""
    limits = constants("mechanics")
    bending = sum(layer.bending_unm for layer in stack.layers if layer.removal in ("kept", "trimmed"))
    bending = max(bending, 0.01 * stack.bending_unm)
    middle = 0.5 * (resultants[:, 0] + resultants[:, 1])
    radius = np.hypot(0.5 * (resultants[:, 0] - resultants[:, 1]), resultants[:, 2])
    tension = max(limits["pucker_tension_n_per_m"].value, float(np.median(middle + radius)))
    length_m = 1e-3 * limits["pucker_length_mm"].value
    return float(1e3 * 2.0 * np.sqrt(np.pi) * (1e-6 * bending / tension) ** 0.25 * np.sqrt(length_m))


def amplitude_mm(strain: Floats, wavelength_mm: float) -> Floats:
    """Amplitude of the wave for elastic ``strain`` (..., r, 3) in the ring, mm."""
    low, _ = principal_strains(strain)
    contraction = np.percentile(-low, _percentile(), axis=-1)
    excess = np.maximum(0.0, contraction - constants("mechanics")["pucker_threshold"].value)
    result: Floats = np.asarray(wavelength_mm / np.pi * np.sqrt(excess))
    return result


def pucker_draws(released: Released, stack: Stack, draws: Draws, pull_factor: Floats) -> Floats:
    """Amplitude over the draws, (n,) mm; ``pull_factor`` (n,) scales what the pull leaves in the ring."""
    hooping = values(draws, "hooping_n_per_m", stack.hooping_n_per_m)
    softness = 1.0 / _clamped_stiffness(stack, draws)
    strain = pull_factor[:, None, None] * released.from_pull
    strain = strain + (hooping * softness)[:, None, None] * released.from_hooping
    return amplitude_mm(strain, released.wavelength_mm)
