"""The membrane against scikit-fem with SciPy's direct solver on one mesh, and its own two solvers."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import skfem

from analyzer.errors import NotConverged
from analyzer.mechanics import Membrane
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.sheet import Sheet
from analyzer.mechanics.solvers import UniformInverse, solve_cg

NX, NY, CELL = 24, 18, 2.5


def uneven_sheet():
    """A soft turned sheet with a patch twenty times stiffer along x, and a stress in it."""
    rng = np.random.default_rng(3)
    C = np.broadcast_to(np.array([[5000.0, 1200, 300], [1200, 3000, -200], [300, -200, 900]]), (NY, NX, 3, 3))
    C = C * rng.uniform(0.5, 2.0, (NY, NX, 1, 1))
    C[5:12, 6:15, 0, 0] += 1e5
    stress = np.zeros((NY, NX, 3))
    stress[5:12, 6:15] = [900.0, 50.0, -120.0]
    return C, stress


def by_skfem(C, stress):
    """Assemble and solve with scikit-fem: bilinear vector elements, Gauss rule of order 3."""
    mesh = skfem.MeshQuad.init_tensor(CELL * np.arange(NX + 1.0), CELL * np.arange(NY + 1.0))
    basis = skfem.Basis(mesh, skfem.ElementVector(skfem.ElementQuad1()), intorder=3)
    middle = mesh.p[:, mesh.t].mean(axis=1)
    ix, iy = (middle / CELL).astype(int)
    local, load = C[iy, ix], stress[iy, ix]

    def voigt(w):
        return np.stack([w.grad[0, 0], w.grad[1, 1], w.grad[0, 1] + w.grad[1, 0]])

    @skfem.BilinearForm
    def stiffness(u, v, w):
        return np.einsum("ieq,eij,jeq->eq", voigt(v), local, voigt(u))

    @skfem.LinearForm
    def force(v, w):
        return -np.einsum("ieq,ei->eq", voigt(v), load)

    K, f = stiffness.assemble(basis), force.assemble(basis)
    u = skfem.solve(*skfem.condense(K, f, D=basis.get_dofs()))
    values = np.zeros((NY + 1, NX + 1, 2))
    at = np.rint(mesh.p / CELL).astype(int)
    for component in (0, 1):
        values[at[1], at[0], component] = u[basis.nodal_dofs[component]]
    return values


@pytest.mark.parametrize("solver", ["direct", "cg"])
def test_agrees_with_scikit_fem(solver):
    C, stress = uneven_sheet()
    reference = by_skfem(C, stress)
    u = Membrane(NX * CELL, NY * CELL, CELL, C, solver=solver).solve(stress)
    assert np.abs(u - reference).max() < 1e-6 * np.abs(reference).max()


def test_the_comparison_can_fail():
    """Negative control: a hundredth of one cell's stiffness is seen."""
    C, stress = uneven_sheet()
    reference = by_skfem(C, stress)
    C[8, 8] *= 1.01
    u = Membrane(NX * CELL, NY * CELL, CELL, C).solve(stress)
    assert np.abs(u - reference).max() > 1e-6 * np.abs(reference).max()


def clamped_system(precision=np.float64):
    """The uneven sheet, its free nodes, the inverse of the uniform sheet, and its forces."""
    C, stress = uneven_sheet()
    lattice = Lattice(NX, NY, CELL, CELL)
    cells = C.reshape(1, -1, 3, 3)
    sheet = Sheet(lattice, cells, precision)
    uniform = UniformInverse(sheet, clamped=True)
    uniform.update(sheet.mean_diagonal())
    free = np.zeros((NY + 1, NX + 1, 2), dtype=bool)
    free[1:-1, 1:-1] = True
    return sheet, -lattice.forces(stress.reshape(-1, 3))[None], free, uniform


def test_conjugate_gradients_that_do_not_get_there_raise():
    system = clamped_system()
    with pytest.raises(NotConverged, match="3 steps"):
        solve_cg(*system, tolerance=1e-10, iterations=3)
    solved = solve_cg(*system, tolerance=1e-10)
    assert 3 < solved.steps < 300
    C, stress = uneven_sheet()
    direct = Membrane(NX * CELL, NY * CELL, CELL, C, solver="direct").solve(stress)
    assert solved.u[0] == pytest.approx(direct, abs=1e-8 * np.abs(direct).max())


def test_a_stiffness_that_is_not_positive_raises():
    C, stress = uneven_sheet()
    C[8, 8] -= 1e6 * np.eye(3)
    C[8, 8, [0, 1, 2], [0, 1, 2]] = np.abs(C[8, 8, [0, 1, 2], [0, 1, 2]])  # the mean stays positive
    C[8, 8, 0, 1] = C[8, 8, 1, 0] = 1e7
    with pytest.raises(NotConverged, match="not positive"):
        Membrane(NX * CELL, NY * CELL, CELL, C, solver="cg").solve(stress)


@pytest.mark.parametrize("tolerance", [1e-2, 1e-3, 1e-4])
@pytest.mark.parametrize("rim", ["clamped", "free", 3e5])
def test_the_tolerance_is_what_it_says(tolerance, rim):
    """The error in the energy norm, measured against the direct solver, is not above the tolerance."""
    C, stress = uneven_sheet()
    direct, quick = (
        Membrane(NX * CELL, NY * CELL, CELL, C, rim=rim, solver=solver, tolerance=tolerance)
        for solver in ("direct", "cg")
    )
    exact = direct.solve(stress)
    error = quick.solve(stress) - exact
    K = direct._matrix
    relative = np.sqrt((error.ravel() @ (K @ error.ravel())) / (exact.ravel() @ (K @ exact.ravel())))
    assert relative < 1.5 * tolerance
    assert relative > 1e-3 * tolerance  # it does stop there


