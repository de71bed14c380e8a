"""Draws: even, common to all stacks, repeatable; values with the stated percentiles."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analyzer.errors import BadJob, BadTable
from analyzer.goods import PARAMETERS, Draws, Value, draw, values


def spread(low: float, value: float, high: float) -> Value:
    return Value(value, low, high, "guess", "made for the test")


@st.composite
def spreads(draw_: st.DrawFn) -> Value:
    ends = st.floats(min_value=1.0, max_value=20.0)
    middle = draw_(st.floats(min_value=1e-3, max_value=1e3))
    return spread(middle / draw_(ends), middle, middle * draw_(ends))


@settings(deadline=None)
@given(spreads())
def test_low_value_and_high_are_the_5_50_and_95_percent_points(wanted: Value) -> None:
    """The scores are scipy's own normal percentiles."""
    at = Draws(seed=0, count=3, scores={"pull_n": stats.norm.ppf([0.05, 0.5, 0.95])})
    assert values(at, "pull_n", wanted) == pytest.approx([wanted.low, wanted.value, wanted.high], rel=1e-9)


@settings(deadline=None)
@given(st.floats(min_value=1.0, max_value=20.0), st.floats(min_value=0.001, max_value=0.999))
def test_a_symmetric_spread_is_the_log_normal_of_scipy(ratio: float, share: float) -> None:
    at = Draws(seed=0, count=1, scores={"pull_n": stats.norm.ppf([share])})
    sigma = np.log(ratio) / stats.norm.ppf(0.95)
    expected = stats.lognorm.ppf(share, s=sigma, scale=2.0) if sigma > 0 else 2.0
    assert values(at, "pull_n", spread(2.0 / ratio, 2.0, 2.0 * ratio))[0] == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("name", PARAMETERS)
def test_drawn_values_have_the_percentiles_of_their_spread(name: str) -> None:
    wanted = spread(0.2, 1.0, 3.0)
    found = np.percentile(values(draw(4000, 7), name, wanted), [5, 50, 95])
    assert found == pytest.approx([0.2, 1.0, 3.0], rel=0.01)
    assert found != pytest.approx([0.25, 1.0, 3.0], rel=0.01)


def test_scores_are_standard_normal_and_do_not_hang_together() -> None:
    scores = np.array([draw(2000, 3).scores[name] for name in PARAMETERS])
    for row in scores:
        assert stats.kstest(row, "norm").pvalue > 0.5
    between = np.corrcoef(scores) - np.eye(len(PARAMETERS))
    assert np.abs(between).max() < 4 / np.sqrt(2000)
    assert stats.kstest(scores[0] * 1.1, "norm").pvalue < 0.5


@settings(deadline=None)
@given(st.integers(min_value=1, max_value=60), st.integers(min_value=0, max_value=2**32))
def test_the_same_seed_gives_the_same_scores_bit_for_bit(count: int, seed: int) -> None:
    first, again, other = draw(count, seed), draw(count, seed), draw(count, seed + 1)
    assert tuple(first.scores) == PARAMETERS
    for name in PARAMETERS:
        assert first.scores[name].shape == (count,)
        assert np.array_equal(first.scores[name], again.scores[name])
        assert not np.array_equal(first.scores[name], other.scores[name])
        assert not first.scores[name].flags.writeable


def test_every_layer_of_the_hypercube_is_hit_once() -> None:
    """McKay, Beckman & Conover 1979: one point in each of n equal shares of every parameter."""
    shares = np.floor(stats.norm.cdf(draw(50, 1).scores["play_mm"]) * 50).astype(int)
    assert sorted(shares) == list(range(50))


def test_a_one_sided_spread_stays_on_its_side() -> None:
    found = values(draw(1000, 0), "lock_share", spread(0.2, 1.0, 1.0))
    assert found.max() == 1.0
    assert np.percentile(found, 5) == pytest.approx(0.2, rel=0.05)


@pytest.mark.parametrize(("count", "seed"), [(0, 0), (-1, 0), (10, -1)])
def test_impossible_draws_are_refused(count: int, seed: int) -> None:
    with pytest.raises(BadJob):
        draw(count, seed)


def test_a_spread_that_reaches_zero_is_refused() -> None:
    with pytest.raises(BadTable, match="play_mm"):
        values(draw(3, 0), "play_mm", spread(0.0, 1.0, 2.0))
