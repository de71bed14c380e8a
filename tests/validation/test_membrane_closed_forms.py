"""The membrane against closed forms of plane stress; each check names its source."""

import numpy as np
import pytest

from analyzer.mechanics import Membrane

NU, EH = 0.3, 12_000.0


def isotropic(eh=EH, nu=NU):
    """Plane-stress stiffness, N/m."""
    return eh / (1 - nu**2) * np.array([[1, nu, 0], [nu, 1, 0], [0, 0, (1 - nu) / 2]])


def rotated(stiffness, degrees):
    """Turn the sheet counter-clockwise (Jones, Mechanics of Composite Materials, 2nd ed., section 2.6)."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    T = np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])
    return T.T @ stiffness @ T


def covered(width, height, cell, inside, sub=8):
    """Share (ny, nx) of each cell, centred on the sheet, for which ``inside(x, y)`` holds."""
    nx, ny = round(width / cell), round(height / cell)
    x = (np.arange(nx * sub) + 0.5) * cell / sub - width / 2
    y = (np.arange(ny * sub) + 0.5) * cell / sub - height / 2
    return inside(x[None, :], y[:, None]).astype(float).reshape(ny, sub, nx, sub).mean(axis=(1, 3))


def round_rim(width, cell, radius):
    x = np.arange(round(width / cell) + 1) * cell - width / 2
    return np.hypot(x[None, :], x[:, None]) >= radius - 1e-9


def radial(membrane, u, radius, width):
    """Radial displacement at 360 points of a circle, by the elements' own interpolation."""
    theta = np.radians(np.arange(360.0) + 0.5)
    n = np.stack([np.cos(theta), np.sin(theta)], axis=1)
    nodes, weights = membrane.lattice.weights(radius * n + width / 2)
    return np.einsum("pci,pc,pi->p", u.reshape(-1, 2)[nodes], weights, n)


def rim_radius(held, cell):
    """Mean distance from the middle of the held nodes next to free ones: where a round rim really holds."""
    free = np.pad(~held, 1)
    near = held & (free[:-2, 1:-1] | free[2:, 1:-1] | free[1:-1, :-2] | free[1:-1, 2:])
    x = (np.arange(held.shape[1]) - (held.shape[1] - 1) / 2) * cell
    y = (np.arange(held.shape[0]) - (held.shape[0] - 1) / 2) * cell
    return np.hypot(x[None, :], y[:, None])[near].mean()


def clamped_disc_errors(cell, radius, rim, strain=-0.02):
    """Relative errors at 360 points of the edge of a contracting disc in a sheet clamped at ``rim``.

    The first as interpolated at the edge, in the very cells in which the displacement has its kink; the
    second as the disc's own linear field reaches it, from one cell inside.

    u(a) = (1+nu)/2 e* a (1 - a2/R2). Derived: u = A r inside and B (r - R2/r) outside, with u continuous and
    N_r - C e* continuous at a; superposes Eshelby's disc and a uniform stretch. R is where the grid's nodes
    hold the sheet.
    """
    width = 2 * rim + 4 * cell
    share = covered(width, width, cell, lambda x, y: np.hypot(x, y) <= radius)
    C = isotropic()
    held = round_rim(width, cell, rim)
    membrane = Membrane(width, width, cell, C, rim=held)
    u = membrane.solve(share[..., None] * -(C @ [strain, strain, 0.0]))
    exact = (1 + NU) / 2 * strain * radius * (1 - (radius / rim_radius(held, cell)) ** 2)
    within = radial(membrane, u, radius - cell, width) * radius / (radius - cell)
    return radial(membrane, u, radius, width) / exact - 1, within / exact - 1


@pytest.mark.parametrize("degrees", [0.0, 27.0, 45.0, 90.0])
@pytest.mark.parametrize("solver", ["direct", "cg"])
def test_patch_test_holds_to_round_off_for_turned_orthotropy(degrees, solver):
    """A uniform eigen-stress on a free sheet gives the uniform strain -C^-1 N (Irons' patch test)."""
    C = rotated(np.array([[7000.0, 900, 0], [900, 3000, 0], [0, 0, 400]]), degrees)
    membrane = Membrane(12.0, 9.0, 1.5, C, rim="free", solver=solver)
    wanted = np.array([0.01, -0.02, 0.015])
    stress = np.broadcast_to(-C @ wanted, (6, 8, 3))
    u = membrane.solve(stress)
    round_off = 1e-13 if solver == "direct" else 1e-11  # or what conjugate gradients are asked for
    assert membrane.strain(u) == pytest.approx(np.broadcast_to(wanted, (6, 8, 3)), abs=round_off)
    assert np.abs(membrane.resultants(u, stress)).max() < 1e-8 * np.abs(stress).max()


