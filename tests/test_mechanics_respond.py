"""A whole design on a whole stack: sequence, drift, gaps, draws."""

from dataclasses import replace

import numpy as np
import pytest
from disc_by_hand import CUTAWAY, HOOP, JERSEY, TEARAWAY, TWILL, disc, stack
from threadpoolctl import threadpool_info

from analyzer.errors import BadJob
from analyzer.goods import draw, values
from analyzer.laid import Grid
from analyzer.mechanics import prepare, respond, scan, sewing
from analyzer.mechanics.respond import make_variants
from analyzer.mechanics.sequence import sew
from analyzer.mechanics.sheets import cover
from analyzer.mechanics.surface import plan_runs
from analyzer.mechanics.wanted import gap_shift

DRAWS = draw(60, 1)


@pytest.fixture(scope="module")
def last():
    return prepare(*disc("last"), HOOP)


@pytest.fixture(scope="module")
def answers(last):
    stacks = {
        "jersey, tearaway": stack(JERSEY, TEARAWAY),
        "jersey, cutaway": stack(JERSEY, CUTAWAY),
        "jersey, two cutaways": stack(JERSEY, CUTAWAY, CUTAWAY),
        "twill": stack(TWILL),
        "twill, cutaway": stack(TWILL, CUTAWAY),
    }
    return {name: respond(last, one, DRAWS) for name, one in stacks.items()}


@pytest.mark.parametrize(
    ("name", "whole", "mean", "worst", "close"),
    [
        ("jersey, tearaway", 2.5, 0.27, 0.63, 0.55),
        ("jersey, cutaway", 1.06, 0.16, 0.33, 0.25),
        ("jersey, two cutaways", 0.63, 0.11, 0.23, 0.25),
        ("twill", 1.76, 0.35, 0.78, 0.45),
        ("twill, cutaway", 0.69, 0.13, 0.25, 0.25),
    ],
)
def test_magnitudes_of_an_independent_program(answers, name, whole, mean, worst, close):
    """Disc of 40 mm, rows at 0.4 mm, hoop of 100 mm, F = 1 N, mm: an earlier program, written apart.

    Its law of one stitch was an earlier one, which pulled a third less on soft stacks.
    """
    shift = answers[name].gaps[0].nominal_mm
    assert answers[name].pull_in.max_mm == pytest.approx(whole, rel=close)
    assert np.abs(shift).mean() == pytest.approx(mean, rel=close)
    assert shift.max() == pytest.approx(worst, rel=close)


def test_gaps_follow_the_backing(answers):
    """Any stabilizer reduces shrinkage (koreascience JAKO201928862524018, abstract)."""
    worst = {name: answer.gaps[0].nominal_mm.max() for name, answer in answers.items()}
    assert worst["jersey, two cutaways"] < worst["jersey, cutaway"] < worst["jersey, tearaway"]
    assert worst["twill, cutaway"] < worst["twill"]


def test_an_outline_sewn_last_leaves_bare_cloth_at_the_row_ends(answers):
    gap = answers["jersey, cutaway"].gaps[0]
    at_ends = np.abs(gap.normal[:, 0]) > 0.95
    assert gap.nominal_mm[at_ends].min() > 0.1


def test_a_fill_sewn_after_its_outline_leaves_no_bare_cloth_at_the_row_ends():
    """The outline rides inwards with all of the pull, the fill's edge only with what comes after each row."""
    answer = respond(prepare(*disc("first"), HOOP), stack(JERSEY, CUTAWAY), DRAWS)
    gap = answer.gaps[0]
    at_ends = np.abs(gap.normal[:, 0]) > 0.95
    assert gap.nominal_mm[at_ends].max() < 0.05
    assert gap.nominal_mm[at_ends].min() > -answer.pull_in.max_mm


def test_displacement_is_linear_in_the_pull(last, answers):
    half = respond(last, stack(JERSEY, CUTAWAY, pull_n=0.5), DRAWS, detail="screen")
    full = respond(last, stack(JERSEY, CUTAWAY, pull_n=1.0), DRAWS, detail="screen")
    assert 2.0 * half.displacement == pytest.approx(full.displacement, abs=1e-9)
    assert 2.0 * half.gaps[0].draws_mm == pytest.approx(full.gaps[0].draws_mm, abs=1e-9)


def test_same_input_same_output_bit_for_bit(last, answers):
    again = respond(prepare(*disc("last"), HOOP), stack(JERSEY, CUTAWAY), DRAWS)
    first = answers["jersey, cutaway"]
    assert (again.displacement == first.displacement).all()
    assert (again.gaps[0].draws_mm == first.gaps[0].draws_mm).all()
    assert (again.pucker.draws_mm == first.pucker.draws_mm).all()


