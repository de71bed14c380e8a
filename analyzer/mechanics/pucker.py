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
from analyzer.goods.types import bending_unm
from analyzer.mechanics.layout import Layout
from analyzer.mechanics.pullin import principal_strains, stitched
from analyzer.mechanics.release import HOOPING, PULL, Freed, is_clamped


@dataclass(frozen=True, slots=True)
class Released:
    """What is left in the ring around the stitching after unhooping and trimming, r cells.

    ``from_pull`` (r, 3) and ``from_hooping`` (r, 3, for 1 N/m of hooping tension): elastic strain,
    resultants over stiffness, of the layers that stay, taken together; ``wavelength_mm`` of the ripple, and
    the contraction that is taken up without one.
    """

    cells: np.ndarray[tuple[int], np.dtype[np.intp]]
    from_pull: Floats
    from_hooping: Floats
    wavelength_mm: float
    threshold: float


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


def slack_n_per_m(resultants: Floats, near: Bools, hooping_n_per_m: float) -> float:
    """Compression beside the stitching beyond the hooping tension, N/m; above 0 the hooped cloth goes slack.

    ``resultants`` (cells, 3) N/m are those that sewing has made, hooping left out; the percentile over the
    ring ``near`` (cells,) stands for it. A patch that contracts by e* compresses the cloth at its edge by
    ``Eh |e*| / 2`` (Eshelby 1957; the sheet goes slack where that exceeds the tension).
    """
    low, _ = principal_resultants(resultants[near])
    return max(0.0, float(np.percentile(-low, _percentile())) - hooping_n_per_m)


def principal_resultants(resultants: Floats) -> tuple[Floats, Floats]:
    """Smallest and largest principal resultant of ``resultants`` (..., 3)."""
    middle = 0.5 * (resultants[..., 0] + resultants[..., 1])
    radius = np.hypot(0.5 * (resultants[..., 0] - resultants[..., 1]), resultants[..., 2])
    return middle - radius, middle + radius


def release(layout: Layout, stack: Stack, freed: Freed) -> Released:
    """Return what finishing leaves in the ring."""
    cells = np.flatnonzero(ring(layout))
    resultants, stiffness = freed.resultants[:, cells], freed.stiffness[cells]
    strain = np.linalg.solve(stiffness[None], resultants[:, :, :, None])[:, :, :, 0]
    nominal = resultants[PULL] + stack.hooping_n_per_m.value * resultants[HOOPING]
    return Released(
        cells=cells,
        from_pull=strain[PULL],
        from_hooping=strain[HOOPING],
        wavelength_mm=_wavelength_mm(stack, nominal),
        threshold=_threshold(stack),
    )


def _clamped_stiffness(stack: Stack, draws: Draws) -> Floats:
    """Stiffness over the draws, relative to nominal, of the layers that share the hooping tension, (n,).

    Of lace on a film that is not hooped there are none: one, for a tension that does nothing there.
    """
    clamped = [layer for layer in stack.layers if is_clamped(stack, layer)]
    if not clamped:
        return np.ones(draws.count)
    total = sum(float(np.trace(layer.membrane)) for layer in clamped)
    drawn = np.zeros(draws.count)
    for layer in clamped:
        name = {"goods": "goods_stiffness", "backing": "backing_stiffness"}.get(layer.role)
        factor = np.ones(draws.count) if name is None else values(draws, name, stack.spreads[name])
        drawn += factor * float(np.trace(layer.membrane)) / total
    return drawn


def _wavelength_mm(stack: Stack, resultants: Floats) -> float:
    """Wavelength of the ripple of the layers that stay, under ``resultants`` (r, 3) N/m in the ring, mm."""
    limits = constants("mechanics")
    bending = bending_unm(staying(stack))
    bending = max(bending, 0.01 * stack.bending_unm)
    _, high = principal_resultants(resultants)
    tension = max(limits["pucker_tension_n_per_m"].value, float(np.median(high)))
    length_m = 1e-3 * limits["pucker_length_mm"].value
    return float(1e3 * 2.0 * np.sqrt(np.pi) * (1e-6 * bending / tension) ** 0.25 * np.sqrt(length_m))


def amplitude_mm(strain: Floats, wavelength_mm: float, threshold: float) -> Floats:
    """Amplitude of the wave for elastic ``strain`` (..., r, 3) in the ring, mm.

    ``threshold`` is the contraction that is taken up without a wave.
    """
    low, _ = principal_strains(strain)
    contraction = np.percentile(-low, _percentile(), axis=-1)
    excess = np.maximum(0.0, contraction - threshold)
    result: Floats = np.asarray(wavelength_mm / np.pi * np.sqrt(excess))
    return result


def staying(stack: Stack) -> tuple[Layer, ...]:
    """Return the layers that are beside the stitching when the work is finished."""
    return tuple(layer for layer in stack.layers if layer.removal in ("kept", "trimmed"))


def _threshold(stack: Stack) -> float:
    """Return the contraction that is taken up without a wave."""
    backed = any(layer.role == "backing" for layer in staying(stack))
    return constants("mechanics")["pucker_threshold_backed" if backed else "pucker_threshold"].value


def pucker_draws(released: Released, stack: Stack, draws: Draws, pull_factor: Floats) -> Floats:
    """Amplitude over the draws, (n,) mm; ``pull_factor`` (n,) scales what the pull leaves in the ring."""
    hooping = values(draws, "hooping_n_per_m", stack.hooping_n_per_m)
    softness = 1.0 / _clamped_stiffness(stack, draws)
    strain = pull_factor[:, None, None] * released.from_pull
    strain = strain + (hooping * softness)[:, None, None] * released.from_hooping
    return amplitude_mm(strain, released.wavelength_mm, released.threshold)
