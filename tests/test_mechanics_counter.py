"""The countered copy: stitches moved so that, sewn, they end where the file means them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from disc_by_hand import CUTAWAY, HOOP, JERSEY, TEARAWAY, TWILL, disc, stack
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.design import Command, Design
from analyzer.mechanics import PASSES, counter, moved_design, prepare
from analyzer.mechanics.counter import within_limits
from analyzer.mechanics.respond import sew_nominal
from analyzer.mechanics.wanted import gap_shift

SHORTEST_MM, LONGEST_MM = 0.3, 12.1


@pytest.fixture(scope="module")
def last():
    return prepare(*disc("last"), HOOP)


@pytest.mark.parametrize("backings", [(CUTAWAY,), (CUTAWAY, CUTAWAY), (TEARAWAY,)])
def test_backed_cloth_is_countered_in_a_pass_or_two(last, backings):
    """An earlier program of the same law, written apart: one pass, 0.04 mm, on any backed case."""
    moves = counter(last, stack(TWILL, *backings, pull_n=0.65))
    assert moves.reason == ""
    assert moves.passes <= 2
    assert moves.before.gap_mm > 0.1
    assert moves.after.gap_mm < 0.05
    assert moves.after.place_mm < 0.05
    assert moves.after.gap_mm <= moves.rounded.gap_mm < moves.before.gap_mm


def test_what_is_countered_is_what_the_response_says(last):
    """The gap before is the one that the response gives, which takes drift between the stitches."""
    one = stack(TWILL, CUTAWAY, pull_n=0.65)
    states, forming, _ = sew_nominal(last, one)
    shift = gap_shift(last.full, states, last.design, last.regions.pairs[0], forming)[0]
    assert counter(last, one).before.gap_mm == pytest.approx(np.abs(shift).max(), rel=0.1)


def sewn_gap(sewing, moves, one):
    """Sew the moved stitches on ``one`` and return the gap's change at each station: move plus drift."""
    moved = prepare(moved_design(sewing.design, moves.shift_mm), sewing.regions, sewing.hoop)
    states, forming, _ = sew_nominal(moved, one)
    pair = sewing.regions.pairs[0]
    move = moves.shift_mm[pair.outline_stitch] - moves.shift_mm[pair.edge_stitch]
    drifted = gap_shift(moved.full, states, moved.design, pair, forming)[0]
    return np.einsum("ki,ki->k", move, pair.normal) + drifted


@pytest.mark.parametrize("factor", [0.7, 1.0, 1.3])
def test_of_the_gap_is_left_what_the_pull_differs_by(last, factor):
    """Derived: drift is linear in the pull F, so |1 - F_true/F_model| of the gap is left."""
    model, true = (stack(TWILL, CUTAWAY, pull_n=0.65 * by) for by in (1.0, factor))
    moves = counter(last, model)
    left = np.abs(sewn_gap(last, moves, true)).max()
    assert left == pytest.approx(abs(1.0 - factor) * moves.before.gap_mm, abs=0.05)


def test_a_copy_countered_for_one_backing_is_wrong_on_another(last):
    """Negative control: the moves belong to their stack."""
    moves = counter(last, stack(TWILL, TEARAWAY, pull_n=0.65))
    wrong = np.abs(sewn_gap(last, moves, stack(TWILL, CUTAWAY, CUTAWAY, pull_n=0.65))).max()
    assert wrong > 0.1


def test_cloth_beyond_the_range_is_not_countered(last):
    moves = counter(last, stack(JERSEY))
    assert moves.reason == "beyond-range"
    assert moves.passes == 0
    assert not moves.shift_mm.any()
    assert moves.after == moves.before


@settings(max_examples=6, deadline=None)
@given(
    radius=st.floats(6.0, 18.0),
    spacing=st.floats(0.35, 0.8),
    length=st.floats(2.5, 4.5),
    order=st.sampled_from(["first", "last"]),
    pull=st.floats(0.3, 1.0),
)
def test_a_copy_never_misses_by_more_and_keeps_to_what_machines_sew(radius, spacing, length, order, pull):
    sewing = prepare(*disc(order, radius, spacing, length), HOOP)
    moves = counter(sewing, stack(TWILL, CUTAWAY, pull_n=pull))
    assert moves.after.worst_mm <= moves.before.worst_mm
    assert moves.after.worst_mm <= 0.05 or moves.reason
    assert moves.passes <= PASSES
    before, after = sewing.design.lengths_mm, moved_design(sewing.design, moves.shift_mm).lengths_mm
    assert (after >= np.minimum(before, SHORTEST_MM) - 1e-6).all()
    assert (after <= np.maximum(before, LONGEST_MM) + 1e-6).all()


