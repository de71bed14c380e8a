"""The membrane: a sheet in its plane, with its own stresses, held along a rim."""

from __future__ import annotations

from typing import Literal

import numpy as np
from scipy import sparse

from analyzer.arrays import Bools, Floats
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.solvers import SinePreconditioner, Solver, solve_cg, solve_direct


class Membrane:
    """A rectangular sheet with stiffness in every cell, origin at its lower left corner.

    ``stiffness`` is (3, 3) or (ny, nx, 3, 3) in N/m (plane stress times thickness), Voigt order x, y, xy
    with engineering shear strain. The sheet has ``nx = round(width / cell)`` by ``ny`` bilinear cells,
    integrated exactly.

    ``rim``: ``"clamped"``; ``"free"`` (three degrees of freedom are pinned, against rigid motion only); a
    number, the stiffness k_s in N/m2 of springs along the rim; or a bool array (ny+1, nx+1) of nodes that
    are held. ``solver``: ``"direct"`` (SuperLU), ``"cg"`` (sine-transform preconditioned; every node of the
    rim must be held), or ``"auto"``: conjugate gradients where they apply.
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
        held, springs = self._rim(rim)
        self._free: Bools = ~held.reshape(-1)
        whole_rim = np.ones((ny + 1, nx + 1, 2), dtype=np.bool_)
        whole_rim[1:-1, 1:-1] = False
        clamped = bool(held[whole_rim].all())
        if solver == "cg" and not clamped:
            raise ValueError("conjugate gradients need every node of the rim held; take the direct solver")
        self._iterative = clamped if solver == "auto" else solver == "cg"
        self._tolerance = tolerance
        cells = self.stiffness.reshape(1, nx * ny, 3, 3)
        self._matrix = self.lattice.matrix(self.lattice.assemble(cells))
        if springs is not None:
            self._matrix = (self._matrix + springs).tocsr()
        self._precondition = SinePreconditioner(self.lattice, self._free)
        if self._iterative:
            self._precondition.update(np.einsum("bcii->bci", cells))

    def _rim(self, rim: str | float | Bools) -> tuple[Bools, sparse.csr_matrix | None]:
        """Return held degrees of freedom (ny+1, nx+1, 2) and the matrix of the rim's springs, if any."""
        nx, ny = self.lattice.nx, self.lattice.ny
        held = np.zeros((ny + 1, nx + 1, 2), dtype=np.bool_)
        if isinstance(rim, np.ndarray):
            if rim.shape != held.shape[:2]:
                raise ValueError(f"held nodes have shape {rim.shape}; it must be {held.shape[:2]}")
            return held | rim[:, :, None], None
        if rim == "clamped":
            held[:] = True
            held[1:-1, 1:-1] = False
            return held, None
        if rim == "free":
            held[0, 0] = True
            held[0, -1, 1] = True
            return held, None
        if isinstance(rim, str):
            raise ValueError(
                f"rim is '{rim}'; it must be clamped, free, a spring stiffness or an array of held nodes"
            )
        return held, self._springs(float(rim))

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
        """Displacement (ny+1, nx+1, 2) mm under nodal ``forces`` of the same shape in mN."""
        flat = forces.reshape(-1)
        if self._iterative:
            batch, _ = solve_cg(
                self._matrix, flat[None], self._free, self._precondition, tolerance=self._tolerance
            )
            u = batch[0]
        else:
            u = solve_direct(self._matrix, flat, self._free)
        shaped: Floats = u.reshape(self.lattice.ny + 1, self.lattice.nx + 1, 2)
        return shaped

    def strain(self, u: Floats) -> Floats:
        """Strain (ny, nx, 3) at the middle of each cell, engineering shear."""
        return self.lattice.strain(u).reshape(self.lattice.ny, self.lattice.nx, 3)

    def resultants(self, u: Floats, stress: Floats) -> Floats:
        """``N = C eps + stress`` (ny, nx, 3) N/m at the middle of each cell, tension positive."""
        total: Floats = np.einsum("yxij,yxj->yxi", self.stiffness, self.strain(u)) + stress
        return total
