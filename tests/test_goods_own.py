"""The user's own goods and backings: by weight alone, by a stretch test, by measured values."""

from __future__ import annotations

import math
import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer import Job, goods
from analyzer.errors import BadTable, UnknownGoods
from analyzer.goods import Cloth, StackChoice, Tables, build_stack, parse_backing, resolve, tables_of
from analyzer.goods.lines import line_of
from analyzer.job import OwnMaterials


def tables(text: str) -> Tables:
    return tables_of((OwnMaterials(text, "mine.toml"),))


def polo(text: str) -> Cloth:
    return tables(f'[goods.crew-polo]\nlike = "pique"\n{text}').cloth("crew-polo")


def test_what_is_not_given_is_taken_over_with_its_source() -> None:
    own, like = polo(""), goods.cloth("pique")
    assert own.e1_kn_per_m == like.e1_kn_per_m
    assert own.needle == like.needle
    assert own.working_factor == like.working_factor
    assert own.title == "crew-polo (like pique)"


@given(st.floats(60.0, 600.0))
def test_by_weight_alone_stiffness_goes_with_weight_and_bending_with_its_cube(weight: float) -> None:
    """Derived: same material and density, so bending goes as stiffness times thickness squared."""
    own, like = polo(f"weight_g_m2 = {weight!r}"), goods.cloth("pique")
    ratio = weight / like.weight_g_m2.value
    assert own.e1_kn_per_m.value == pytest.approx(ratio * like.e1_kn_per_m.value)
    assert own.shear_n_per_m.value == pytest.approx(ratio * like.shear_n_per_m.value)
    assert own.thickness_mm.value == pytest.approx(ratio * like.thickness_mm.value)
    assert own.bending_unm.value == pytest.approx(ratio**3 * like.bending_unm.value)
    assert own.e1_kn_per_m.known == "guess"
    assert own.e1_kn_per_m.high / own.e1_kn_per_m.low == pytest.approx(
        like.e1_kn_per_m.high / like.e1_kn_per_m.low
    )


def test_a_stretch_test_gives_the_secant_stiffness() -> None:
    """Derived: 300 g on 50 mm are 9.80665 * 0.3 / 0.05 = 58.84 N/m; 20 mm on 200 are 10 %: 0.5884 kN/m."""
    own = polo("along = { strip_mm = 50, gauge_mm = 200, load_g = 300, extension_mm = 20 }")
    assert own.e1_kn_per_m.value == pytest.approx(0.588399)
    assert own.e1_kn_per_m.low == pytest.approx(0.588399 * 20 / 21)
    assert own.e1_kn_per_m.high == pytest.approx(0.588399 * 20 / 19)
    assert own.e1_kn_per_m.known == "measured"


def test_the_direction_that_was_not_tested_moves_along() -> None:
    own = polo("along = { strip_mm = 50, gauge_mm = 200, load_g = 300, extension_mm = 20 }")
    like = goods.cloth("pique")
    ratio = own.e1_kn_per_m.value / like.e1_kn_per_m.value
    assert own.e2_kn_per_m.value == pytest.approx(ratio * like.e2_kn_per_m.value)
    assert own.e2_kn_per_m.known == "guess"


def test_a_stiffness_measured_at_a_higher_load_is_hardened_less() -> None:
    """At the tables' low load the whole working factor applies, at the load of stitching none of it."""
    at = {
        load: polo(f"e1_kn_per_m = 1.0\nat_load_n_per_m = {load}").working_factor.value
        for load in (30, 122.5, 500)
    }
    whole = goods.cloth("pique").working_factor.value
    assert at[30] == pytest.approx(whole)
    assert at[500] == pytest.approx(1.0)
    assert at[122.5] == pytest.approx(math.sqrt(whole), rel=1e-3)  # half way in the logarithm of load


def test_a_backing_of_known_weight_and_a_tested_one() -> None:
    text = (
        '[backings.shop-cutaway]\nlike = "cutaway"\nweights_g_m2 = [75]\n'
        '[backings.tested]\nlike = "cutaway"\nweights_g_m2 = [50]\n'
        "along = { strip_mm = 50, gauge_mm = 200, load_g = 1000, extension_mm = 4 }\n"
        "across = { strip_mm = 50, gauge_mm = 200, load_g = 1000, extension_mm = 9 }\n"
    )
    own = tables(text)
    assert own.backing("shop-cutaway").stiffness_knm_per_g == goods.backing("cutaway").stiffness_knm_per_g
    tested = own.backing("tested")
    # derived: 196.133 N/m over 2 % and 4.5 % are 9.807 and 4.359 kN/m, geometric mean 6.538, over 50 g/m2
    assert tested.stiffness_knm_per_g.value == pytest.approx(6.5378 / 50, rel=1e-4)
    assert tested.direction_ratio.value == pytest.approx(2.25)


