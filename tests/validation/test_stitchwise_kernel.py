"""The kernel of the stitch-by-stitch model: closed forms, quadrature, and a fine grid."""

import numpy as np
import pytest
from test_membrane_closed_forms import isotropic, rotated

from analyzer.mechanics import Membrane
from analyzer.mechanics.stitchwise import Thread, isotropic_kernel, kernel, orthotropic_kernel, sew_out

RADIUS = 0.375
WEAVE = 1000.0 * np.array([[12.0, 0.7, 0.0], [0.7, 7.0, 0.0], [0.0, 0.0, 0.6]])  # stiff in x, weak in shear


def approach(membrane, a, b, radius=RADIUS):
    """How far ``a`` and ``b`` come together under 1 N."""
    points = np.array([a, b], dtype=float)
    pulls = np.array([False, True])
    sewn = sew_out(points, pulls, membrane, radius_mm=radius, thread=Thread(80.0, 1.0))
    return sewn.tightening[0]


@pytest.mark.parametrize(
    ("eh", "printed", "digit"), [(2.0, 0.51, 0.01), (10.0, 0.10, 0.01), (40.0, 0.026, 0.001)]
)
def test_one_stitch_closes_by_the_closed_form(eh, printed, digit):
    """F/(2 pi Eh) [(1+nu)(3-nu) ln(L/r0) - (1+nu)^2/2], derived from Kelvin's plane-stress solution.

    1 N over 3 mm. Spreading the load over the penetrations takes 2 (r0/L)^2 off the second term.
    """
    nu, length = 0.3, 3.0
    found = approach(isotropic(1000 * eh, nu), (0, 0), (length, 0))
    spread = 1 - 2 * (RADIUS / length) ** 2
    both = [
        ((1 + nu) * (3 - nu) * np.log(length / RADIUS) - (1 + nu) ** 2 / 2 * share) / (2 * np.pi * eh)
        for share in (1.0, spread)
    ]
    assert found == pytest.approx(both[1], rel=1e-9)
    assert found == pytest.approx(both[0], rel=0.006)
    assert both[0] == pytest.approx(printed, abs=0.5 * digit)


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45])
def test_the_series_of_any_sheet_gives_the_closed_form_of_an_isotropic_one(nu):
    d = (
        np.random.default_rng(1)
        .normal(scale=[[0.4], [8.0]], size=(2, 2, 400))
        .transpose(1, 0, 2)
        .reshape(2, -1)
    )
    closed = isotropic_kernel(12.0, nu, RADIUS)(*d)
    series = orthotropic_kernel(isotropic(12_000.0, nu), RADIUS)(*d)
    for a, b in zip(closed, series, strict=True):
        assert b == pytest.approx(a, abs=2e-4 * np.abs(closed[0]).max())


def by_quadrature(membrane, dx, dy, count=48, angles=2048):
    """Kernel by plane waves, ``-1/(4 pi^2)`` times the integral of ``Gamma^-1 ln|x.k|`` over directions k.

    Averaged over points of two circles of the penetration's radius, one by one (John, Plane Waves and
    Spherical Means, 1955, for the decomposition).
    """
    theta = (np.arange(angles) + 0.5) * np.pi / angles
    c, s = np.cos(theta), np.sin(theta)
    C = membrane / 1000.0
    g11 = C[0, 0] * c * c + 2 * C[0, 2] * c * s + C[2, 2] * s * s
    g22 = C[2, 2] * c * c + 2 * C[1, 2] * c * s + C[1, 1] * s * s
    g12 = C[0, 2] * c * c + (C[0, 1] + C[2, 2]) * c * s + C[1, 2] * s * s
    det = g11 * g22 - g12**2
    inverse = np.stack([g22, -g12, g11]) / det
    first = 2 * np.pi * np.arange(count) / count
    second = first + np.pi / count
    x = dx + RADIUS * (np.cos(first)[:, None] - np.cos(second)).ravel()
    y = dy + RADIUS * (np.sin(first)[:, None] - np.sin(second)).ravel()
    wave = np.log(np.abs(x[:, None] * c + y[:, None] * s)).mean(axis=0)
    return -(inverse * wave).sum(axis=1) * (2 * np.pi / angles) / (4 * np.pi**2)


