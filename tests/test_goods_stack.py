"""Stacks: layers, stiffness, bending, thickness, and the ranges of what is uncertain."""

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analyzer import goods
from analyzer.errors import BadJob, UnknownBacking, UnknownTopping
from analyzer.goods import (
    BackingChoice,
    Setup,
    StackChoice,
    Value,
    build_stack,
    cloth,
    constants,
    parse_backing,
    resolve,
)
from analyzer.goods.stack import factor, geometric_mean, goods_layer, product, weighted
from analyzer.job import Calibration, Job

CLOTHS = sorted(set(goods.cloths()) - {"none"})
BARE = StackChoice((), None)


def setup(cloth: str = "jersey", holding: str = "hooped") -> Setup:
    return resolve(Job(holding=holding), cloth, (60.0, 40.0))


def choice(text: str, topping: str | None = None) -> StackChoice:
    return StackChoice(parse_backing(text), topping)


def definite(C: np.ndarray) -> bool:
    scale = 1.0 / np.sqrt(np.diag(C))
    return bool(np.array_equal(C, C.T) and np.linalg.eigvalsh(C * np.outer(scale, scale)).min() > 0)


@st.composite
def choices(draw: st.DrawFn) -> StackChoice:
    picked = []
    for kind in draw(st.lists(st.sampled_from(sorted(goods.backings())), min_size=1, max_size=3)):
        layers = draw(st.integers(min_value=1, max_value=3))
        turns = tuple(draw(st.floats(min_value=-180, max_value=180)) for _ in range(layers))
        picked.append(
            BackingChoice(kind, draw(st.sampled_from(goods.backing(kind).weights_g_m2)), layers, turns)
        )
    return StackChoice(tuple(picked), draw(st.sampled_from([None, *goods.toppings()])))


@settings(deadline=None)
@given(st.sampled_from(sorted(goods.cloths())), st.sampled_from(["hooped", "floated", "adhesive"]), choices())
def test_every_stack_is_positive_definite_and_the_sum_of_its_layers(
    cloth: str, holding: str, chosen: StackChoice
) -> None:
    stack = build_stack(setup(cloth, holding), chosen)
    assert all(definite(layer.membrane) for layer in stack.layers)
    assert definite(stack.membrane)
    assert np.allclose(stack.membrane, np.sum([layer.membrane for layer in stack.layers], axis=0))
    assert len(stack.backings) == chosen.layers
    assert sum(layer.g_m2 for layer in stack.backings) == pytest.approx(chosen.total_g_m2)
    assert (stack.goods is None) == (cloth == "none")
    assert all(layer.thickness_mm > 0 and layer.bending_unm > 0 for layer in stack.layers)
    assert set(stack.spreads) == set(goods.PARAMETERS)
    for value in stack.spreads.values():
        assert 0 < value.low <= value.value <= value.high
        assert value.source


@pytest.mark.parametrize("cloth", CLOTHS)
def test_bare_goods_carry_their_working_stiffness(cloth: str) -> None:
    """From the compliance: 1/S11 is the table's value times the working factor, along y for direction 1."""
    item = goods.cloth(cloth)
    stack = build_stack(setup(cloth), BARE)
    S = np.linalg.inv(stack.membrane)
    up = 1000.0 * item.working_factor.value
    assert 1 / S[1, 1] == pytest.approx(up * item.e1_kn_per_m.value)
    assert 1 / S[0, 0] == pytest.approx(up * item.e2_kn_per_m.value)
    assert 1 / S[2, 2] == pytest.approx(item.working_factor.value * item.shear_n_per_m.value)
    assert stack.spreads["backing_stiffness"].low == stack.spreads["backing_stiffness"].high == 1.0
    assert stack.goods is not None
    assert stack.goods.perforation_mm2 == 0.0


