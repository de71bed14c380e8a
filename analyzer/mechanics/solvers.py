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
import numpy.typing as npt
from scipy import fft, sparse
from scipy.sparse.linalg import splu

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged
from analyzer.mechanics.lattice import Lattice

Solver: TypeAlias = Literal["auto", "direct", "cg"]

Singles: TypeAlias = npt.NDArray[np.float32]

_BY_MATRIX = 64  # up to this many cells a side, a matrix product is quicker than a fast transform
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
        nx, ny = lattice.nx, lattice.ny
        self._shape = (ny + 1, nx + 1, 2)
        mask = free.reshape(self._shape)[1:-1, 1:-1].astype(np.float32)
        self._free = mask.transpose(2, 0, 1)
        a = np.cos(np.pi * np.arange(1, nx) / nx)[None, :]
        b = np.cos(np.pi * np.arange(1, ny) / ny)[:, None]
        slim = lattice.hy_mm / lattice.hx_mm
        self._kx = slim * (4 + 2 * b) / 6 * (2 - 2 * a)
        self._ky = (2 - 2 * b) * (4 + 2 * a) / 6 / slim
        self._inverse = np.ones((1, 2, ny - 1, nx - 1), dtype=np.float32)
        small = max(nx, ny) <= _BY_MATRIX
        self._sines = (_sine_matrix(ny), _sine_matrix(nx)) if small else None

    def update(self, diagonal: Floats) -> None:
        """Take the geometric mean over the cells of ``diagonal`` (batch, cells, 3): C11, C22, C66 in N/m."""
        c11, c22, c66 = np.exp(np.log(diagonal).mean(axis=1)).T[:, :, None, None]
        along = c11 * self._kx + c66 * self._ky
        across = c66 * self._kx + c22 * self._ky
        self._inverse = (1.0 / np.stack([along, across], axis=1)).astype(np.float32)

    def _transform(self, values: Singles) -> Singles:
        """Two-dimensional orthonormal sine transform over the last two axes; its own inverse."""
        if self._sines is not None:
            rows, columns = self._sines
            result: Singles = np.matmul(np.matmul(rows, values), columns)
        else:
            result = fft.dstn(values, type=1, axes=(-2, -1), norm="ortho")
        return result

    def __call__(self, residual: Floats) -> Floats:
        """Apply to ``residual`` (batch, dofs)."""
        scale = np.abs(residual).max(axis=1, initial=1e-300)[:, None]  # within single precision's range
        scaled = (residual / scale).reshape(-1, *self._shape)[:, 1:-1, 1:-1]
        inner = scaled.transpose(0, 3, 1, 2).astype(np.float32, order="C")
        inner *= self._free
        answer = self._transform(self._inverse * self._transform(inner)) * self._free
        result = np.zeros((len(residual), *self._shape))
        result[:, 1:-1, 1:-1] = answer.transpose(0, 2, 3, 1)
        flat: Floats = result.reshape(len(residual), -1)
        flat *= scale
        return flat


def _sine_matrix(cells: int) -> Singles:
    """Matrix of the orthonormal sine transform (DST-I) over the inner nodes of ``cells`` cells."""
    k = np.arange(1, cells)
    sines: Singles = (np.sqrt(2.0 / cells) * np.sin(np.pi * np.outer(k, k) / cells)).astype(np.float32)
    return sines


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
