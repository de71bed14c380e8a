"""Two ways to solve K u = f for a membrane: a direct factorisation, and conjugate gradients.

The conjugate gradients are preconditioned with a uniform orthotropic sheet on the same rim, whose two
components are taken apart. That is a sum of products of one-dimensional problems, which their own modes
diagonalise (fast diagonalisation: Lynch, Rice & Thomas 1964, Numerische Mathematik 6, 185-199): sines for a
clamped rim, by a fast transform where that is quicker (Swarztrauber 1977, SIAM Review 19, 490-501), cosines
for a free one, and what lies between for springs. It works in single precision, which leaves the solution's
own precision alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import fft, linalg, sparse
from scipy.sparse.linalg import splu

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged
from analyzer.mechanics.sheet import Planes, Sheet

Solver: TypeAlias = Literal["auto", "direct", "cg"]

Singles: TypeAlias = npt.NDArray[np.float32]

_BAND = 150  # diagonals up to which a band is factorised
_BY_MATRIX = 150  # up to this many cells a side, a matrix product is quicker than a fast transform
#: Tolerances from here on are reached in single precision.
SINGLE_TOLERANCE = 1e-4
ITERATIONS = 800  # a sheet needs 5 to 40; far more than this would be no use


def solve_direct(matrix: sparse.csr_matrix, forces: Floats, free: Bools) -> Floats:
    """Solve by factorisation; ``forces`` and the result (dofs,) or (dofs, r), zero where ``free`` is false.

    ``free`` is (dofs,). A lattice numbered row by row is banded: up to :data:`_BAND` diagonals Cholesky's
    factorisation of the band is quicker than SuperLU.

    Raises:
        NotConverged: the matrix is singular, or the residual is not small.

    """
    kept = np.flatnonzero(free)
    reduced = matrix.tocsr()[kept][:, kept].tocsc()
    reduced.sum_duplicates()
    try:
        solution = _factorised(reduced, forces[kept])
    except (RuntimeError, linalg.LinAlgError) as reason:
        raise NotConverged(
            f"the membrane's equations cannot be solved ({reason}): check stiffness and rim"
        ) from None
    residual = np.linalg.norm(reduced @ solution - forces[kept])
    if not residual <= 1e-6 * np.linalg.norm(forces[kept]):
        raise NotConverged("the direct solve of the membrane lost its accuracy: check the stiffness values")
    result = np.zeros_like(forces)
    result[kept] = solution
    return result


def _factorised(matrix: sparse.csc_matrix, forces: Floats) -> Floats:
    column = np.repeat(np.arange(matrix.shape[1]), np.diff(matrix.indptr))
    below = matrix.indices - column
    width = int(below.max(initial=0))
    if width > _BAND:
        whole = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        return np.asarray(whole.solve(forces), dtype=np.float64)
    lower = below >= 0
    band = np.zeros((width + 1, matrix.shape[0]))
    band[below[lower], column[lower]] = matrix.data[lower]
    return np.asarray(
        linalg.solveh_banded(band, forces, lower=True, overwrite_ab=True, check_finite=False),
        dtype=np.float64,
    )


class UniformInverse:
    """Inverse of a uniform sheet with uncoupled components, for a batch of mean stiffnesses.

    ``clamped``: every node of the rim is held. Otherwise it is free, or on the sheet's springs, which
    ``diagonal`` (3,) N/m, the mean C11, C22, C66 over unit cells, is needed for.
    """

    def __init__(self, sheet: Sheet, *, clamped: bool, diagonal: Floats | None = None) -> None:
        nx, ny = sheet.nx, sheet.ny
        self.clamped = clamped
        self._inner = np.s_[..., 1:-1, 1:-1] if clamped else np.s_[..., :, :]
        self._fast = clamped and max(nx, ny) > _BY_MATRIX
        if clamped:
            (x, kx), (y, ky) = ((s[None], k[None]) for s, k in (_sines(nx), _sines(ny)))
        else:
            mean = np.ones(3) if diagonal is None else diagonal
            # along an axis a component is held by its own stretch or, across, by shear
            along = [_modes(nx, sheet.springs[0, i] / mean[(0, 2)[i]]) for i in (0, 1)]
            across = [_modes(ny, sheet.springs[1, i] / mean[(2, 1)[i]]) for i in (0, 1)]
            x, kx = (np.stack(part) for part in zip(*along, strict=True))
            y, ky = (np.stack(part) for part in zip(*across, strict=True))
        self._kx, self._ky = kx[:, None, :], ky[:, :, None]
        self._x, self._y = x.astype(np.float32), y.astype(np.float32)
        self._xt = np.ascontiguousarray(self._x.swapaxes(1, 2))
        self._yt = np.ascontiguousarray(self._y.swapaxes(1, 2))
        if self._fast:  # orthonormal sines; the modes' norm goes with the eigenvalues
            self._norm = (_mass(nx)[None, :] * _mass(ny)[:, None])[None]
        self._inverse: Singles = np.ones((1, 1, 1, 1), dtype=np.float32)
        self._turn = None if clamped or not sheet.springs.any() else _turning(sheet)

    def update(self, diagonal: Floats) -> None:
        """Take the mean stiffness ``diagonal`` (batch, 3): C11, C22, C66 in N/m, of unit cells."""
        c11, c22, c66 = diagonal.T[:, :, None, None]
        total = np.stack(
            [c11 * self._kx[0] + c66 * self._ky[0], c66 * self._kx[-1] + c22 * self._ky[-1]], axis=1
        )
        if self._fast:
            total *= self._norm
        if self.clamped:
            self._inverse = np.reciprocal(total, dtype=np.float32, casting="same_kind")
            return
        # a free sheet may move as a whole: that has no stiffness, and its forces balance
        still = total > 1e-9 * total.max(axis=(-2, -1), keepdims=True)
        self._inverse = np.where(still, 1.0 / np.where(still, total, 1.0), 0.0).astype(np.float32)

    def __call__(self, residual: Planes, out: Planes) -> None:
        """Apply to ``residual``, planes (batch, 2, ny+1, nx+1); what lies on a clamped rim stays zero."""
        inner = residual[self._inner].astype(np.float32, copy=False)
        if self._fast:
            modes = fft.dstn(inner, type=1, axes=(-2, -1), norm="ortho")
            modes *= self._inverse
            out[self._inner] = fft.dstn(modes, type=1, axes=(-2, -1), norm="ortho", overwrite_x=True)
        else:
            modes = np.matmul(np.matmul(self._yt, inner), self._x)
            modes *= self._inverse
            out[self._inner] = np.matmul(np.matmul(self._y, modes), self._xt)
        if self._turn is not None:
            turn, stiffness = self._turn
            out += turn * (np.einsum("bcyx,cyx->b", residual, turn) / stiffness)[:, None, None, None]


def _turning(sheet: Sheet) -> tuple[Floats, float]:
    """Turn the sheet as a whole, planes (2, ny+1, nx+1), which only the springs resist, and how stiffly.

    Components taken apart cannot tell such a turn from shear.
    """
    y, x = np.mgrid[: sheet.ny + 1, : sheet.nx + 1].astype(np.float64)
    turn = np.stack([y.mean() - y, x - x.mean()])
    image = np.zeros_like(turn)
    sheet.add_springs(turn[None], image[None])
    return turn, float((turn * image).sum())


def _mass(cells: int) -> Floats:
    """Eigenvalues of the linear elements' mass matrix (1, 4, 1)/6 between fixed ends."""
    result: Floats = (4.0 + 2.0 * np.cos(np.pi * np.arange(1, cells) / cells)) / 6.0
    return result