def test_own_backings_are_put_wherever_what_they_are_like_would_be() -> None:
    own = tables('[backings.shop-cutaway]\nlike = "cutaway"\nweights_g_m2 = [75]\n')
    assert "shop-cutaway" in own.cloth("jersey").backings
    assert "shop-cutaway" not in own.cloth("organza").backings


def test_an_own_cloth_on_an_own_backing_makes_a_stack() -> None:
    text = (
        '[goods.crew-polo]\nlike = "pique"\nweight_g_m2 = 205\n'
        '[backings.mine]\nlike = "cutaway"\nweights_g_m2 = [75]\n'
    )
    job = Job(own=(OwnMaterials(text, "mine.toml"),))
    setup = resolve(job, "crew-polo", (50.0, 50.0))
    stack = build_stack(setup, StackChoice(parse_backing("mine:75x2", setup.tables), None))
    assert [layer.kind for layer in stack.layers] == ["knit", "mine", "mine"]
    assert pickle.loads(pickle.dumps(setup)) == setup
    with pytest.raises(UnknownGoods, match="did you mean pique"):
        resolve(Job(), "piqe", (50.0, 50.0))


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('weight_g_m2 = "heavy"', r"mine.toml, line 3: \[goods.crew-polo\], weight_g_m2: give a number"),
        ("weight_g_m2 = [1, 2]", "line 3.*give a number or"),
        ("weight_g_m2 = -5", "line 3.*must be positive"),
        ("wieght_g_m2 = 205", "line 3.*unknown key 'wieght_g_m2'"),
        ('heat = "warm"', "line 3.*'warm' is none of"),
        ('needle = "13/3"', "'13/3' is in no table"),
        ("along = 3", "line 3.*must be a table"),
        ("along = { strip_mm = 50 }", "line 3.*'gauge_mm' is missing"),
        (
            "along = { strip_mm = 50, gauge_mm = 200, load_g = 900, extension_mm = 90 }",
            "line 3.*repeat with a lighter load",
        ),
        (
            "along = { strip_mm = 50, gauge_mm = 200, load_g = 9, extension_mm = 1 }",
            "line 3.*repeat with a heavier load",
        ),
        (
            "e1_kn_per_m = 1\nalong = { strip_mm = 50, gauge_mm = 200, load_g = 300, extension_mm = 20 }",
            "line 4.*either the stretch test or e1_kn_per_m",
        ),
    ],
)
def test_a_mistake_is_told_with_file_and_line(line: str, says: str) -> None:
    with pytest.raises(BadTable, match=says):
        polo(line)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[goods.x]\nweight_g_m2 = 100", r"line 1: \[goods.x\], like: say what it is like"),
        ('[goods.x]\nlike = "silkk"', "line 2.*say what it is like: one of jersey"),
        ('[goods.x]\nlike = "piqe"', "line 2.*did you mean pique"),
        ('[goods.jersey]\nlike = "pique"', "line 1.*a name of the standard table"),
        ('[goods."Crew Polo"]\nlike = "pique"', "line 1.*small letters"),
        ("goods = 3", "line 1: write entries as"),
        ("[goods]\nx = 3", "line 2.*write the entry as"),
        ("[goods.x\n", "not a TOML table.*line 1"),
        (
            '[backings.b]\nlike = "cutaway"\nweights_g_m2 = [50, 75]\n'
            "along = { strip_mm = 50, gauge_mm = 200, load_g = 1000, extension_mm = 4 }",
            "line 3.*the one weight that was tested",
        ),
    ],
)
def test_a_mistaken_entry_is_told_with_file_and_line(text: str, says: str) -> None:
    with pytest.raises(BadTable, match=says):
        tables(text)


def test_lines_are_found_again_in_every_way_of_writing() -> None:
    text = (
        "top = 1\n"  # 1
        '[a."b c"] # with a comment\n'  # 2
        'text = """\n'  # 3
        "x = 9\n"  # 4: inside the text
        '"""\n'  # 5
        "x = 2\n"  # 6
        "deep.er = { y = 1 }\n"  # 7
        "[[frame]]\n"  # 8
        "shape = 1\n"  # 9
        "[[frame]]\n"  # 10
        "  shape = 2\n"  # 11
    )
    assert line_of(text, ("top",)) == 1
    assert line_of(text, ("a", "b c", "x")) == 6
    assert line_of(text, ("a", "b c", "deep", "er", "y")) == 7
    assert line_of(text, ("a", "b c", "absent")) == 2
    assert line_of(text, ("frame", 2, "shape")) == 11
    assert line_of(text, ("frame", 1, "shape")) == 9
    assert line_of(text, ("nowhere",)) is None