def test_patch_test_can_fail():
    """Negative control: with one cell of another stiffness the strain is no longer uniform."""
    C = np.broadcast_to(isotropic(), (6, 8, 3, 3)).copy()
    stress = np.einsum("yxij,j->yxi", C, -np.array([0.01, -0.02, 0.015]))
    C[3, 4] *= 2.0
    membrane = Membrane(12.0, 9.0, 1.5, C, rim="free")
    assert np.ptp(membrane.strain(membrane.solve(stress))[..., 0]) > 1e-4


@pytest.mark.parametrize(("rim", "value"), [(15.0, -0.072222), (30.0, -0.115556), (100.0, -0.128700)])
def test_formula_of_the_clamped_disc_gives_the_worked_values(rim, value):
    """Worked values of the derived formula: nu .3, e* -.02, a 10 mm."""
    assert (1 + NU) / 2 * -0.02 * 10 * (1 - (10 / rim) ** 2) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(("radius", "rim"), [(10.0, 15.0), (10.0, 30.0), (20.0, 60.0)])
def test_disc_in_a_clamped_rim(radius, rim):
    """Within 1 % on average and 2 % at the worst point, at 1 mm."""
    _, within = clamped_disc_errors(1.0, radius, rim)
    assert abs(within.mean()) < 0.01
    assert np.abs(within).max() < 0.02


def test_disc_in_a_clamped_rim_at_the_kink_itself():
    """A disc of 40 mm: within 3 % on average and 7 % at the worst point, at 1 mm."""
    edge, _ = clamped_disc_errors(1.0, 20.0, 60.0)
    assert abs(edge.mean()) < 0.03
    assert np.abs(edge).max() < 0.07


def test_errors_at_the_edge_halve_with_the_cell():
    """The stress jumps inside the cells at the edge: errors fall with the first power of the cell."""
    cells = np.array([2.0, 1.0, 0.5])
    errors = np.array([[abs(e.mean()) for e in clamped_disc_errors(cell, 10.0, 30.0)] for cell in cells])
    for column in errors.T:
        assert 0.8 < np.polyfit(np.log(cells), np.log(column), 1)[0] < 1.6


def test_disc_in_an_infinite_sheet():
    """u(a) = (1+nu)/2 e* a; outside N_r = -(Eh e*/2) a2/r2 = -N_theta.

    J. D. Eshelby, Proc. R. Soc. A 241 (1957) 376-396, for a cylinder, in plane stress. The rim at 100 mm is
    ten radii away; what it takes is the factor 1 - a2/R2 = 0.99.
    """
    a, width, strain = 16.0, 320.0, -0.02
    C = isotropic()
    share = covered(width, width, 1.0, lambda x, y: np.hypot(x, y) <= a)
    stress = share[..., None] * -(C @ [strain, strain, 0.0])
    membrane = Membrane(width, width, 1.0, C)
    u = membrane.solve(stress)
    edge = radial(membrane, u, a, width) / ((1 + NU) / 2 * strain * a) - 1
    assert abs(edge.mean()) < 0.03
    assert np.abs(edge).max() < 0.07
    N = membrane.resultants(u, stress)
    at = 160 + 24  # the cell from 24 to 25 mm to the right of the middle
    expected = -(EH * strain / 2) * a**2 / 24.5**2
    assert N[160, at, 0] == pytest.approx(expected, rel=0.05)
    assert N[160, at, 1] == pytest.approx(-expected, rel=0.05)


