"""Clipping of threads against a grid, checked against shapely's intersections."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.laid import Grid, clip

GRID = Grid(x0_mm=-2.0, y0_mm=1.0, cell_mm=0.7, nx=9, ny=6)
X0, X1, Y0, Y1 = GRID.extent_mm

coordinate = st.floats(-4.0, 8.0, allow_nan=False).map(lambda v: v + 0.01234567)
segment = st.tuples(coordinate, coordinate, coordinate, coordinate)


def by_shapely(a: np.ndarray, b: np.ndarray, grid: Grid) -> np.ndarray:
    """Return thread length in each cell as shapely (GEOS) intersects segments with boxes; (ny, nx)."""
    x = grid.x0_mm + grid.cell_mm * np.arange(grid.nx + 1)
    y = grid.y0_mm + grid.cell_mm * np.arange(grid.ny + 1)
    boxes = shapely.box(x[None, :-1], y[:-1, None], x[None, 1:], y[1:, None])
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    return shapely.length(shapely.intersection(boxes[..., None], lines)).sum(axis=-1)


@given(st.lists(segment, min_size=1, max_size=12))
@settings(max_examples=150, deadline=None)
def test_length_in_every_cell_is_that_of_shapelys_intersection(segments):
    ends = np.array(segments)
    a, b = ends[:, :2], ends[:, 2:]
    assert clip(a, b, GRID).total(GRID) == pytest.approx(by_shapely(a, b, GRID), abs=1e-9)


def test_sampling_along_the_thread_would_fail_that_comparison():
    """Negative control: the usual short cut, points spread along the thread, misses by far more."""
    a, b = np.array([[-1.9, 1.1]]), np.array([[4.0, 5.0]])
    at = a + (np.arange(100) + 0.5)[:, None] / 100 * (b - a)
    cell = np.floor((at - (X0, Y0)) / GRID.cell_mm).astype(int)
    sampled = np.zeros(GRID.shape)
    np.add.at(sampled, (cell[:, 1], cell[:, 0]), np.hypot(*(b - a)[0]) / 100)
    assert np.abs(sampled - by_shapely(a, b, GRID)).max() > 1e-3


lattice = st.integers(-40, 80).map(lambda v: v / 10)


@given(st.lists(st.tuples(lattice, lattice, lattice, lattice), min_size=1, max_size=20))
@settings(max_examples=150, deadline=None)
def test_lengths_of_a_stitch_sum_to_what_lies_inside_the_grid(segments):
    """Points on a lattice with grid lines on it: every length is counted once, whichever cell takes it."""
    grid = Grid(-2.0, 1.0, 0.5, 12, 8)
    ends = np.array(segments)
    a, b = ends[:, :2], ends[:, 2:]
    pieces = clip(a, b, grid)
    got = np.bincount(pieces.stitch, weights=pieces.length_mm, minlength=len(a))
    box = shapely.box(grid.x0_mm, grid.y0_mm, grid.x0_mm + 6.0, grid.y0_mm + 4.0)
    inside = shapely.length(shapely.intersection(box, shapely.linestrings(np.stack([a, b], axis=1))))
    assert got == pytest.approx(inside, abs=1e-12)
    assert (pieces.length_mm > 0).all()


@given(st.lists(segment, min_size=1, max_size=12))
@settings(max_examples=50, deadline=None)
def test_a_stitch_sewn_the_other_way_has_the_same_pieces(segments):
    ends = np.array(segments)
    forth, back = clip(ends[:, :2], ends[:, 2:], GRID), clip(ends[:, 2:], ends[:, :2], GRID)
    assert back.total(GRID) == pytest.approx(forth.total(GRID), abs=1e-12)


def test_pieces_come_in_order_along_each_stitch():
    grid = Grid(0.0, 0.0, 1.0, 4, 2)
    pieces = clip(np.array([[0.5, 0.5], [3.5, 1.5]]), np.array([[3.5, 0.5], [0.5, 1.5]]), grid)
    assert pieces.stitch.tolist() == [0, 0, 0, 0, 1, 1, 1, 1]
    assert pieces.cell.tolist() == [0, 1, 2, 3, 7, 6, 5, 4]
    assert pieces.length_mm.tolist() == pytest.approx([0.5, 1.0, 1.0, 0.5] * 2)


def test_a_stitch_along_a_grid_line_goes_above_it_and_on_the_last_line_into_the_last_cell():
    grid = Grid(0.0, 0.0, 1.0, 3, 2)
    a = np.array([[0.0, 1.0], [2.0, 1.0], [0.0, 2.0], [3.0, 0.0]])
    b = np.array([[2.0, 1.0], [0.0, 1.0], [3.0, 2.0], [3.0, 2.0]])
    pieces = clip(a, b, grid)
    cells = [sorted(pieces.cell[pieces.stitch == i].tolist()) for i in range(4)]
    assert cells == [[3, 4], [3, 4], [3, 4, 5], [2, 5]]


def test_stitches_of_no_length_and_stitches_outside_have_no_pieces():
    a = np.array([[0.0, 2.0], [20.0, 2.0], [-9.0, 2.0]])
    b = np.array([[0.0, 2.0], [21.0, 3.0], [-9.0, 3.0]])
    pieces = clip(a, b, GRID)
    assert pieces.cell.size == 0
    assert pieces.total(GRID).sum() == 0.0
    assert clip(np.zeros((0, 2)), np.zeros((0, 2)), GRID).cell.size == 0


def test_results_are_read_only():
    pieces = clip(np.array([[0.0, 2.0]]), np.array([[3.0, 2.0]]), GRID)
    with pytest.raises(ValueError, match="read-only"):
        pieces.length_mm[0] = 1.0