def test_a_cutaway_carries_weight_times_specific_stiffness_times_its_share() -> None:
    """By hand: 0.20 kN.m/g x 85 g/m2 = 17 kN/m geometric mean, 0.6 of it reaches hooped goods; MD/CD 1.5."""
    layer = build_stack(setup(), choice("cutaway:85")).backings[0]
    S = np.linalg.inv(layer.membrane)
    along, across = 1 / S[1, 1], 1 / S[0, 0]
    assert math.sqrt(along * across) == pytest.approx(0.6 * 17000.0)
    assert along / across == pytest.approx(1.5)
    assert 1 / S[2, 2] == pytest.approx(0.35 * 0.6 * 17000.0)
    assert -S[0, 1] / math.sqrt(S[0, 0] * S[1, 1]) == pytest.approx(0.3)
    assert layer.thickness_mm == pytest.approx(85 / 0.18 / 1000)
    assert layer.bending_unm == pytest.approx(60 * (85 / 68) ** 3)


def test_the_share_follows_the_bond() -> None:
    """Loose on the backing least, hooped together more, stuck or fused most (common practice)."""

    def stiff(holding: str, text: str) -> float:
        return float(build_stack(setup(holding=holding), choice(text)).backings[0].membrane[0, 0])

    loose, hooped, clamped, stuck = (
        stiff(h, "cutaway:85") for h in ("floated", "hooped", "clamped", "adhesive")
    )
    assert loose < hooped == clamped < stuck
    table = constants("mechanics")
    assert stuck / loose == pytest.approx(table["share_bonded"].value / table["share_floated"].value)
    assert stiff("floated", "adhesive-tearaway") == stiff("hooped", "adhesive-tearaway")


def test_two_crossed_layers_are_balanced_and_twice_one() -> None:
    """Layers turned by 0 and 90 degrees are as stiff along as across; uncrossed they are not."""
    one = build_stack(setup(), choice("cutaway:85")).backings[0].membrane
    two = np.sum([layer.membrane for layer in build_stack(setup(), choice("cutaway:85x2")).backings], axis=0)
    assert two[0, 0] == pytest.approx(two[1, 1])
    assert one[0, 0] != pytest.approx(one[1, 1], rel=0.05)
    assert np.trace(two) == pytest.approx(2 * np.trace(one))


def test_a_topping_adds_a_little() -> None:
    bare, covered = (build_stack(setup("terry"), StackChoice((), name)) for name in (None, "wash-away-film"))
    assert covered.layers[-1].role == "topping"
    assert np.all(np.diag(covered.membrane) > np.diag(bare.membrane))
    assert covered.thickness_mm - bare.thickness_mm == pytest.approx(0.02)


def test_lace_lies_on_its_backing_alone() -> None:
    stack = build_stack(setup("none"), choice("wash-away-film:100"))
    assert stack.goods is None
    assert [layer.role for layer in stack.layers] == ["backing"]
    assert stack.spreads["goods_stiffness"].value == 1.0
    with pytest.raises(BadJob, match="wash-away"):
        build_stack(setup("none"), BARE)


def test_names_that_are_in_no_table_are_refused() -> None:
    with pytest.raises(UnknownBacking):
        build_stack(setup(), StackChoice((BackingChoice("cutaweg", 85.0, 1, (0.0,)),), None))
    with pytest.raises(UnknownTopping):
        build_stack(setup(), StackChoice((), "wash-away"))


def test_setup_and_stack_survive_pickling() -> None:
    """They cross processes where a whole library is looked over."""
    made = setup("terry")
    stack = build_stack(made, choice("cutaway:85x2", "wash-away-film"))
    assert pickle.loads(pickle.dumps(made)) == made
    again = pickle.loads(pickle.dumps(stack))
    assert again.spreads == stack.spreads
    assert np.array_equal(again.membrane, stack.membrane)


def test_hooping_leaves_more_tension_than_laying() -> None:
    hooped, laid = (
        build_stack(setup(holding=how), BARE).hooping_n_per_m.value for how in ("hooped", "floated")
    )
    assert hooped > laid > 0


def test_sewouts_replace_the_pull_and_the_play() -> None:
    taught = Calibration(sewouts=4, pull_n=(0.55, 0.5, 0.62))
    stack = build_stack(setup(), BARE, taught)
    assert (stack.spreads["pull_n"].value, stack.spreads["pull_n"].known) == (0.55, "measured")
    assert stack.spreads["play_mm"] == constants("mechanics")["play_mm"]
    assert build_stack(setup(), BARE).spreads["pull_n"] == constants("mechanics")["pull_n"]
    both = build_stack(setup(), BARE, Calibration(sewouts=4, play_mm=(0.1, 0.08, 0.12)))
    assert both.spreads["play_mm"].low == 0.08


