"""A solve that ends: the direct way where conjugate gradients are given too few steps."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.errors import NotConverged
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.sheet import Sheet
from analyzer.mechanics.solvers import UniformInverse, solve_cg
from analyzer.mechanics.surely import solve_surely

KNIT = 1000.0 * np.array([[0.3, 0.1, 0.0], [0.1, 0.2, 0.0], [0.0, 0.0, 0.09]])


def bare_knit_with_a_fill() -> tuple[Lattice, np.ndarray, np.ndarray, np.ndarray]:
    """Very soft cloth, and in its middle rows of thread of 200 kN/m along 45 degrees."""
    lattice = Lattice(30, 30, 2.0, 2.0)
    stiffness = np.broadcast_to(KNIT, (2, 900, 3, 3)).copy()
    n = np.array([0.5, 0.5, 0.5])
    middle = np.zeros((30, 30), dtype=bool)
    middle[8:22, 8:22] = True
    stiffness[:, middle.reshape(-1)] += 200e3 * np.outer(n, n)
    rng = np.random.default_rng(3)
    forces = rng.normal(size=(2, 31, 31, 2))
    free = np.zeros((31, 31, 2), dtype=bool)
    free[1:-1, 1:-1] = True
    return lattice, stiffness, forces, free


def test_the_direct_way_gives_what_conjugate_gradients_give_in_time() -> None:
    lattice, stiffness, forces, free = bare_knit_with_a_fill()
    sheet = Sheet(lattice, stiffness, np.float64)
    inverse = UniformInverse(sheet, clamped=True)
    inverse.update(sheet.mean_diagonal())
    exact = solve_cg(sheet, forces, free, inverse, tolerance=1e-8, iterations=5000).u
    with pytest.raises(NotConverged):
        solve_cg(sheet, forces, free, inverse, tolerance=1e-8, iterations=3)
    sure = solve_surely(sheet, lattice, stiffness, forces, free, inverse, tolerance=1e-8, steps=3)
    assert np.abs(sure.u - exact).max() < 1e-6 * np.abs(exact).max()
    assert not sure.residual.any()
