"""The network of threads that holds a free-standing piece together."""

import numpy as np
import pytest
import shapely
from cloth_shapes import WIDTH_MM, rows, sewn, square
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.cloth import measure
from analyzer.cloth.lace import lace, network


def segments(*ends) -> tuple[np.ndarray, np.ndarray]:
    table = np.array(ends, dtype=float)
    return table[:, :2], table[:, 2:]


def test_two_threads_that_cross_are_one_piece_and_two_that_do_not_are_two():
    assert lace(*segments((0, 0, 4, 4), (0, 4, 4, 0))).pieces == 1
    apart = lace(*segments((0, 0, 4, 0), (0, 1, 2, 1)))
    assert (apart.pieces, apart.crossings) == (2, 0)
    assert apart.largest_share == pytest.approx(4 / 6)
    assert apart.loose_at == ((1.0, 1.0),)


def test_threads_that_share_a_hole_hold_each_other_without_crossing():
    found = lace(*segments((0, 0, 4, 0), (4, 0, 4, 5)))
    assert (found.pieces, found.crossings) == (1, 0)


def test_a_thread_that_ends_on_another_crosses_it():
    assert network(*segments((0, 0, 4, 0), (2, 0, 2, 3))).crossings.tolist() == [[0, 1]]


def test_threads_along_one_line_do_not_cross():
    assert lace(*segments((0, 0, 4, 0), (1, 0, 3, 0))).crossings == 0


def test_a_mesh_has_a_crossing_at_every_knot():
    """7 by 5 long threads: 35 crossings, one piece; derived."""
    y, x = np.arange(5.0), np.arange(7.0)
    across = [(-1, v, 8, v) for v in y]
    along = [(v, -1, v, 6) for v in x]
    found = lace(*segments(*across, *along))
    assert (found.pieces, found.crossings) == (1, 35)


number = st.integers(0, 300).map(lambda v: v / 10 + 0.0123 * (v % 7))


@given(st.lists(st.tuples(number, number, number, number), min_size=2, max_size=25, unique=True))
@settings(max_examples=80, deadline=None)
def test_crossings_are_those_that_shapely_finds(ends):
    """GEOS' crosses predicate; pairs that only touch are left out of the comparison."""
    a, b = segments(*ends)
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    found = {tuple(pair) for pair in network(a, b).crossings.tolist()}
    for i in range(len(lines)):
        for j in range(i + 1, len(lines)):
            if shapely.crosses(lines[i], lines[j]):
                assert (i, j) in found
            elif shapely.distance(lines[i], lines[j]) > 1e-6:
                assert (i, j) not in found


def test_crossings_do_not_depend_on_how_many_pairs_are_compared_at_a_time(monkeypatch):
    ends = np.random.default_rng(1).uniform(0, 12, (120, 4))
    whole = network(ends[:, :2], ends[:, 2:]).crossings
    monkeypatch.setattr("analyzer.cloth.lace._MOST_PAIRS", 50)
    assert (network(ends[:, :2], ends[:, 2:]).crossings == whole).all()
    assert len(whole) > 100


def test_rows_of_a_fill_hang_together_by_one_thread_only():
    part = rows(square(10))
    cover = measure(*sewn(part), thread_width_mm=WIDTH_MM)
    assert (cover.lace.pieces, cover.lace.crossings) == (1, 0)
    cut = measure(*sewn(part[:200], part[200:]), thread_width_mm=WIDTH_MM) if len(part) > 250 else None
    assert cut is None or cut.lace.pieces == 2


def test_no_threads_no_network():
    found = lace(np.zeros((0, 2)), np.zeros((0, 2)))
    assert (found.pieces, found.crossings, found.largest_share, found.loose_at) == (0, 0, 0.0, ())