def _sines(cells: int) -> tuple[Floats, Floats]:
    """Modes (nodes, modes) between fixed ends, of unit mass, and their stiffness over mass."""
    k = np.arange(1, cells)
    modes = np.sqrt(2.0 / cells / _mass(cells)) * np.sin(np.pi * np.outer(k, k) / cells)
    return modes, (2.0 - 2.0 * np.cos(np.pi * k / cells)) / _mass(cells)


def _modes(cells: int, spring: float) -> tuple[Floats, Floats]:
    """Return the same between ends on springs of ``spring`` times the sheet's stiffness per cell."""
    nodes = cells + 1
    ends = np.zeros(nodes)
    ends[[0, -1]] = 1.0
    near = -np.eye(nodes, k=1) - np.eye(nodes, k=-1)
    stiffness = near + np.diag(2.0 - ends + spring * ends)
    mass = (np.diag(4.0 - 2.0 * ends) - near) / 6.0
    values, modes = linalg.eigh(stiffness, mass, overwrite_a=True, overwrite_b=True, check_finite=False)
    return modes, np.maximum(values, 0.0)


def _dot(a: Planes, b: Planes) -> Floats:
    """Inner product of every member of a batch, (batch,)."""
    flat = len(a), 1, a[0].size
    return (a.reshape(flat) @ b.reshape(flat).swapaxes(1, 2)).reshape(-1).astype(np.float64)


