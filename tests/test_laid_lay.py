"""Threads laid on a raster, checked against distances and unions of shapely."""

import importlib

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.laid import Grid, lay, lay_apart

GRID = Grid(x0_mm=-1.013, y0_mm=-0.987, cell_mm=0.0914, nx=64, ny=55)
WIDTH_MM = 0.3
SURE_MM = 3e-4  #: spans are computed in single precision, and level sides tilted by up to 3e-5

coordinate = st.floats(-2.0, 6.0, allow_nan=False).map(lambda v: round(v, 6)) | st.integers(-20, 60).map(
    lambda v: v / 10
)
segment = st.tuples(coordinate, coordinate, coordinate, coordinate)


def centres(grid: Grid) -> np.ndarray:
    x = grid.x0_mm + (np.arange(grid.nx) + 0.5) * grid.cell_mm
    y = grid.y0_mm + (np.arange(grid.ny) + 0.5) * grid.cell_mm
    return shapely.points(*np.meshgrid(x, y))


@given(st.lists(segment, min_size=1, max_size=8))
@settings(max_examples=100, deadline=None)
def test_a_pixel_is_covered_where_a_thread_is_nearer_than_half_its_width(segments):
    ends = np.array(segments)
    a, b = ends[:, :2], ends[:, 2:]
    lines = shapely.linestrings(np.stack([a, b], axis=1))
    distance = shapely.distance(centres(GRID)[..., None], lines).min(axis=-1)
    threads = lay(a, b, WIDTH_MM, GRID)
    assert (threads[distance < WIDTH_MM / 2 - SURE_MM] > 0).all()
    assert (threads[distance > WIDTH_MM / 2 + SURE_MM] == 0).all()
    butt, covered = lay_apart(a, b, WIDTH_MM, GRID)
    assert (butt == lay(a, b, WIDTH_MM, GRID, ends="butt")).all()
    assert (np.maximum(butt, covered) == threads).all()


def test_half_a_thread_wider_would_fail_that():
    """Negative control: the threads of 1.1 times the width cover pixels that lie too far off."""
    a, b = np.array([[0.0, 0.0]]), np.array([[3.0, 1.7]])
    distance = shapely.distance(centres(GRID), shapely.linestrings(np.stack([a, b], axis=1))[0])
    assert (lay(a, b, 1.1 * WIDTH_MM, GRID)[distance > WIDTH_MM / 2 + SURE_MM] > 0).any()


@given(st.lists(segment, min_size=1, max_size=8))
@settings(max_examples=100, deadline=None)
def test_butt_ends_count_the_rectangles_about_the_stitches(segments):
    ends = np.array(segments)
    a, b = ends[:, :2], ends[:, 2:]
    step = b - a
    # Segments shorter than shapely's own tolerance have no direction to speak of.
    real = np.hypot(*step.T) > 1e-6
    lines = shapely.linestrings(np.stack([a[real], b[real]], axis=1))
    inner = shapely.buffer(lines, WIDTH_MM / 2, cap_style="flat")
    inside = shapely.distance(centres(GRID)[..., None], inner) <= 0.0
    sure = shapely.distance(centres(GRID)[..., None], shapely.boundary(inner)) > SURE_MM
    threads = lay(a[real], b[real], WIDTH_MM, GRID, ends="butt")
    assert (threads >= (inside & sure).sum(axis=-1)).all()
    assert (threads <= (inside | ~sure).sum(axis=-1)).all()


def test_a_row_of_stitches_reads_one_thread_throughout():
    x = np.arange(0.0, 4.01, 1.0)
    points = np.stack([x, np.full(x.size, 1.03)], axis=1)
    butt = lay(points[:-1], points[1:], WIDTH_MM, GRID, ends="butt")
    rounded = lay(points[:-1], points[1:], WIDTH_MM, GRID)
    assert butt.max() == rounded.max() == 1
    assert (butt <= rounded).all()
    assert (rounded > butt).sum() > 5  # the round ends at either end of the row


