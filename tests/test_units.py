"""Units and handbook formulas against standards and worked examples."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.goods import units

POSITIVE = st.floats(min_value=1e-3, max_value=1e5)


@pytest.mark.parametrize(
    ("found", "expected", "tolerance", "source"),
    [
        (units.cotton_count_from_tex(30), 19.68, 0.005, "ASTM D2260, example of 30 tex"),
        (units.tex_from_cotton_count(1.0), 590.541, 0.001, "ASTM D2260, table 1"),
        (units.metric_ticket_from_tex(40), 75.0, 1e-9, "ticket rule: 3000 / tex"),
        (
            units.metric_ticket_from_tex(2 * units.tex_from_metric_number(80)),
            120.0,
            1e-9,
            "Nm 80/2, ISO 2947",
        ),
        (units.tex_from_denier(240), 26.667, 0.0005, "definition: g in 9 km"),
        (units.denier_from_tex(units.tex_from_dtex(135 * 2)), 243.0, 1e-9, "definition: g in 10 km"),
        (units.yarn_diameter_mm(1.0, 1.1), 0.037424, 5e-7, "Peirce 1937, specific volume 1.1 cm3/g"),
        (units.yarn_diameter_mm(1.0, 1.0), 0.035682, 5e-7, "cylinder of unit specific volume (derived)"),
        (units.thread_diameter_mm(27, 1.52, 0.65), 0.187, 0.001, "viscose 27 tex, packing 0.65 (derived)"),
        (units.cover_factor(20, 28), 12.522, 0.0005, "textbook example: 20 tex at 28 per cm"),
        (units.cloth_cover_factor(12, 12), 18.857, 0.0005, "Peirce 1937, K1 = K2 = 12"),
        (
            units.covered_fraction(units.cloth_cover_factor(12, 12)),
            0.67347,
            5e-6,
            "1 - (1 - 12/28)^2 (derived)",
        ),
        (units.g_m2_from_oz_yd2(1.0), 33.9057, 5e-5, "28.349523125 g over 0.83612736 m2"),
        (units.bending_unm_from_cantilever(168, 15.0, 9.81), 5.562, 0.0005, "FAST worked example"),
        (units.shear_n_per_m_from_bias_extension(4.7), 26.17, 0.005, "FAST worked example"),
        (units.bending_unm_from_kes(1.0), 98.07, 0.005, "1 gf.cm2/cm with standard gravity"),
        (units.shear_n_per_m_from_kes(1.0), 56.19, 0.005, "1 gf/(cm.degree) with standard gravity"),
    ],
)
def test_a_conversion_meets_its_published_value(
    found: float, expected: float, tolerance: float, source: str
) -> None:
    assert found == pytest.approx(expected, abs=tolerance), source


@pytest.mark.parametrize(
    ("ounces", "grams"),
    [
        (0.7, 23.7),
        (0.88, 29.8),
        (1.1, 37.3),
        (1.5, 50.9),
        (2.0, 67.8),
        (2.5, 84.8),
        (3.0, 101.7),
        (3.5, 118.7),
    ],
)
def test_ounces_meet_a_conversion_table(ounces: float, grams: float) -> None:
    """Derived from the exact ounce and yard, rounded to 0.1 g/m2."""
    assert units.g_m2_from_oz_yd2(ounces) == pytest.approx(grams, abs=0.051)


def test_denier_and_decitex_are_told_apart() -> None:
    """Negative control: 120 x 2 is 26.7 tex in denier and 24 tex in decitex."""
    assert units.tex_from_denier(120 * 2) == pytest.approx(26.667, abs=5e-4)
    assert units.tex_from_dtex(120 * 2) == pytest.approx(24.0)
    assert units.tex_from_denier(240) != pytest.approx(units.tex_from_dtex(240), rel=0.05)


def test_the_cantilever_formula_is_cubic_in_the_bending_length() -> None:
    """B = w g c^3 (Peirce 1930, ASTM D1388): half as long again is 1.5^3 times as stiff."""
    short, long = (units.bending_unm_from_cantilever(168, c) for c in (10.0, 15.0))
    assert long / short == pytest.approx(3.375)


@settings(deadline=None)
@given(POSITIVE)
def test_conversions_have_inverses(x: float) -> None:
    assert units.oz_yd2_from_g_m2(units.g_m2_from_oz_yd2(x)) == pytest.approx(x)
    assert units.denier_from_tex(units.tex_from_denier(x)) == pytest.approx(x)
    assert units.tex_from_cotton_count(units.cotton_count_from_tex(x)) == pytest.approx(x)


@settings(deadline=None)
@given(POSITIVE, st.floats(min_value=0.1, max_value=5.0))
def test_a_yarn_of_that_diameter_weighs_its_tex(tex: float, volume: float) -> None:
    """Weight of 1 km of a cylinder, in g, from diameter and specific volume (derived)."""
    radius_cm = units.yarn_diameter_mm(tex, volume) / 20.0
    assert math.pi * radius_cm**2 * 1e5 / volume == pytest.approx(tex)
