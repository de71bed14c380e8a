"""Draws become chances: checked against the normal distribution of scipy.stats and by worked cases."""

import numpy as np
import pytest
from evidence_by_hand import design, evidence, gap, job, one_layer, response, sound_regions
from scipy.stats import norm

from analyzer.design import Thread
from analyzer.findings import judge
from analyzer.findings.gaps import (
    along_outline,
    gap_verdict,
    judge_gap,
    median_along,
    pair_tolerance_mm,
    tolerance_mm,
)
from analyzer.job import Limits


def verdict_on(looked, draws):
    return gap_verdict(judge_gap(looked, draws))


QUANTILES = norm.ppf((np.arange(400) + 0.5) / 400)


@pytest.mark.parametrize(("mean", "spread"), [(0.1, 0.15), (0.3, 0.2), (0.6, 0.3)])
def test_chance_and_limits_follow_the_normal_distribution(mean, spread):
    """A normal drift, alike all along, gives the normal's own tail and percentiles (scipy.stats)."""
    looked = evidence(job(tolerance_mm=0.5))
    verdict = verdict_on(looked, gap(0.0, mean + spread * QUANTILES))
    assert verdict.chance_bare == pytest.approx(norm.sf((0.5 - mean) / spread), abs=1 / 400)
    assert verdict.worst_mm == pytest.approx(mean, abs=0.01)
    assert verdict.low_mm == pytest.approx(mean + spread * norm.ppf(0.05), abs=0.01 * spread + 0.005)
    assert verdict.high_mm == pytest.approx(mean + spread * norm.ppf(0.95), abs=0.01 * spread + 0.005)
    assert verdict.low_mm <= verdict.worst_mm <= verdict.high_mm


def test_a_spike_at_one_point_is_not_judged_but_a_stretch_of_the_window_is():
    looked = evidence(job(tolerance_mm=0.5))
    spike = np.zeros(160)
    spike[40] = 1.0
    assert verdict_on(looked, gap(spike, np.zeros(20))).chance_bare == 0.0
    stretch = np.zeros(160)
    stretch[40:46] = 0.6
    verdict = verdict_on(looked, gap(0.0, np.tile(stretch, (20, 1))))
    assert verdict.chance_bare == 1.0
    assert verdict.worst_mm == pytest.approx(0.6)
    assert 0.5 <= verdict.over_limit_mm_of_length <= 3.0


def test_a_corner_that_the_file_leaves_open_is_not_charged_to_the_stack():
    """Three millimetres of outline stand 0.9 mm off at a corner; elsewhere the file leaves nothing."""
    looked = evidence(job(tolerance_mm=0.3))
    corner = np.zeros(160)
    corner[40:46] = [0.2, 0.5, 0.9, 0.9, 0.5, 0.2]
    assert verdict_on(looked, gap(corner, np.full(20, 0.1))).chance_bare == 0.0
    assert verdict_on(looked, gap(np.full(160, 0.25), np.full(20, 0.1))).chance_bare == 1.0
    assert median_along(corner, gap(0.0, np.zeros(2)).at, 0.5, 20.0).max() == 0.0


def test_both_sides_are_kept_apart():
    """Bare cloth on one half of the outline and overlap on the other: each finding measures its own."""
    drift = np.zeros((20, 160))
    drift[:, :80], drift[:, 80:] = 1.5, -1.2
    found = judge(evidence(response=response(gaps=(gap(0.0, drift),))))
    measured = {item.name: item.measured for item in found.items}
    assert measured["outline-gap"] == pytest.approx(1.5)
    assert measured["outline-overlap"] == pytest.approx(-1.2)


def test_smoothing_wraps_round_a_closed_outline_and_does_not_mix_stretches():
    closed = gap(0.0, np.zeros(2))
    values = np.zeros(160)
    values[0] = 1.0
    smooth = along_outline(values, closed.at, 0.5, 2.0)
    assert smooth.sum() == pytest.approx(1.0)
    assert smooth[-1] > 0
    two = np.column_stack([np.r_[np.arange(20) * 0.5, 100 + np.arange(20) * 0.5], np.zeros(40)])
    step = np.r_[np.zeros(20), np.ones(20)]
    np.testing.assert_array_equal(along_outline(step, two, 0.5, 2.0), step)


