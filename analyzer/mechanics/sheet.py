"""The stiffness of a membrane applied to displacements without a matrix, for a batch of sheets.

A bilinear cell strains by the mean of its displacement gradients and by two modes in which opposite sides
stretch against each other. Integrated exactly, the energy of the mean strain and of these modes part
(Flanagan & Belytschko 1981, International Journal for Numerical Methods in Engineering 17, 679-706): three
strains with the sheet's own stiffness, two modes with a small one made of it. Sums and differences of
neighbouring nodes give both, so all of K u is a few dozen additions over whole planes.

Displacements and forces are planes (batch, 2, ny+1, nx+1) over *unit cells*: for cells of hx by hy,
displacement is multiplied and force divided by ``(hx, hy) / sqrt(hx hy)``, and the stiffness is scaled to
match, so that the energy is the same (derived). Square cells need no change.
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Floats
from analyzer.mechanics.lattice import Index, Lattice

#: Planes of floats in single or double precision.
Planes: TypeAlias = npt.NDArray[np.floating[Any]]
Precision: TypeAlias = type[np.float32] | type[np.float64]

_IN_PLANES = [0, 2, 1]  # strains in the order x, xy, y: either component's gradients lie side by side


class Sheet:
    """``K u`` of a batch of sheets over one lattice; holds the scratch that the product needs."""

    def __init__(
        self, lattice: Lattice, stiffness: Floats, precision: Precision, springs_n_per_m2: float = 0.0
    ) -> None:
        """Take ``stiffness`` (batch, cells, 3, 3) N/m and springs along the whole rim."""
        batch, nx, ny = len(stiffness), lattice.nx, lattice.ny
        self.nx, self.ny = nx, ny
        self.scale = np.sqrt(np.array([lattice.hx_mm / lattice.hy_mm, lattice.hy_mm / lattice.hx_mm]))
        strain = np.array([1.0 / self.scale[0] ** 2, 1.0 / self.scale[1] ** 2, 1.0])
        self._strain_scale: Floats = np.outer(strain, strain)
        self.precision = precision
        #: spring along a (vertical, horizontal) side for each component, mN/mm per cell side
        self.springs: Floats = (
            1e-3 * springs_n_per_m2 * np.array([[lattice.hy_mm], [lattice.hx_mm]]) / self.scale**2
        )
        self._sprung = bool(self.springs.any())
        self._C = np.empty((batch, 3, 3, ny, nx), dtype=precision)
        self._logs: Floats = np.empty((batch, ny * nx, 3))
        self._G = np.empty((batch, 2, 2, ny, nx), dtype=precision)
        self.change(slice(None), stiffness)
        over = (batch, 2, ny + 1, nx)
        self._along, self._beside = (np.empty(over, dtype=precision) for _ in range(2))
        self._strain, self._resultant, self._part = (
            np.empty((batch, 3, ny, nx), dtype=precision) for _ in range(3)
        )
        self._bent, self._bending, self._work = (
            np.empty((batch, 2, ny, nx), dtype=precision) for _ in range(3)
        )

    def change(self, cells: Index | slice, stiffness: Floats) -> None:
        """Give ``cells`` (c,) the ``stiffness`` (batch, c, 3, 3) N/m."""
        scaled = {
            (i, j): stiffness[..., i, j] * self._strain_scale[i, j] for i in range(3) for j in range(i, 3)
        }
        self._logs[:, cells] = np.log(np.diagonal(stiffness, axis1=-2, axis2=-1))
        # sums of differences are twice the mean gradient: a quarter of the energy
        C = self._C.reshape(len(stiffness), 3, 3, -1)
        for (i, j), entry in scaled.items():
            a, b = _IN_PLANES[i], _IN_PLANES[j]
            C[:, a, b, cells] = C[:, b, a, cells] = 0.25 * entry
        G = self._G.reshape(len(stiffness), 2, 2, -1)
        G[:, 0, 0, cells] = (scaled[0, 0] + scaled[2, 2]) / 12.0
        G[:, 1, 1, cells] = (scaled[1, 1] + scaled[2, 2]) / 12.0
        G[:, 0, 1, cells] = G[:, 1, 0, cells] = (scaled[0, 2] + scaled[1, 2]) / 12.0

    def mean_diagonal(self) -> Floats:
        """Return the geometric mean over cells of C11, C22, C66, (batch, 3) N/m, of the unit cells."""
        result: Floats = np.exp(self._logs.mean(axis=1)) * np.diagonal(self._strain_scale)
        return result

    def planes(self, forces: Floats) -> Planes:
        """Forces (batch, ny+1, nx+1, 2) or flat (batch, dofs) in mN as planes."""
        shaped = forces.reshape(-1, self.ny + 1, self.nx + 1, 2) / self.scale
        result: Planes = np.ascontiguousarray(shaped.transpose(0, 3, 1, 2), dtype=self.precision)
        return result

    def as_planes(self, u: Floats) -> Planes:
        """Displacements (batch, ny+1, nx+1, 2) mm as planes."""
        result: Planes = np.ascontiguousarray((u * self.scale).transpose(0, 3, 1, 2), dtype=self.precision)
        return result

    def displacements(self, planes: Planes) -> Floats:
        """Displacements (batch, ny+1, nx+1, 2) mm from planes."""
        result: Floats = planes.transpose(0, 2, 3, 1) / self.scale
        return result

    def forces(self, planes: Planes) -> Floats:
        """Forces (batch, ny+1, nx+1, 2) mN from planes."""
        result: Floats = planes.transpose(0, 2, 3, 1) * self.scale
        return result

    def times(self, u: Planes, out: Planes) -> None:
        """Write ``K u`` to ``out``; both (batch, 2, ny+1, nx+1)."""
        along, beside, strain, bent = self._along, self._beside, self._strain, self._bent
        np.subtract(u[..., 1:], u[..., :-1], out=along)
        np.add(u[..., 1:], u[..., :-1], out=beside)
        np.add(along[..., 1:, :], along[..., :-1, :], out=strain[:, :2])
        np.subtract(along[..., 1:, :], along[..., :-1, :], out=bent)
        np.subtract(beside[..., 1:, :], beside[..., :-1, :], out=self._work)
        strain[:, 1] += self._work[:, 0]
        strain[:, 2] = self._work[:, 1]
        self._strain_to_resultants()
        self._resultants_to_forces(out)
        if self._sprung:
            self.add_springs(u, out)

    def _strain_to_resultants(self) -> None:
        """Multiply the strains and the bent modes of all cells by their stiffness."""
        strain, resultant, part = self._strain, self._resultant, self._part
        np.multiply(self._C[:, :, 0], strain[:, None, 0], out=resultant)
        for j in (1, 2):
            np.multiply(self._C[:, :, j], strain[:, None, j], out=part)
            resultant += part
        np.multiply(self._G[:, :, 0], self._bent[:, None, 0], out=self._bending)
        np.multiply(self._G[:, :, 1], self._bent[:, None, 1], out=self._work)
        self._bending += self._work

    def _resultants_to_forces(self, out: Planes) -> None:
        """Gather what all cells put on their nodes: the transpose of the way from u to strain."""
        along, beside, work = self._along, self._beside, self._work
        np.add(self._resultant[:, :2], self._bending, out=work)
        along[..., 0, :] = 0.0
        along[..., 1:, :] = work
        np.subtract(self._resultant[:, :2], self._bending, out=work)
        along[..., :-1, :] += work
        beside[..., 0, :] = 0.0
        beside[..., 1:, :] = self._resultant[:, 1:]
        beside[..., :-1, :] -= self._resultant[:, 1:]
        beside += along
        out[..., 0] = 0.0
        out[..., 1:] = beside
        along *= 2.0
        beside -= along
        out[..., :-1] += beside

    def add_springs(self, u: Planes, out: Planes) -> None:
        """Add what springs along the rim put on ``out``, displacement linear between nodes."""
        for side in (0, -1):
            for component in (0, 1):
                vertical, horizontal = self.springs[:, component]
                out[:, component, :, side] += _line_mass(u[:, component, :, side], vertical)
                out[:, component, side, :] += _line_mass(u[:, component, side, :], horizontal)


def _line_mass(values: Planes, each: float) -> Planes:
    """Integrate linear shapes along a line of cells of unit length, times ``each``: (1, 4, 1) / 6."""
    result = values * (4.0 * each / 6.0)
    result[:, [0, -1]] *= 0.5
    result[:, 1:] += values[:, :-1] * (each / 6.0)
    result[:, :-1] += values[:, 1:] * (each / 6.0)
    return result
