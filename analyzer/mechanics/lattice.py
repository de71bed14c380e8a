"""Bilinear quadrilateral elements of equal size on a rectangle.

Nodes are numbered row by row, ``node = iy * (nx + 1) + ix``; degree of freedom ``2 * node + component``.
Several stiffness fields over the same lattice (a batch, leading axis) are handled at once, because a
screening run asks for many small solves of one shape. Lengths mm, stiffness and resultants N/m, nodal
forces mN.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import sparse

from analyzer.arrays import Floats

Index = npt.NDArray[np.intp]

_CORNERS = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])  # (ix, iy) of an element's nodes, counter-clockwise
_GAUSS = 0.5 + np.array([-0.5, 0.5]) / np.sqrt(3.0)
_PER_NODE = 36  # 2 rows of 9 neighbours with 2 components each


class Lattice:
    """``ny`` by ``nx`` bilinear elements of ``hx_mm`` by ``hy_mm``."""

    def __init__(self, nx: int, ny: int, hx_mm: float, hy_mm: float) -> None:
        self.nx, self.ny, self.hx_mm, self.hy_mm = nx, ny, hx_mm, hy_mm
        self.nodes = (nx + 1) * (ny + 1)
        self.cell_mm2 = hx_mm * hy_mm
        iy, ix = np.divmod(np.arange(nx * ny), nx)
        self.corners: Index = (iy[:, None] + _CORNERS[:, 1]) * (nx + 1) + ix[:, None] + _CORNERS[:, 0]
        gradients = np.stack([self._strain_matrix(x, y) for x in _GAUSS for y in _GAUSS])
        weight = self.cell_mm2 / 4.0
        # element stiffness = sum over i, j of C[i, j] times these 9 matrices (exact 2x2 Gauss rule)
        self._elements: Floats = weight * np.einsum("gia,gjb->ijab", gradients, gradients).reshape(9, 64)

    def _strain_matrix(self, x: float, y: float) -> Floats:
        """Strain (3) from the element's displacements (8) at ``x, y`` in the unit square."""
        ddx = np.array([-(1 - y), 1 - y, y, -y]) / self.hx_mm
        ddy = np.array([-(1 - x), -x, x, 1 - x]) / self.hy_mm
        matrix = np.zeros((3, 8))
        matrix[0, 0::2] = ddx
        matrix[1, 1::2] = ddy
        matrix[2, 0::2], matrix[2, 1::2] = ddy, ddx
        return matrix

    @cached_property
    def places(self) -> Index:
        """Where each entry of an element matrix goes in the data of :meth:`matrix`, (cells, 64)."""
        step = _CORNERS[None, :, :] - _CORNERS[:, None, :] + 1
        neighbour = step[..., 1] * 3 + step[..., 0]
        a, i, b, j = np.ogrid[0:4, 0:2, 0:4, 0:2]
        inside = (i * 9 + neighbour[a, b]) * 2 + j
        places = self.corners[:, a] * _PER_NODE + inside
        return np.ascontiguousarray(places.reshape(-1, 64))

    def element_stiffness(self, stiffness: Floats) -> Floats:
        """Element matrices (..., 64) mN/mm of cells with ``stiffness`` (..., 3, 3) N/m."""
        flat: Floats = stiffness.reshape(*stiffness.shape[:-2], 9) @ self._elements
        return flat

    def assemble(self, stiffness: Floats) -> Floats:
        """Matrix data (batch, entries) from ``stiffness`` (batch, cells, 3, 3) N/m."""
        entries = self.nodes * _PER_NODE
        places = self.places.ravel()
        rows = [
            np.bincount(places, weights=self.element_stiffness(one).ravel(), minlength=entries)
            for one in stiffness
        ]
        return np.stack(rows)

    def matrix(self, data: Floats) -> sparse.csr_matrix:
        """Block-diagonal matrix over the batch that shares its memory with ``data`` (batch, entries).

        Every row has 18 entries; neighbours that lie outside the lattice are zeros on the diagonal.
        """
        batch = len(data)
        iy, ix = np.divmod(np.arange(self.nodes), self.nx + 1)
        near_x, near_y = ix[:, None] + np.tile([-1, 0, 1], 3), iy[:, None] + np.repeat([-1, 0, 1], 3)
        inside = (near_x >= 0) & (near_x <= self.nx) & (near_y >= 0) & (near_y <= self.ny)
        near = np.where(inside, near_y * (self.nx + 1) + near_x, np.arange(self.nodes)[:, None])
        columns = (2 * near[:, None, :, None] + np.arange(2)).repeat(2, axis=1).reshape(-1)
        size = 2 * self.nodes
        indices = (columns[None, :] + size * np.arange(batch)[:, None]).ravel().astype(np.int32)
        pointers = (18 * np.arange(batch * size + 1)).astype(np.int32)
        return sparse.csr_matrix((data.reshape(-1), indices, pointers), shape=(batch * size, batch * size))

    def strain(self, u: Floats) -> Floats:
        """Strain (..., cells, 3) at the middle of each cell, from ``u`` (..., ny+1, nx+1, 2) mm."""
        along = u[..., 1:, :] - u[..., :-1, :]
        beside = u[..., 1:, :] + u[..., :-1, :]
        along = (along[..., 1:, :, :] + along[..., :-1, :, :]) * (0.5 / self.hx_mm)
        across = (beside[..., 1:, :, :] - beside[..., :-1, :, :]) * (0.5 / self.hy_mm)
        result = np.empty((*along.shape[:-1], 3))
        result[..., 0], result[..., 1] = along[..., 0], across[..., 1]
        np.add(across[..., 0], along[..., 1], out=result[..., 2])
        return result.reshape(*u.shape[:-3], self.ny * self.nx, 3)

    def forces(self, resultants: Floats) -> Floats:
        """Nodal forces (ny+1, nx+1, 2) mN of ``resultants`` (cells, 3) N/m: the integral of B^T N."""
        N = resultants.reshape(self.ny, self.nx, 3)
        along, across = 0.5 * self.hy_mm * N[..., [0, 2]], 0.5 * self.hx_mm * N[..., [2, 1]]
        forces = np.zeros((self.ny + 1, self.nx + 1, 2))
        forces[:-1, :-1] = -along - across
        forces[:-1, 1:] += along - across
        forces[1:, :-1] += across - along
        forces[1:, 1:] += along + across
        return forces

    def weights(self, points: Floats) -> tuple[Index, Floats]:
        """Nodes (p, 4) and bilinear weights (p, 4) of ``points`` (p, 2) mm from the lower left corner.

        Points outside are moved to the nearest point of the lattice.
        """
        scaled = points / (self.hx_mm, self.hy_mm)
        scaled = np.clip(scaled, 0.0, (self.nx, self.ny))
        cell = np.minimum(scaled.astype(np.intp), (self.nx - 1, self.ny - 1))
        x, y = (scaled - cell).T
        nodes = self.corners[cell[:, 1] * self.nx + cell[:, 0]]
        return nodes, np.stack([(1 - x) * (1 - y), x * (1 - y), x * y, (1 - x) * y], axis=1)
