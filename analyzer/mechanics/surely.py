"""A solve that ends: conjugate gradients, and a direct factorisation where they take too long.

Very soft cloth between very stiff ties (bare knit) can need hundreds of steps, or more than single precision
holds. Then every member of the batch is factorised: slow, but sure.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analyzer.arrays import Bools, Floats
from analyzer.errors import NotConverged
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.sheet import Sheet
from analyzer.mechanics.solvers import Solved, UniformInverse, solve_cg, solve_direct

STEPS = 200  # of conjugate gradients, before it is factorised; backed cloth takes some 15


def solve_surely(
    sheet: Sheet,
    lattice: Lattice,
    stiffness: Floats,
    forces: Floats,
    free: Bools,
    precondition: UniformInverse,
    *,
    tolerance: float,
    starts: Sequence[Floats] = (),
    steps: int = STEPS,
) -> Solved:
    """Return displacements under ``forces`` (batch, ny+1, nx+1, 2) mN, to ``tolerance`` or better.

    ``stiffness`` (batch, cells, 3, 3) N/m is that of ``sheet``; ``starts`` as in :func:`solve_cg`.

    Raises:
        NotConverged: the equations cannot be solved directly either.

    """
    try:
        return solve_cg(
            sheet, forces, free, precondition, tolerance=tolerance, starts=starts, iterations=steps
        )
    except NotConverged:
        flat, held = forces.reshape(len(forces), -1), free.reshape(-1)
        u = [
            solve_direct(lattice.matrix(lattice.assemble(one[None])), load, held)
            for one, load in zip(stiffness, flat, strict=True)
        ]
        return Solved(np.stack(u).reshape(forces.shape), np.zeros_like(forces), steps)