@pytest.mark.parametrize("backings", [(), (TEARAWAY,), (CUTAWAY,)])
def test_the_surface_gives_what_sewing_each_draw_gives(last, backings):
    """24 draws of all parameters at once, each sewn by itself on the same grid and blocks."""
    one = stack(TWILL, *backings)
    some = draw(24, 5)
    names = ("goods_stiffness", "backing_stiffness", "thread_stiffness_n", "lock_share", "perforation")
    factors = {name: values(some, name, one.spreads[name]) / one.spreads[name].value for name in names}
    sewn = sew(last.spread, last.stitches, make_variants(one, factors, 24), tolerance=1e-5)
    exact = gap_shift(last.spread, sewn.states, last.design, last.regions.pairs[0], sewn.forming)
    exact *= values(some, "pull_n", one.spreads["pull_n"])[:, None]
    same_blocks = replace(last, screen=last.spread)
    drawn = respond(same_blocks, one, some, detail="screen").gaps[0].draws_mm
    error = np.sqrt(np.mean((drawn - exact) ** 2, axis=1) / np.mean(exact**2, axis=1))
    assert np.median(error) < 0.05
    assert np.percentile(error, 90) < 0.15
    nominal_for_all = np.sqrt(np.mean((drawn.mean(axis=0) - exact) ** 2, axis=1) / np.mean(exact**2, axis=1))
    assert np.median(nominal_for_all) > 3 * np.median(error)  # negative control: the draws do differ


def test_gaps_settle_as_blocks_grow_finer(monkeypatch):
    """From 8 blocks for a disc to 16 the mean gap changes by less than 5 %; one block is farther off."""
    mean = {}
    for blocks in (1, 8, 16):
        monkeypatch.setattr(sewing, "FULL_STEP_MM", 40.0 / blocks)
        laid = prepare(*disc("last"), HOOP)
        sewn = sew(laid.full, laid.stitches, make_variants(stack(JERSEY, CUTAWAY), {}, 1), tolerance=1e-3)
        shift = gap_shift(laid.full, sewn.states, laid.design, laid.regions.pairs[0], sewn.forming)
        mean[blocks] = float(np.abs(shift).mean())
    assert mean[8] == pytest.approx(mean[16], rel=0.05)
    assert abs(mean[1] - mean[16]) > 2.0 * abs(mean[8] - mean[16])


def test_bare_knit_is_beyond_range_and_backed_twill_is_not(last):
    assert respond(last, stack(JERSEY), DRAWS, detail="screen").pull_in.beyond_range
    assert not respond(last, stack(TWILL, CUTAWAY, pull_n=0.65), DRAWS, detail="screen").pull_in.beyond_range


def test_backing_keeps_the_cloth_flatter(last):
    bare = respond(last, stack(TWILL, pull_n=0.65), DRAWS, detail="screen").pucker
    backed = respond(last, stack(TWILL, CUTAWAY, CUTAWAY, pull_n=0.65), DRAWS, detail="screen").pucker
    assert backed.nominal_mm < bare.nominal_mm
    assert (bare.draws_mm >= 0).all()
    assert np.hypot(*bare.at) == pytest.approx(22.0, abs=6.0)  # beside the disc's edge


def test_progress_rises_to_one(last):
    seen = []
    respond(last, stack(TWILL), DRAWS, detail="screen", progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1.0)


def test_a_design_that_only_jumps_is_refused():
    design, regions = disc("last")
    floating = replace(design, joined=np.zeros_like(design.joined))
    with pytest.raises(BadJob, match="no stitch"):
        prepare(floating, regions, HOOP)


def test_loose_threads_do_not_pull():
    """A thread left by a jump, and one longer than any machine sews, float over the cloth."""
    design, _ = disc("last")
    jumped = design.jumped.copy()
    jumped[10] = True
    assert design.lengths_mm[10] > 2.0
    assert sewing.loading(design)[10]
    assert not sewing.loading(replace(design, jumped=jumped))[10]


