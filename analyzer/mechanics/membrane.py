"""The membrane: a sheet in its plane, with its own stresses, held along a rim."""

from __future__ import annotations

from functools import cached_property
from typing import Literal

import numpy as np
from scipy import sparse

from analyzer.arrays import Bools, Floats
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.sheet import Sheet
from analyzer.mechanics.solvers import SINGLE_TOLERANCE, Solver, UniformInverse, solve_cg, solve_direct


class Membrane:
    """A rectangular sheet with stiffness in every cell, origin at its lower left corner.

    ``stiffness`` is (3, 3) or (ny, nx, 3, 3) in N/m (plane stress times thickness), Voigt order x, y, xy
    with engineering shear strain. The sheet has ``nx = round(width / cell)`` by ``ny`` bilinear cells,
    integrated exactly.

    ``rim``: ``"clamped"``; ``"free"`` (three degrees of freedom are pinned, against rigid motion only); a
    number, the stiffness k_s in N/m2 of springs along the rim; or a bool array (ny+1, nx+1) of nodes that
    are held. ``solver``: ``"direct"`` (SuperLU), ``"cg"`` (conjugate gradients; where some nodes are held,
    those of the whole rim must be), or ``"auto"``: conjugate gradients where they apply. ``tolerance`` is
    theirs: the relative error in the energy norm.
    """

    def __init__(
        self,
        width_mm: float,
        height_mm: float,
        cell_mm: float,
        stiffness: Floats,
        rim: Literal["clamped", "free"] | float | Bools = "clamped",
        *,
        solver: Solver = "auto",
        tolerance: float = 1e-10,
    ) -> None:
        nx, ny = (max(2, round(side / cell_mm)) for side in (width_mm, height_mm))
        self.lattice = Lattice(nx, ny, width_mm / nx, height_mm / ny)
        given = np.asarray(stiffness, dtype=np.float64)
        if given.shape not in ((3, 3), (ny, nx, 3, 3)):
            raise ValueError(f"stiffness has shape {given.shape}; it must be (3, 3) or {(ny, nx, 3, 3)}")
        self.stiffness: Floats = np.broadcast_to(given, (ny, nx, 3, 3))
        self._springs_n_per_m2, self._held = self._rim(rim)
        on_rim = np.ones((ny + 1, nx + 1), dtype=np.bool_)
        on_rim[1:-1, 1:-1] = False
        self._clamped = bool(self._held[on_rim].all())
        self._pinned = isinstance(rim, str) and rim == "free"
        applies = self._clamped or not self._held.any()
        if solver == "cg" and not applies:
            raise ValueError("conjugate gradients need all of the rim held, or none; take the direct solver")
        self._iterative = applies and solver != "direct"
        self._tolerance = tolerance

    def _rim(self, rim: str | float | Bools) -> tuple[float, Bools]:
        """Return the springs in N/m2 and the nodes (ny+1, nx+1) that are held."""
        held = np.zeros((self.lattice.ny + 1, self.lattice.nx + 1), dtype=np.bool_)
        if isinstance(rim, np.ndarray):
            if rim.shape != held.shape:
                raise ValueError(f"held nodes have shape {rim.shape}; it must be {held.shape}")
            return 0.0, rim
        if rim == "clamped":
            held[:] = True
            held[1:-1, 1:-1] = False
            return 0.0, held
        if rim == "free":
            return 0.0, held
        if isinstance(rim, str):
            raise ValueError(
                f"rim is '{rim}'; it must be clamped, free, a spring stiffness or an array of held nodes"
            )
        if not rim > 0.0:
            raise ValueError(f"springs along the rim must be stiffer than {rim:g} N/m2; free is 'free'")
        return float(rim), held

    @cached_property
    def _sheet(self) -> Sheet:
        """The sheet's stiffness for conjugate gradients."""
        precision = np.float32 if self._tolerance >= SINGLE_TOLERANCE else np.float64
        cells = self.stiffness.reshape(1, -1, 3, 3)
        return Sheet(self.lattice, cells, precision, self._springs_n_per_m2)

    @cached_property
    def _precondition(self) -> UniformInverse:
        """The uniform sheet of the geometric mean of the stiffness over all cells."""
        mean = self._sheet.mean_diagonal()
        uniform = UniformInverse(self._sheet, clamped=self._clamped, diagonal=mean[0])
        uniform.update(mean)
        return uniform

    @cached_property
    def _matrix(self) -> sparse.csr_matrix:
        """The sheet's stiffness matrix for the direct solver, springs included."""
        matrix = self.lattice.matrix(self.lattice.assemble(self.stiffness.reshape(1, -1, 3, 3)))
        if self._springs_n_per_m2 > 0.0:
            matrix = (matrix + self._springs(self._springs_n_per_m2)).tocsr()
        return matrix

    def _springs(self, k_s: float) -> sparse.csr_matrix:
        """Line springs of ``k_s`` N/m2 along the rim, with linear displacement along each side (mN/mm)."""
        numbers = np.arange(self.lattice.nodes).reshape(self.lattice.ny + 1, self.lattice.nx + 1)
        size = 2 * self.lattice.nodes
        total = sparse.csr_matrix((size, size))
        sides = (
            (numbers[0], self.lattice.hx_mm),
            (numbers[-1], self.lattice.hx_mm),
            (numbers[:, 0], self.lattice.hy_mm),
            (numbers[:, -1], self.lattice.hy_mm),
        )
        for line, step in sides:
            for component in (0, 1):
                a, b = 2 * line[:-1] + component, 2 * line[1:] + component
                share = np.full(len(a), 1e-3 * k_s * step / 6.0)
                rows, columns = np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a])
                values = np.concatenate([2 * share, 2 * share, share, share])
                total = total + sparse.csr_matrix((values, (rows, columns)), shape=(size, size))
        return total.tocsr()

    def solve(self, stress: Floats) -> Floats:
        """Displacement (ny+1, nx+1, 2) mm under eigen-stress resultants ``stress`` (ny, nx, 3) N/m.

        A free contraction e* is ``stress = -C e*``; tension is positive.

        Raises:
            NotConverged: the solve missed its tolerance.

        """
        cells = np.asarray(stress, dtype=np.float64).reshape(self.lattice.nx * self.lattice.ny, 3)
        return self.solve_forces(-self.lattice.forces(cells))

    def solve_forces(self, forces: Floats) -> Floats:
        """Displacement (ny+1, nx+1, 2) mm under nodal ``forces`` of the same shape in mN.

        Raises:
            NotConverged: the solve missed its tolerance.

        """
        free = np.broadcast_to(~self._held[:, :, None], forces.shape)
        if not self._iterative:
            if self._pinned:
                free = free.copy()
                free[0, 0] = free[0, -1, 1] = False
            u = solve_direct(self._matrix, forces.reshape(-1), free.reshape(-1))
            return u.reshape(forces.shape)
        if self._pinned:
            forces = self._balanced(forces)
        solved = solve_cg(self._sheet, forces[None], free, self._precondition, tolerance=self._tolerance)
        return self._unmoved(solved.u[0]) if self._pinned else solved.u[0]

    def _balanced(self, forces: Floats) -> Floats:
        """Add the reactions of the pins: two in the lower left corner, one in the lower right, across."""
        y, x = np.ogrid[: self.lattice.ny + 1, : self.lattice.nx + 1]
        moment = forces[..., 1] * (x * self.lattice.hx_mm) - forces[..., 0] * (y * self.lattice.hy_mm)
        right = -moment.sum() / (self.lattice.nx * self.lattice.hx_mm)
        result = forces.copy()
        result[0, 0] -= forces.sum(axis=(0, 1))
        result[0, 0, 1] -= right
        result[0, -1, 1] += right
        return result

    def _unmoved(self, u: Floats) -> Floats:
        """Take out the rigid motion, so that the three pins stay where they are."""
        y, x = np.ogrid[: self.lattice.ny + 1, : self.lattice.nx + 1]
        turn = (u[0, -1, 1] - u[0, 0, 1]) / (self.lattice.nx * self.lattice.hx_mm)
        turned = np.stack(
            np.broadcast_arrays(-turn * self.lattice.hy_mm * y, turn * self.lattice.hx_mm * x), axis=-1
        )
        result: Floats = u - u[0, 0] - turned
        return result

    def strain(self, u: Floats) -> Floats:
        """Strain (ny, nx, 3) at the middle of each cell, engineering shear."""
        return self.lattice.strain(u).reshape(self.lattice.ny, self.lattice.nx, 3)

    def resultants(self, u: Floats, stress: Floats) -> Floats:
        """``N = C eps + stress`` (ny, nx, 3) N/m at the middle of each cell, tension positive."""
        total: Floats = np.einsum("yxij,yxj->yxi", self.stiffness, self.strain(u)) + stress
        return total