@pytest.mark.parametrize("turn", [0.0, 30.0])
def test_an_orthotropic_kernel_against_direct_quadrature(turn):
    membrane = rotated(WEAVE, turn)
    tabulated = kernel(membrane, RADIUS)
    # points that lie between each other leave an error of ln(2)/count at the penetration itself
    origin = 2 * by_quadrature(membrane, 0.0, 0.0, 96) - by_quadrature(membrane, 0.0, 0.0, 48)
    for offset in [(0.3, 0.1), (0.4, -0.5), (3.5, 0.0), (0.1, 3.0), (-5.0, 8.0)]:
        direct = by_quadrature(membrane, *offset) - origin
        assert from_middle(tabulated, offset) == pytest.approx(direct, abs=0.005 * np.abs(direct).max())
    if turn:  # negative control: the sheet's direction is seen
        direct = by_quadrature(membrane, 3.5, 0.0) - origin
        unturned = from_middle(kernel(WEAVE, RADIUS), (3.5, 0.0))
        assert np.abs(unturned - direct).max() > 0.02 * np.abs(direct).max()


def from_middle(green, offset):
    """Components (3,) of ``green`` at ``offset`` less those at the penetration itself."""
    dx, dy = np.array([offset, (0.0, 0.0)]).T
    return np.array([part[0] - part[1] for part in green(dx, dy)])


def circles(membrane, points, radius, count=240):
    """Weights (nodes, p) that spread a unit evenly over a circle around each of ``points``."""
    theta = 2 * np.pi * (np.arange(count) + 0.5) / count
    ring = radius * np.stack([np.cos(theta), np.sin(theta)], axis=1)
    nodes, weights = membrane.lattice.weights((points[:, None] + ring).reshape(-1, 2))
    result = np.zeros((membrane.lattice.nodes, len(points)))
    column = np.repeat(np.arange(len(points)), count)
    np.add.at(result, (nodes, column[:, None]), weights / count)
    return result


def on_a_grid(membrane_stiffness, points, radius, side, cell):
    """Compliance (n, n) mm/N between the stitches of a line of ``points`` by a fine grid."""
    sheet = Membrane(side, side, cell, membrane_stiffness, tolerance=1e-6)
    spread = circles(sheet, points + side / 2, radius)
    step = np.diff(points, axis=0)
    n = step / np.hypot(*step.T)[:, None]
    pull = (spread[:, :-1] - spread[:, 1:])[:, :, None] * n  # (nodes, n, 2)
    shape = (sheet.lattice.ny + 1, sheet.lattice.nx + 1, 2)
    moved = [sheet.solve_forces(1000.0 * pull[:, k].reshape(shape)).reshape(-1, 2) for k in range(len(n))]
    return np.array([[np.sum(pull[:, j] * u) for j in range(len(n))] for u in moved])


def by_kernel(membrane_stiffness, points, radius):
    a, b = points[:-1], points[1:]
    n = (b - a) / np.hypot(*(b - a).T)[:, None]
    green = kernel(membrane_stiffness, radius)

    def moved(p, q):
        xx, xy, yy = green(*(p[:, None] - q).transpose(2, 0, 1))
        return np.stack([xx * n[:, 0] + xy * n[:, 1], xy * n[:, 0] + yy * n[:, 1]], axis=-1)

    both = moved(a, a) - moved(a, b) - moved(b, a) + moved(b, b)
    return np.einsum("kli,ki->kl", both, n)


LINE = np.array(
    [[-4.0, -0.6], [-0.6, -0.6], [2.9, -0.6], [3.2, -0.2], [0.4, -0.2], [-3.1, -0.2], [-3.1, 0.2]]
)


def extrapolated(C, radius, side, cell):
    """Take the error of first order in the cell size (a load on a line across elements) out of two grids."""
    coarse, fine = (on_a_grid(C, LINE, radius, side, h) for h in (2 * cell, cell))
    return 2 * fine - coarse


@pytest.mark.parametrize("sheet", ["isotropic", "orthotropic"])
def test_compliances_between_stitches_against_a_fine_grid(sheet):
    """Seven penetrations in two rows, a finite sheet: within 2.5 % of the largest."""
    C = isotropic() if sheet == "isotropic" else rotated(WEAVE, 20.0)
    radius = 0.6
    grid, green = extrapolated(C, radius, 50.0, 0.25), by_kernel(C, LINE, radius)
    assert grid == pytest.approx(green, abs=0.025 * green.max())
    wrong = by_kernel(C, LINE, 0.8 * radius)  # negative control: smaller penetrations
    assert np.abs(grid - wrong).max() > 0.05 * green.max()


@pytest.mark.long
@pytest.mark.parametrize("sheet", ["isotropic", "orthotropic"])
def test_compliances_to_one_per_cent(sheet):
    """The same on cells of half the size."""
    C = isotropic() if sheet == "isotropic" else rotated(WEAVE, 20.0)
    grid, green = extrapolated(C, 0.6, 80.0, 0.125), by_kernel(C, LINE, 0.6)
    assert grid == pytest.approx(green, abs=0.01 * green.max())
