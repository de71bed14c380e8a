"""Two ways to solve K u = f for a membrane: a direct factorisation, and conjugate gradients.

The conjugate gradients are preconditioned with the uniform orthotropic sheet on a clamped rectangle, which
sine transforms diagonalise (the classical fast Poisson solver; Swarztrauber 1977, SIAM Review 19, 490-501,
for the transform; the two displacement components are taken apart, which leaves out their coupling). The
preconditioner works in single precision, which is twice as fast and leaves the solution's own precision
alone.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
from scipy import fft, sparse
from scipy.sparse.linalg import splu

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged
from analyzer.mechanics.lattice import Lattice

Solver: TypeAlias = Literal["auto", "direct", "cg"]

ITERATIONS = 800  # a clamped sheet needs 5 to 40; far more than this would be no use


def solve_direct(matrix: sparse.csr_matrix, forces: Floats, free: Bools) -> Floats:
    """Solve by SuperLU; ``forces`` and the result (dofs,) or (dofs, r), zero where ``free`` (dofs,) is false.

    Raises:
        NotConverged: the matrix is singular, or the residual is not small.

    """
    kept = np.flatnonzero(free)
    reduced = matrix.tocsr()[kept][:, kept].tocsc()
    reduced.sum_duplicates()
    try:
        solution = splu(reduced, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(
            forces[kept]
        )
    except RuntimeError as reason:
        raise NotConverged(
            f"the membrane's equations cannot be solved ({reason}): check stiffness and rim"
        ) from None
    residual = np.linalg.norm(reduced @ solution - forces[kept])
    if not residual <= 1e-6 * np.linalg.norm(forces[kept]):
        raise NotConverged("the direct solve of the membrane lost its accuracy: check the stiffness values")
    result = np.zeros_like(forces)
    result[kept] = solution
    return result


class SinePreconditioner:
    """Inverse of the uniform clamped orthotropic sheet, for a batch of mean stiffnesses."""

    def __init__(self, lattice: Lattice, free: Bools) -> None:
        self._shape = (lattice.ny + 1, lattice.nx + 1)
        self._free = free.reshape(*self._shape, 2)[1:-1, 1:-1].astype(np.float32)
        a = np.cos(np.pi * np.arange(1, lattice.nx) / lattice.nx)[None, :]
        b = np.cos(np.pi * np.arange(1, lattice.ny) / lattice.ny)[:, None]
        slim = lattice.hy_mm / lattice.hx_mm
        self._kx = slim * (4 + 2 * b) / 6 * (2 - 2 * a)
        self._ky = (2 - 2 * b) * (4 + 2 * a) / 6 / slim
        self._inverse = np.ones((1, lattice.ny - 1, lattice.nx - 1, 2), dtype=np.float32)

    def update(self, diagonal: Floats) -> None:
        """Take the geometric mean over the cells of ``diagonal`` (batch, cells, 3): C11, C22, C66 in N/m."""
        c11, c22, c66 = np.exp(np.log(diagonal).mean(axis=1)).T[:, :, None, None]
        along = c11 * self._kx + c66 * self._ky
        across = c66 * self._kx + c22 * self._ky
        self._inverse = (1.0 / np.stack([along, across], axis=-1)).astype(np.float32)

    def __call__(self, residual: Floats) -> Floats:
        """Apply to ``residual`` (batch, dofs)."""
        scale = np.abs(residual).max(axis=1, initial=1e-300)[
            :, None
        ]  # keeps clear of the range of single precision
        scaled = (residual / scale).astype(np.float32)
        inner = scaled.reshape(-1, *self._shape, 2)[:, 1:-1, 1:-1] * self._free
        spectrum = fft.dstn(inner, type=1, axes=(1, 2), norm="ortho")
        spectrum *= self._inverse
        result = np.zeros((len(residual), *self._shape, 2))
        result[:, 1:-1, 1:-1] = fft.dstn(spectrum, type=1, axes=(1, 2), norm="ortho") * self._free
        flat: Floats = result.reshape(len(residual), -1)
        flat *= scale
        return flat


def solve_cg(
    matrix: sparse.csr_matrix,
    forces: Floats,
    free: Bools,
    precondition: SinePreconditioner,
    *,
    tolerance: float,
    iterations: int = ITERATIONS,
) -> tuple[Floats, int]:
    """Preconditioned conjugate gradients over a batch: ``forces`` (batch, dofs) mN -> (mm, iterations).

    Every member of the batch is held to ``|K u - f| <= tolerance * |f|``.

    Raises:
        NotConverged: some member has not got there within ``iterations``.

    """
    mask = free.astype(np.float64)
    residual = forces * mask
    goal = tolerance * np.sqrt(np.einsum("bi,bi->b", residual, residual))
    u = np.zeros_like(residual)
    search = np.zeros_like(residual)
    before = np.ones(len(residual))
    for step in range(iterations + 1):
        norm = np.sqrt(np.einsum("bi,bi->b", residual, residual))
        if bool(np.all(norm <= goal)):
            return u, step
        z = precondition(residual)
        now = np.einsum("bi,bi->b", residual, z)
        search *= (now / before)[:, None] if step else 0.0
        search += z
        image = (matrix @ search.reshape(-1)).reshape(search.shape) * mask
        curvature = np.einsum("bi,bi->b", search, image)
        length = np.where(curvature > 0, now / np.where(curvature > 0, curvature, 1.0), 0.0)[:, None]
        u += length * search
        residual -= length * image
        before = np.where(now > 0, now, 1.0)
    raise NotConverged(
        f"the membrane solve did not reach {tolerance:g} in {iterations} steps: the cloth is too uneven"
    )