def test_a_piece_of_cloth_stiffens_only_where_it_lies() -> None:
    """Derived: the share of a cell under a rectangle is the product of its overlaps along x and y."""
    grid = Grid(x0_mm=-10.0, y0_mm=-10.0, nx=20, ny=20, cell_mm=1.0)
    share = cover(grid, (4.0, 6.0), (3.5, -2.0)).reshape(20, 20)
    assert share.sum() == pytest.approx(4.0 * 6.0)
    rows, columns = np.nonzero(share)
    assert (columns.min() - 10, columns.max() - 9) == (1, 6)
    assert (rows.min() - 10, rows.max() - 9) == (-5, 1)
    assert share[10, 11] == pytest.approx(0.5)
    assert cover(grid, (4.0, 6.0)).reshape(20, 20)[::-1, ::-1] == pytest.approx(
        cover(grid, (4.0, 6.0)).reshape(20, 20)
    )


@pytest.mark.parametrize("backings", [(CUTAWAY,), (TEARAWAY,)])
def test_what_a_finer_grid_adds_is_much_alike_on_other_goods(last, backings):
    """Derived: both answers differ only by the grid, and must agree far better than the draws spread."""
    other = stack(JERSEY, *backings)
    fine = respond(last, other, DRAWS, detail="screen")
    first, coarse = scanned(last, [stack(TWILL, CUTAWAY), other], DRAWS)
    assert (first.solves, coarse.solves) == (_runs(stack(TWILL, CUTAWAY), axes_only=True) + 1, 1)
    low, high = np.percentile(fine.gaps[0].draws_mm, (5, 95), axis=0)
    off = np.abs(coarse.gaps[0].nominal_mm - fine.gaps[0].nominal_mm)
    assert off.max() < 0.25 * (high - low).max()
    assert coarse.pull_in.strain_p95 == pytest.approx(fine.pull_in.strain_p95, rel=0.3)
    assert coarse.pucker.nominal_mm == pytest.approx(fine.pucker.nominal_mm, rel=0.05)


def test_stacks_sewn_together_move_as_each_does_alone(last):
    """Derived: the members of a batch do not know of each other, whatever layers and sheets they have."""
    stacks = [stack(TWILL, CUTAWAY), stack(JERSEY), stack(JERSEY, TEARAWAY, CUTAWAY)]
    together = scanned(last, stacks, DRAWS)
    for one, member in zip(stacks[1:], together[1:], strict=True):
        _, alone = scanned(last, [stacks[0], one], DRAWS)
        assert member.gaps[0].nominal_mm == pytest.approx(alone.gaps[0].nominal_mm, abs=0.01)
        assert member.pucker.nominal_mm == pytest.approx(alone.pucker.nominal_mm, rel=0.03)
        assert member.unhooped.moved_mm == pytest.approx(alone.unhooped.moved_mm, rel=0.03)


def test_a_scan_spreads_as_a_screen_does(last):
    """Derived: left out are corners of the surface and the needle's damage; solves end a little sooner."""
    (quick,) = scanned(last, [stack(JERSEY, CUTAWAY)], DRAWS)
    slow = respond(last, stack(JERSEY, CUTAWAY), DRAWS, detail="screen")
    at = int(np.abs(slow.gaps[0].nominal_mm - slow.gaps[0].meant_mm).argmax())
    assert quick.gaps[0].nominal_mm == pytest.approx(slow.gaps[0].nominal_mm, abs=0.01)
    ends = [np.percentile(one.gaps[0].draws_mm[:, at], (5, 95)) for one in (quick, slow)]
    assert ends[0] == pytest.approx(ends[1], abs=0.1 * np.ptp(ends[1]))


def scanned(*arguments):
    return [one.response() for one in scan(*arguments)[0]]


def test_a_later_scan_goes_by_the_lead_of_an_earlier_one(last):
    """Derived: sewn beside the first stack or after it, a stack is the same."""
    first, other = stack(TWILL, CUTAWAY), stack(JERSEY, CUTAWAY)
    (_, beside), lead = scan(last, [first, other], DRAWS)
    (after,), same = scan(last, [other], DRAWS, lead)
    assert same is lead
    assert after.drawn == pytest.approx(beside.drawn, abs=0.02)
    assert after.beyond_range == beside.beyond_range == after.response().pull_in.beyond_range


def _runs(one, **how):
    return plan_runs(one, **how).runs


def test_sewing_keeps_linear_algebra_to_one_thread_and_gives_it_back(last):
    """Held to what threadpoolctl tells; on a busy machine threads for small matrices wait for each other."""
    before, seen = _threads(), []
    one = make_variants(stack(TWILL, CUTAWAY), {}, 1)
    sew(last.spread, last.stitches, one, tolerance=0.1, progress=lambda _: seen.append(_threads()))
    assert {count for counts in seen for count in counts} == {1}
    assert _threads() == before


def _threads():
    return [one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"]
