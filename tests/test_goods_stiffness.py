"""Membrane stiffness of orthotropic layers against tensor algebra and lamina formulas."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.errors import BadTable
from analyzer.goods import membrane, turn

STIFF = st.floats(min_value=10.0, max_value=1e5)
ANGLE = st.floats(min_value=-360.0, max_value=360.0)
STRAIN = st.floats(min_value=-0.1, max_value=0.1)


@st.composite
def sheets(draw: st.DrawFn) -> tuple[float, float, float, float]:
    """Admissible e1, e2, nu12, g."""
    e1, e2, g = draw(STIFF), draw(STIFF), draw(STIFF)
    mean_nu = draw(st.floats(min_value=0.0, max_value=0.9))
    return e1, e2, mean_nu * math.sqrt(e1 / e2), g


def energy_by_tensor(sheet: np.ndarray, strain: np.ndarray, degrees: float) -> float:
    """Strain energy density of a turned layer, by rotating the strain tensor into the layer's own axes."""
    t = math.radians(degrees)
    axes = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
    tensor = np.array([[strain[0], strain[2] / 2], [strain[2] / 2, strain[1]]])
    own = axes.T @ tensor @ axes
    voigt = np.array([own[0, 0], own[1, 1], 2 * own[0, 1]])
    return float(0.5 * voigt @ sheet @ voigt)


@settings(deadline=None)
@given(sheets(), ANGLE, st.tuples(STRAIN, STRAIN, STRAIN))
def test_turning_keeps_the_strain_energy(
    sheet: tuple[float, float, float, float], degrees: float, strain: tuple[float, float, float]
) -> None:
    C, e = membrane(*sheet), np.array(strain)
    turned = 0.5 * e @ turn(C, degrees) @ e
    assert turned == pytest.approx(energy_by_tensor(C, e, degrees), rel=1e-9, abs=1e-9 * np.abs(C).max())


def test_turning_the_wrong_way_is_noticed() -> None:
    """Negative control: the energy comparison tells a turn of +30 degrees from one of -30."""
    C, e = membrane(8000.0, 2000.0, 0.2, 300.0), np.array([0.01, -0.004, 0.02])
    assert 0.5 * e @ turn(C, -30.0) @ e != pytest.approx(energy_by_tensor(C, e, 30.0), rel=0.05)


@settings(deadline=None)
@given(sheets(), ANGLE)
def test_a_layer_is_positive_definite_at_every_turn(
    sheet: tuple[float, float, float, float], degrees: float
) -> None:
    C = turn(membrane(*sheet), degrees)
    assert np.array_equal(C, C.T)
    scale = 1.0 / np.sqrt(np.diag(C))
    assert np.linalg.eigvalsh(C * np.outer(scale, scale)).min() > 0


@settings(deadline=None)
@given(sheets())
def test_uniaxial_tension_gives_back_the_constants(sheet: tuple[float, float, float, float]) -> None:
    """Direction 1 lies along y: 1/E1, 1/E2, 1/G and nu12 stand in the compliance (Jones, section 2.4)."""
    e1, e2, nu12, g = sheet
    S = np.linalg.inv(membrane(*sheet))
    assert 1 / S[1, 1] == pytest.approx(e1, rel=1e-6)
    assert 1 / S[0, 0] == pytest.approx(e2, rel=1e-6)
    assert 1 / S[2, 2] == pytest.approx(g, rel=1e-6)
    assert -S[0, 1] / S[1, 1] == pytest.approx(nu12, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(sheets(), ANGLE)
def test_off_axis_stiffness_meets_the_lamina_formula(
    sheet: tuple[float, float, float, float], degrees: float
) -> None:
    """1/E(t) = c^4/E1 + (1/G - 2 nu12/E1) s^2 c^2 + s^4/E2, t from direction 1 (Jones, section 2.8)."""
    e1, e2, nu12, g = sheet
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    expected = c**4 / e1 + (1 / g - 2 * nu12 / e1) * s * s * c * c + s**4 / e2
    S = np.linalg.inv(turn(membrane(*sheet), degrees))
    assert S[1, 1] == pytest.approx(expected, rel=1e-5, abs=1e-9 * np.abs(S).max())


@settings(deadline=None)
@given(STIFF, st.floats(min_value=0.0, max_value=0.9), ANGLE)
def test_an_isotropic_layer_does_not_notice_a_turn(e: float, nu: float, degrees: float) -> None:
    C = membrane(e, e, nu, e / (2 * (1 + nu)))
    assert np.allclose(turn(C, degrees), C, rtol=1e-9, atol=1e-9 * e)


def test_a_quarter_turn_swaps_the_directions() -> None:
    C = membrane(8000.0, 2000.0, 0.2, 300.0)
    assert np.allclose(turn(C, 90.0), C[np.ix_([1, 0, 2], [1, 0, 2])])
    assert np.allclose(turn(turn(C, 20.0), 25.0), turn(C, 45.0))


@pytest.mark.parametrize(
    "sheet",
    [
        (0, 1, 0.3, 1),
        (1, -1, 0.3, 1),
        (1, 1, 0.3, 0),
        (1, 1, 1.0, 1),
        (1, 4, 0.5, 1),
        (float("nan"), 1, 0, 1),
    ],
)
def test_inadmissible_constants_are_refused(sheet: tuple[float, float, float, float]) -> None:
    with pytest.raises(BadTable):
        membrane(*sheet)


def test_matrices_are_read_only() -> None:
    with pytest.raises(ValueError, match="read-only"):
        turn(membrane(1, 1, 0, 1), 10)[0, 0] = 2.0
