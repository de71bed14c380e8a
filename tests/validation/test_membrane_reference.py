"""The membrane against scikit-fem with SciPy's direct solver on one mesh, and its own two solvers."""

import numpy as np
import pytest
import skfem

from analyzer.errors import NotConverged
from analyzer.mechanics import Membrane
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.solvers import SinePreconditioner, solve_cg, solve_direct

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


def test_conjugate_gradients_that_do_not_get_there_raise():
    C, stress = uneven_sheet()
    lattice = Lattice(NX, NY, CELL, CELL)
    matrix = lattice.matrix(lattice.assemble(C.reshape(1, -1, 3, 3)))
    free = np.zeros((NY + 1, NX + 1, 2), dtype=bool)
    free[1:-1, 1:-1] = True
    precondition = SinePreconditioner(lattice, free.reshape(-1))
    precondition.update(np.einsum("cii->ci", C.reshape(-1, 3, 3))[None])
    forces = -lattice.forces(stress.reshape(-1, 3)).reshape(1, -1)
    with pytest.raises(NotConverged):
        solve_cg(matrix, forces, free.reshape(-1), precondition, tolerance=1e-10, iterations=3)
    u, steps = solve_cg(matrix, forces, free.reshape(-1), precondition, tolerance=1e-10)
    assert 3 < steps < 300
    assert u[0] == pytest.approx(
        solve_direct(matrix, forces[0], free.reshape(-1)), abs=1e-8 * np.abs(u).max()
    )


def test_a_batch_gives_what_each_member_gives_alone():
    C, _ = uneven_sheet()
    lattice = Lattice(NX, NY, CELL, CELL)
    both = np.stack([C.reshape(-1, 3, 3), 3.0 * C.reshape(-1, 3, 3)])
    data = lattice.assemble(both)
    x = np.random.default_rng(0).normal(size=(2, 2 * lattice.nodes))
    together = (lattice.matrix(data) @ x.reshape(-1)).reshape(x.shape)
    for one, given, result in zip(data, x, together, strict=True):
        assert result == pytest.approx(lattice.matrix(one[None]) @ given)


def test_held_nodes_of_an_oval_stay_and_agree_between_solvers():
    x, y = np.meshgrid(np.linspace(-1, 1, NX + 1), np.linspace(-1, 1, NY + 1))
    held = x**2 + y**2 >= 1.0
    C, stress = uneven_sheet()
    a, b = (
        Membrane(NX * CELL, NY * CELL, CELL, C, rim=held, solver=s).solve(stress) for s in ("direct", "cg")
    )
    assert not a[held].any()
    assert a == pytest.approx(b, abs=1e-8 * np.abs(a).max())


def test_conjugate_gradients_are_refused_where_the_rim_is_not_held():
    with pytest.raises(ValueError, match="rim"):
        Membrane(10.0, 10.0, 1.0, np.eye(3), rim="free", solver="cg")


def test_wrong_shapes_are_refused():
    with pytest.raises(ValueError, match="stiffness"):
        Membrane(10.0, 10.0, 1.0, np.zeros((9, 10, 3, 3)))
    with pytest.raises(ValueError, match="held nodes"):
        Membrane(10.0, 10.0, 1.0, np.eye(3), rim=np.zeros((10, 10), dtype=bool))