def test_what_is_left_over_is_told():
    """``residual`` is f - K u, so that it can be added to later forces."""
    sheet, forces, free, uniform = clamped_system()
    matrix = sheet_matrix()
    solved = solve_cg(sheet, forces, free, uniform, tolerance=0.1)
    left = (forces - (matrix @ solved.u.ravel()).reshape(forces.shape)) * free
    assert solved.residual == pytest.approx(left, abs=1e-10 * np.abs(forces).max())
    assert np.abs(left).max() > 1e-3 * np.abs(forces).max()


def sheet_matrix():
    C, _ = uneven_sheet()
    lattice = Lattice(NX, NY, CELL, CELL)
    return lattice.matrix(lattice.assemble(C.reshape(1, -1, 3, 3)))


@pytest.mark.parametrize("hx_mm", [CELL, 1.02 * CELL])
@pytest.mark.parametrize("springs", [0.0, 4e5])
def test_the_product_without_a_matrix_is_that_of_the_matrix(hx_mm, springs):
    """Two sheets at once, square cells and oblong ones, with springs along the rim and without."""
    C, _ = uneven_sheet()
    both = np.stack([C.reshape(-1, 3, 3), 3.0 * C.reshape(-1, 3, 3)[::-1]])
    lattice = Lattice(NX, NY, hx_mm, CELL)
    sheet = Sheet(lattice, both, np.float64, springs)
    u = np.random.default_rng(0).normal(size=(2, NY + 1, NX + 1, 2))
    planes = np.ascontiguousarray((u * sheet.scale).transpose(0, 3, 1, 2))
    product = np.empty_like(planes)
    sheet.times(planes, product)
    for one, given, result in zip(both, u, sheet.forces(product), strict=True):
        matrix = lattice.matrix(lattice.assemble(one[None]))
        if springs:
            matrix = matrix + Membrane(NX * hx_mm, NY * CELL, CELL, np.eye(3))._springs(springs)
        assert result.ravel() == pytest.approx(matrix @ given.ravel(), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("rim", ["free", 3e5, 1e3])
@pytest.mark.parametrize("width", [NX * CELL, NX * CELL * 1.02])
def test_free_and_springy_rims_agree_between_solvers(rim, width):
    """Loads that do not balance among them: the pins of a free sheet take what is left."""
    C, stress = uneven_sheet()
    forces = np.random.default_rng(5).normal(size=(NY + 1, NX + 1, 2))
    a, b = (
        Membrane(width, NY * CELL, CELL, C, rim=rim, solver=s).solve_forces(forces) for s in ("direct", "cg")
    )
    assert a == pytest.approx(b, abs=1e-7 * np.abs(a).max())
    a, b = (Membrane(width, NY * CELL, CELL, C, rim=rim, solver=s).solve(stress) for s in ("direct", "cg"))
    assert a == pytest.approx(b, abs=1e-7 * np.abs(a).max())


def test_held_nodes_of_an_oval_stay_and_agree_between_solvers():
    x, y = np.meshgrid(np.linspace(-1, 1, NX + 1), np.linspace(-1, 1, NY + 1))
    held = x**2 + y**2 >= 1.0
    C, stress = uneven_sheet()
    a, b = (
        Membrane(NX * CELL, NY * CELL, CELL, C, rim=held, solver=s).solve(stress) for s in ("direct", "cg")
    )
    assert not a[held].any()
    assert a == pytest.approx(b, abs=1e-8 * np.abs(a).max())


def test_conjugate_gradients_are_refused_where_part_of_the_rim_is_held():
    held = np.zeros((11, 11), dtype=bool)
    held[0] = True
    with pytest.raises(ValueError, match="rim"):
        Membrane(10.0, 10.0, 1.0, np.eye(3), rim=held, solver="cg")
    with pytest.raises(ValueError, match="springs"):
        Membrane(10.0, 10.0, 1.0, np.eye(3), rim=0.0)


def test_wrong_shapes_are_refused():
    with pytest.raises(ValueError, match="stiffness"):
        Membrane(10.0, 10.0, 1.0, np.zeros((9, 10, 3, 3)))
    with pytest.raises(ValueError, match="held nodes"):
        Membrane(10.0, 10.0, 1.0, np.eye(3), rim=np.zeros((10, 10), dtype=bool))


_LARGE_HOOP = """
import pathlib, sys
import numpy as np
from analyzer.mechanics import Membrane

cells = np.broadcast_to(1e4 * np.array([[1.1, 0.3, 0], [0.3, 1.0, 0], [0, 0, 0.4]]), (360, 360, 3, 3)).copy()
cells[120:240, 120:240] += 5e4
stress = np.zeros((360, 360, 3))
stress[120:240, 120:240] = 1000.0
Membrane(360.0, 360.0, 1.0, cells, rim=sys.argv[1], tolerance=1e-6).solve(stress)
status = pathlib.Path("/proc/self/status").read_text()
print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))
"""


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the system does not tell peak memory so")
@pytest.mark.parametrize("rim", ["clamped", "free"])
def test_a_large_hoop_stays_under_a_gigabyte(rim):
    """360 x 360 mm at 1 mm, peak memory of a fresh process."""
    done = subprocess.run(
        [sys.executable, "-c", _LARGE_HOOP, rim], check=True, capture_output=True, text=True, timeout=300
    )
    assert 20e3 < int(done.stdout) < 1e6  # kB