def test_a_gap_that_the_file_means_is_not_the_stacks_fault():
    looked = evidence(job(tolerance_mm=0.5))
    still = verdict_on(looked, gap(1.0, np.zeros(20)))
    assert (still.chance_bare, still.worst_mm) == (0.0, pytest.approx(1.0))
    moved = verdict_on(looked, gap(1.0, np.full(20, 0.7)))
    assert moved.chance_bare == 1.0
    assert verdict_on(looked, gap(0.4, np.full(20, 0.2))).chance_bare == 1.0


def test_an_overlap_that_the_file_means_is_not_counted_and_one_that_grows_is():
    looked = evidence()
    limit = looked.limit("gap_overlap_mm")
    assert verdict_on(looked, gap(-1.0, np.zeros(20))).chance_overlap == 0.0
    grown = verdict_on(looked, gap(-1.0, np.full(20, -limit - 0.1)))
    assert grown.chance_overlap == 1.0
    assert grown.worst_mm == pytest.approx(-1.1 - limit)


def test_the_worst_side_is_the_one_nearer_to_its_own_limit():
    drift = np.zeros((20, 160))
    drift[:, :80], drift[:, 80:] = 0.4, -0.5
    verdict = verdict_on(evidence(job(tolerance_mm=0.5)), gap(0.0, drift))
    assert verdict.worst_mm == pytest.approx(0.4)


def test_tolerance_by_cloth_outline_and_user():
    """Common practice, no source: 0.3 mm thin and contrasting, 0.5 ordinary, 0.8 on pile."""
    assert pair_tolerance_mm(evidence(), 3, 2) == 0.3
    assert tolerance_mm(evidence()) == 0.5
    assert pair_tolerance_mm(evidence(job("terry")), 3, 2) == 0.8
    assert pair_tolerance_mm(evidence(job(tolerance_mm=0.4)), 3, 2) == 0.4
    alike = design(threads=(Thread(rgb="#103a6b"), Thread(rgb="#103a6b")))
    assert pair_tolerance_mm(evidence(design=alike), 3, 2) == 0.5
    silent = design(threads=(Thread(), Thread()))
    assert pair_tolerance_mm(evidence(design=silent), 3, 2) == 0.3
    assert pair_tolerance_mm(evidence(job("none"), one_layer("wash-away-film", 100.0)), 3, 2) == 1.0
    own = job(limits=Limits(values=(("gap_bare_thin_mm", 0.2),)))
    assert pair_tolerance_mm(evidence(own), 3, 2) == 0.2


def test_silencing_leaves_a_finding_out_but_not_its_chance():
    drift = gap(0.0, np.full(40, 0.9))
    loud = judge(evidence(response=response(gaps=(drift,))))
    quiet = judge(evidence(job(limits=Limits(silenced=("outline-gap",))), response=response(gaps=(drift,))))
    assert "outline-gap" in {item.name for item in loud.items}
    assert "outline-gap" not in {item.name for item in quiet.items}
    assert loud.chance_of_missing == quiet.chance_of_missing == 1.0
    assert loud.decided_by == quiet.decided_by == "outline-gap"


def test_pucker_chance_is_the_share_of_draws_over_its_limit():
    waves = np.r_[np.full(30, 0.2), np.full(10, 2.5)]
    found = judge(evidence(response=response(pucker_mm=waves)))
    assert found.pucker.chance == 0.25
    assert (found.chance_of_missing, found.decided_by) == (0.25, "edge-pucker")
    assert found.pucker.low_mm == pytest.approx(0.2)
    assert found.pucker.high_mm == pytest.approx(2.5)


def test_without_a_response_nothing_is_predicted():
    found = judge(evidence(response=None, stack=None, choice=None))
    assert (found.gaps, found.chance_of_missing, found.decided_by) == ((), 0.0, "")
    assert all(item.chance is None for item in found.items)


def test_regions_of_the_sound_evidence_hold_every_stitch():
    made = design()
    assert len(sound_regions(len(made.penetrations)).region_of) == len(made.penetrations)