@dataclass(frozen=True, slots=True)
class Solved:
    """Displacements ``u`` mm and ``residual`` f - K u mN, both (batch, ny+1, nx+1, 2); the steps taken."""

    u: Floats
    residual: Floats
    steps: int


def solve_cg(
    sheet: Sheet,
    forces: Floats,
    free: Bools,
    precondition: UniformInverse,
    *,
    tolerance: float,
    starts: Sequence[Floats] = (),
    iterations: int = ITERATIONS,
) -> Solved:
    """Preconditioned conjugate gradients over a batch, for ``forces`` (batch, ny+1, nx+1, 2) mN.

    Every step adds to the strain energy; when the last two have added no more than ``tolerance**2`` of it,
    what is left to add is about that much (Hestenes & Stiefel 1952; Strakos & Tichy 2002, Electronic
    Transactions on Numerical Analysis 13, 56-80): ``tolerance`` is the relative error in the energy norm.
    ``free`` (ny+1, nx+1, 2) says which nodes are not held. Forces on a wholly free sheet must balance.
    ``starts``, each (batch or 1, ny+1, nx+1, 2) mm, are displacements like the one sought: it begins with the
    best of their sums.

    Raises:
        NotConverged: some member has not got there within ``iterations``, or the stiffness is not positive.

    """
    residual = sheet.planes(forces)
    mask: Planes = np.asarray(free.transpose(2, 0, 1), dtype=sheet.precision, order="C")
    plain = precondition.clamped and bool(free[1:-1, 1:-1].all())  # the rim is held, and nothing else
    residual *= mask
    size = np.abs(residual).max(axis=(1, 2, 3), keepdims=True)
    size[size == 0.0] = 1.0
    residual /= size  # within single precision's range
    u, search, z, image = (np.zeros_like(residual) for _ in range(4))
    before = np.ones(len(residual))
    energy, gained = np.zeros(len(residual)), np.full(len(residual), np.inf)
    begun: list[tuple[Planes, Planes, Floats]] = []
    for start in starts:
        trial = np.broadcast_to(sheet.as_planes(start), residual.shape) * mask
        for other, pushed, stiff in begun:
            trial -= other * _factor(_dot(trial, pushed) / stiff, residual)
        sheet.times(trial, image)
        image *= mask
        curvature = _dot(trial, image)
        safe = np.where(curvature > 0.0, curvature, 1.0)
        work = np.where(curvature > 0.0, _dot(residual, trial), 0.0)
        factor = _factor(work / safe, residual)
        u += trial * factor
        residual -= image * factor
        energy += work**2 / safe
        begun.append((trial, image.copy(), safe))
    for step in range(1, iterations + 1):
        precondition(residual, z)
        if not plain:
            z *= mask
        now = _dot(residual, z)
        search *= _factor(now / before, residual)
        search += z
        sheet.times(search, image)
        if plain:
            _clear_rim(image)
        else:
            image *= mask
        curvature = _dot(search, image)
        if not ((curvature > 0.0) | (now == 0.0)).all():
            raise NotConverged("the membrane's stiffness is not positive: check the stiffness values")
        length = now / np.where(curvature > 0.0, curvature, 1.0)
        factor = _factor(length, residual)
        np.multiply(search, factor, out=z)
        u += z
        image *= factor
        residual -= image
        last, gained = gained, length * now
        energy += gained
        if (last + gained <= tolerance**2 * energy).all():
            return Solved(sheet.displacements(u * size), sheet.forces(residual * size), step)
        before = np.where(now > 0.0, now, 1.0)
    raise NotConverged(
        f"the membrane solve did not reach {tolerance:g} in {iterations} steps: the cloth is too uneven"
    )


def _clear_rim(planes: Planes) -> None:
    """Set what lies on the rim to zero."""
    planes[..., 0, :] = 0.0
    planes[..., -1, :] = 0.0
    planes[..., :, 0] = 0.0
    planes[..., :, -1] = 0.0


def _factor(values: Floats, like: Planes) -> Planes:
    """One factor for each member of the batch, in the planes' precision."""
    result: Planes = values.astype(like.dtype)[:, None, None, None]
    return result