@pytest.mark.parametrize("bad", [(0.5, 0.6, 0.7), (0.5, 0.4, 0.45), (0.5, 0.0, 0.6), (0.5, 0.4, math.inf)])
def test_a_calibration_out_of_order_is_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(BadJob, match="pull_n"):
        build_stack(setup(), BARE, Calibration(sewouts=1, pull_n=bad))


RATIO = st.floats(min_value=1.0, max_value=10.0)


def symmetric(middle: float, ratio: float) -> Value:
    return Value(middle, middle / ratio, middle * ratio, "guess", "made")


@settings(deadline=None)
@given(st.lists(st.tuples(RATIO, RATIO), min_size=1, max_size=4))
def test_a_product_has_the_percentiles_of_independent_log_normals(parts: list[tuple[float, float]]) -> None:
    """Variances of the logarithms add; the percentiles are scipy's."""
    score = stats.norm.ppf(0.95)
    sigma = math.sqrt(sum((math.log(ratio) / score) ** 2 for _, ratio in parts))
    found = product([symmetric(middle, ratio) for middle, ratio in parts])
    middle = math.prod(middle for middle, _ in parts)
    assert found.value == pytest.approx(middle)
    if sigma > 1e-9:
        expected = stats.lognorm.ppf([0.05, 0.95], s=sigma, scale=middle)
        assert [found.low, found.high] == pytest.approx(expected, rel=1e-6)


def test_ranges_combine_as_stated() -> None:
    """By hand: quadrature for independent factors, nothing gained by averaging what varies together."""
    narrow, wide = symmetric(1.0, 2.0), symmetric(1.0, 4.0)
    assert product([narrow, narrow]).high == pytest.approx(2.0 ** math.sqrt(2.0))
    assert geometric_mean(narrow, wide).high == pytest.approx(math.sqrt(8.0))
    assert weighted([(1.0, narrow), (3.0, narrow)]).high == pytest.approx(2.0)
    assert weighted([(1.0, narrow), (1.0, wide)]).low == pytest.approx(1 / math.sqrt(8.0))
    assert factor(symmetric(5.0, 2.0)).high == pytest.approx(2.0)


def test_the_spread_of_a_backing_joins_its_stiffness_and_its_share() -> None:
    """Cutaway 0.07/0.2/0.6 and share 0.3/0.6/1: by hand exp(-hypot(ln(.2/.07), ln 2)) = 0.284."""
    found = build_stack(setup(), choice("cutaway:85")).spreads["backing_stiffness"]
    assert found.low == pytest.approx(math.exp(-math.hypot(math.log(0.2 / 0.07), math.log(2))))
    assert found.high == pytest.approx(math.exp(math.hypot(math.log(3), math.log(1 / 0.6))))
    assert found.known == "guess"
    stuck = build_stack(setup(holding="adhesive"), choice("cutaway:85")).spreads["backing_stiffness"]
    assert stuck.high / stuck.low < found.high / found.low


def test_thread_and_needle_are_those_of_the_setup() -> None:
    job = Job(thread="viscose-40", needle="80/12")
    stack = build_stack(resolve(job, "jersey", (60, 40)), BARE)
    assert (
        stack.spreads["thread_stiffness_n"].value
        == goods.thread("viscose-40").axial_stiffness_n.value
        == 80.0
    )
    assert stack.needle.name == "80/12"


@pytest.mark.parametrize(("name", "base_mm"), [("terry", 0.5), ("plush", 0.5), ("jersey", 0.6)])
def test_pile_is_pressed_flat_by_the_thread(name: str, base_mm: float) -> None:
    """Terry of 3.5 mm with loops of 3 mm: thread goes round the base cloth only (derived)."""
    assert cloth(name).sewn_thickness_mm == pytest.approx(base_mm)
    assert goods_layer(cloth(name)).thickness_mm == pytest.approx(base_mm)