def test_rows_sewn_again_and_again_and_crossing_count_exactly():
    """Three times there, and crossed by two more: 3, 2 and 5 threads (by construction)."""
    along, across = np.array([[0.0, 1.0], [4.0, 1.0]]), np.array([[2.0, -0.5], [2.0, 2.5]])
    lines = np.stack([along, along[::-1], along, across, across[::-1]])
    for ends in ("round", "butt"):
        found = lay(lines[:, 0], lines[:, 1], WIDTH_MM, GRID, ends=ends)
        assert set(np.unique(found[:, 15:25]).tolist()) <= {0, 3}
        assert (found[:, 20] == 3).sum() == round(WIDTH_MM / GRID.cell_mm)
        assert found.max() == 5
        assert set(np.unique(found[28:35]).tolist()) <= {0, 2}


def test_area_is_that_of_shapelys_union():
    """400 random stitches, many of them crossing: within 0.5 % of the exact union."""
    random = np.random.default_rng(5)
    a = random.uniform(1.0, 39.0, (400, 2))
    b = a + random.uniform(-5.0, 5.0, (400, 2)).clip(1.0 - a, 39.0 - a)
    grid = Grid(-0.0349, -0.0216, 0.0914, 440, 440)
    covered = np.count_nonzero(lay(a, b, WIDTH_MM, grid)) * grid.cell_mm**2
    exact = shapely.union_all(
        shapely.buffer(shapely.linestrings(np.stack([a, b], axis=1)), WIDTH_MM / 2, quad_segs=32)
    ).area
    assert covered == pytest.approx(exact, rel=5e-3)


def test_a_pitch_commensurate_with_the_stitches_lattice_would_fail_that():
    """Negative control: rows on a 0.1 mm lattice over pixels of 0.1 mm come out a third too wide."""
    y = np.arange(1.0, 9.0, 0.5)
    a, b = np.stack([np.full(y.size, 1.0), y], axis=1), np.stack([np.full(y.size, 9.0), y], axis=1)
    exact = y.size * (8.0 * 0.31 + np.pi * 0.155**2)
    aliased = Grid(0.05, 0.05, 0.1, 100, 100)
    covered = np.count_nonzero(lay(a, b, 0.31, aliased)) * aliased.cell_mm**2
    assert abs(covered / exact - 1.0) > 0.02


@pytest.mark.parametrize("ends", ["round", "butt"])
def test_bands_and_chunks_do_not_show(monkeypatch, ends):
    random = np.random.default_rng(3)
    a, b = random.uniform(-1.0, 5.0, (2, 200, 2))
    whole = lay(a, b, WIDTH_MM, GRID, ends=ends)
    monkeypatch.setattr(importlib.import_module("analyzer.laid.lay"), "_BAND_PIXELS", 200)
    spans = importlib.import_module("analyzer.laid.spans")
    monkeypatch.setattr(spans, "_CHUNK_SPANS", 17)
    monkeypatch.setattr(spans, "_BLOCK_PIXELS", 90)
    assert (lay(a, b, WIDTH_MM, GRID, ends=ends) == whole).all()


def test_threads_are_counted_up_to_255():
    a, b = np.tile([0.0, 0.0], (300, 1)), np.tile([3.0, 1.0], (300, 1))
    assert lay(a, b, WIDTH_MM, GRID).max() == 255
    assert lay(*(np.tile(each[:1], (40_000, 1)) for each in (a, b)), WIDTH_MM, GRID).max() == 255
    assert lay(a[:200], b[:200], WIDTH_MM, GRID).max() == 200


def test_threads_outside_the_raster_leave_it_empty():
    a, b = np.array([[50.0, 0.0], [0.0, -9.0]]), np.array([[60.0, 0.0], [3.0, -9.0]])
    assert lay(a, b, WIDTH_MM, GRID).sum() == 0
    assert lay(np.zeros((0, 2)), np.zeros((0, 2)), WIDTH_MM, GRID).sum() == 0