def test_disc_in_a_free_round_sheet():
    """u(a) = e* a [(1+nu)/2 + (1-nu)/2 a2/R2].

    Derived: Eshelby's disc leaves N_r = -(Eh e*/2) a2/R2 at the free edge R; a uniform tension that cancels
    it stretches the disc by (1-nu)/2 e* a2/R2 more. The sheet ends where its stiffness does.
    """
    a, edge, strain, width = 10.0, 24.0, -0.02, 52.0
    C = isotropic()
    share, sheet = (covered(width, width, 1.0, lambda x, y, r=r: np.hypot(x, y) <= r) for r in (a, edge))
    membrane = Membrane(
        width, width, 1.0, np.maximum(sheet, 1e-6)[..., None, None] * C, rim="free", solver="direct"
    )
    u = membrane.solve(share[..., None] * -(C @ [strain, strain, 0.0]))
    middle = u[26, 26]
    error = radial(membrane, u - middle, a, width) / (
        strain * a * ((1 + NU) / 2 + (1 - NU) / 2 * (a / edge) ** 2)
    )
    assert abs(error.mean() - 1) < 0.03
    assert np.abs(error - 1).max() < 0.07
    without = (1 + NU) / 2 * strain * a  # negative control: the infinite sheet is another case
    assert abs(radial(membrane, u - middle, a, width).mean() / without - 1) > 0.06


def test_threads_along_one_direction_over_a_disc():
    """Strain along -(1+nu)(5-3nu)/8 N*/Eh, across (1+nu)^2/8 N*/Eh; push over pull 0.317 at nu .3.

    Derived from Eshelby's circular inclusion in plane stress for the eigenstrain -C^-1 (N*, 0, 0). The strain
    is uniform in the disc; the mean over it is compared, and the worst of the cells well inside. The sheet
    ends at 16 radii, which takes (1 - (a/R)^2) = 0.996 at most.
    """
    a, width, tension = 15.0, 480.0, 100.0
    share = covered(width, width, 1.0, lambda x, y: np.hypot(x, y) <= a)
    membrane = Membrane(width, width, 1.0, isotropic(), tolerance=1e-6)
    strain = membrane.strain(membrane.solve(share[..., None] * np.array([tension, 0.0, 0.0])))
    inner = strain[covered(width, width, 1.0, lambda x, y: np.hypot(x, y) <= 0.8 * a) == 1.0]
    middle = inner.mean(axis=0)
    ex = -(1 + NU) * (5 - 3 * NU) / 8 * tension / EH
    ey = (1 + NU) ** 2 / 8 * tension / EH
    assert middle[0] == pytest.approx(ex, rel=0.03)
    assert middle[1] == pytest.approx(ey, rel=0.03)
    assert inner[:, 0] == pytest.approx(ex, rel=0.07)
    assert inner[:, 1] == pytest.approx(ey, rel=0.07)
    assert -middle[1] / middle[0] == pytest.approx(0.317, rel=0.03)


def test_threads_across_a_long_column():
    """Width strain -(1-nu2) N*/Eh, times (1 - w/W) in a clamped sheet W wide.

    Derived: plane strain along the column; what the column w loses, the cloth beside it gains, so that the
    strains of both, times their widths, add up to nothing.
    """
    tension, w, W = 100.0, 8.0, 120.0
    share = covered(W, 240.0, 1.0, lambda x, y: np.abs(x + 0 * y) <= w / 2)
    membrane = Membrane(W, 240.0, 1.0, isotropic())
    strain = membrane.strain(membrane.solve(share[..., None] * np.array([tension, 0.0, 0.0])))
    exact = -(1 - NU**2) * tension / EH * (1 - w / W)
    inside = strain[110:130, 56:64, 0]
    assert inside.mean() == pytest.approx(exact, rel=0.03)
    assert inside == pytest.approx(exact, rel=0.07)
    assert strain[110:130, 70:110, 0].mean() == pytest.approx(-exact / (W / w - 1), rel=0.03)


def test_rims_from_clamped_to_free_give_way_in_order():
    """Springs between clamped and free; stiff springs come to the clamped rim (physical limits, derived)."""
    share = covered(100.0, 100.0, 2.0, lambda x, y: np.hypot(x, y) <= 20.0)
    stress = share[..., None] * np.array([200.0, 200.0, 0.0])

    def pull(rim):
        membrane = Membrane(100.0, 100.0, 2.0, isotropic(), rim=rim)
        e = membrane.strain(membrane.solve(stress))
        return -e[20:30, 20:30, :2].mean()

    clamped, free = pull("clamped"), pull("free")
    soft, stiff = pull(3e5), pull(1e12)
    assert clamped < soft < free
    assert stiff == pytest.approx(clamped, rel=1e-5)