def crowding(points: np.ndarray) -> float:
    """Penetrations in the fullest of cells of 3 by 3 mm, but for one in a hundred."""
    edges = np.arange(-24.0, 24.1, 3.0)
    return float(np.percentile(np.histogram2d(*points.T, bins=(edges, edges))[0], 99))


def test_a_copy_is_no_denser_than_its_original(last):
    """Countering spreads what the cloth would draw together; the needle crowds nowhere more."""
    moves = counter(last, stack(TWILL, CUTAWAY, pull_n=1.0))
    copy = moved_design(last.design, moves.shift_mm).penetrations
    assert np.ptp(copy[:, 0]) > np.ptp(last.design.penetrations[:, 0])
    assert crowding(copy) <= 1.05 * crowding(last.design.penetrations)
    assert crowding(0.9 * copy) > 1.05 * crowding(last.design.penetrations)  # negative control


def row(*x: float) -> Design:
    points = np.column_stack([x, np.zeros(len(x))])
    return Design.from_commands(points, np.full(len(x), Command.STITCH, dtype=np.uint8))


def test_a_stitch_that_would_get_too_short_keeps_its_length():
    """By hand: penetrations 1 and 2 want to meet; they keep 0.4 mm between them and move by their mean."""
    design = row(0.0, 3.0, 3.4, 6.0)
    wanted = np.array([[0.0, 0.0], [0.1, 0.0], [-0.1, 0.0], [0.0, 0.0]])
    moved, held = within_limits(design, wanted, np.zeros(4, dtype=bool))
    assert held.tolist() == [False, False, True, False]
    assert moved == pytest.approx(np.zeros((4, 2)))
    free, none = within_limits(design, 0.2 * wanted, np.zeros(4, dtype=bool))
    assert not none.any()
    assert free == pytest.approx(0.2 * wanted)


def test_a_stitch_that_would_get_too_long_keeps_its_length_and_a_longer_one_stays():
    design = row(0.0, 12.0, 25.0)
    wanted = np.array([[-0.1, 0.0], [0.1, 0.0], [0.3, 0.0]])
    moved, held = within_limits(design, wanted, np.zeros(3, dtype=bool))
    assert held.tolist() == [False, True, True]
    assert moved == pytest.approx(np.full((3, 2), (0.1, 0.0)))


def test_a_row_of_held_stitches_moves_as_one():
    design = row(0.0, 0.2, 0.4, 0.6)
    wanted = np.column_stack([np.linspace(0.3, 0.0, 4), np.zeros(4)])
    moved, held = within_limits(design, wanted, np.zeros(4, dtype=bool))
    assert held.tolist() == [False, True, True, True]
    assert moved[:, 0] == pytest.approx(np.full(4, 0.15))


def test_short_stitches_hold_a_copy_back_and_it_says_so(last):
    """A run of 0.3 mm stitches along the pull cannot be brought closer than machines sew."""
    x = np.arange(-15.0, 15.0, 0.3)
    points = np.concatenate([last.design.penetrations, np.column_stack([x, np.full(x.size, 25.0)])])
    kinds = np.full(len(points), Command.STITCH, dtype=np.uint8)
    design, regions = Design.from_commands(points, kinds), last.regions
    item = dataclasses.replace(
        regions.items[1], id=2, first=len(last.design.penetrations), last=len(points) - 1, outline_of=()
    )
    regions = dataclasses.replace(
        regions,
        items=(*regions.items, item),
        region_of=np.concatenate([regions.region_of, np.full(x.size, 2, dtype=np.int32)]),
    )
    moves = counter(prepare(design, regions, HOOP), stack(TWILL, CUTAWAY, pull_n=0.65))
    assert moves.held > 0
    after = moved_design(design, moves.shift_mm).lengths_mm[item.first + 1 :]
    assert after.min() >= 0.3 - 1e-6


def test_jumps_go_with_what_they_lead_to_and_cuts_with_what_was_sewn():
    kinds = [Command.STITCH, Command.STITCH, Command.TRIM, Command.JUMP, Command.STITCH]
    points = np.array([[0, 0], [3, 0], [3, 0], [9, 0], [9, 0]], dtype=float)
    design = Design.from_commands(points, np.array(kinds, dtype=np.uint8))
    moved = moved_design(design, np.array([[0.1, 0.0], [0.2, 0.0], [0.3, 0.1]]))
    assert moved.points[:, 0] == pytest.approx([0.1, 3.2, 3.2, 9.3, 9.3])
    assert moved.points[:, 1] == pytest.approx([0.0, 0.0, 0.0, 0.1, 0.1])
    assert np.array_equal(moved.joined, design.joined)
