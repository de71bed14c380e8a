"""Density and coverage on the cloth: exact by construction, and against shapely's union of the stitches."""

import gc
import sys
from dataclasses import replace

import numpy as np
import pytest
import shapely
from cloth_shapes import WIDTH_MM, disc, ell, ring, ring_rows, rows, sewn, square, union
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from void_cases import FAMILIES

from analyzer.cloth import measure, on_cloth
from analyzer.cloth.ground import centres, fine_grid, raster_turn
from analyzer.design import Command, Design
from analyzer.errors import UnreadableDesign
from analyzer.goods.constants import constants
from analyzer.laid import Grid, lay
from analyzer.regions import RegionKind, Regions

NO_REGIONS = Regions((), np.zeros(0, dtype=np.int32), ())


def covered(design: Design, regions: Regions):
    return measure(design, regions, thread_width_mm=WIDTH_MM)


def inner(field, margin: int, cells: int) -> np.ndarray:
    return field.values[margin : margin + cells, margin : margin + cells]


@pytest.mark.parametrize("spacing", [0.4, 0.5, 1.0])
def test_a_fill_lays_one_over_its_spacing_of_thread_on_every_mm2(spacing):
    """Derived: rows at spacing s hold 1/s mm of thread per mm2, 0.40 mm 2.5. Ten cells hold whole rows."""
    cover = covered(*sewn(rows(square(30), spacing), spacing=spacing))
    assert inner(cover.density, 8, 10).mean() == pytest.approx(1.0 / spacing, rel=1e-9)


def test_a_fill_makes_one_over_spacing_and_stitch_length_of_penetrations_on_every_mm2():
    """Derived: 1/(s L) penetrations per mm2; ten cells hold whole rows and whole stitches of 2.5 mm."""
    cover = covered(*sewn(rows(square(30), 0.4, 2.5)))
    assert inner(cover.penetrations, 8, 10).mean() == pytest.approx(1.0 / (0.4 * 2.5), rel=1e-9)


@pytest.mark.parametrize("turn_deg", [0.0, 7.5, 30.0, 45.0, 90.0])
@pytest.mark.parametrize("spacing", [0.35, 0.4, 0.6, 0.9])
def test_parallel_threads_cover_their_width_over_their_spacing(spacing, turn_deg):
    """Derived: threads of width w at spacing s > w cover w/s of the ground.

    60 rows of 60 mm, cut apart: the ground is theirs and the 59 gaps between them.
    """
    angle = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    y = np.arange(60) * spacing
    a, b = np.stack([0 * y, y], axis=1) @ turn, np.stack([0 * y + 60.0, y], axis=1) @ turn
    design, regions = sewn(*(np.stack(ends) for ends in zip(a, b, strict=True)))
    whole = replace(regions.items[0], last=119, row_spacing_mm=spacing)
    cover = covered(design, Regions((whole,), np.zeros(120, dtype=np.int32), ()))
    threads = 60 * (60.0 * WIDTH_MM + np.pi * (WIDTH_MM / 2) ** 2)
    assert cover.covered_mm2 == pytest.approx(threads, rel=5e-3)
    assert cover.coverage == pytest.approx(60 * WIDTH_MM / (59 * spacing + WIDTH_MM), rel=5e-3)
    assert cover.regions[0].coverage == pytest.approx(cover.coverage, rel=1e-9)


SHAPES = {
    "disc": [rows(disc(10))],
    "square": [rows(square(20))],
    "ell": [rows(ell(20))],
    "ring": ring_rows(15, 6),
    "sparse square": [rows(square(20), 1.0)],
}


def closing(parts: list[np.ndarray], spacing: float) -> shapely.Geometry:
    """Return the ground of the parts as shapely sees it: each union grown and taken back by 0.75 spacings."""
    radius = 0.75 * spacing
    grown = [union(sewn(part)[0]).buffer(radius, quad_segs=16) for part in parts]
    return shapely.union_all([part.buffer(-radius, quad_segs=16) for part in grown])


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("turn_deg", [0.0, 30.0])
def test_area_and_coverage_are_those_of_shapelys_union(name, turn_deg):
    """Both within 0.5 % of shapely's union of buffered stitches, and of its closing."""
    spacing = 1.0 if name.startswith("sparse") else 0.4
    angle = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    parts = [part @ turn for part in SHAPES[name]]
    design, regions = sewn(*parts, spacing=spacing)
    cover = covered(design, regions)
    exact, ground = union(design).area, closing(parts, spacing).area
    assert cover.covered_mm2 == pytest.approx(exact, rel=5e-3)
    assert cover.stitched_mm2 == pytest.approx(ground, rel=5e-3)
    assert cover.coverage == pytest.approx(exact / ground, rel=5e-3)


@pytest.mark.parametrize("name", ["disc", "square", "ring"])
def test_the_ground_is_shapelys_closing_of_the_threads(name):
    """The union of the threads, grown by 0.75 spacings and taken back by as much (GEOS), within 0.3 %."""
    design, regions = sewn(*SHAPES[name])
    radius = constants("cloth")["closing_share"].value * 0.4
    exact = union(design).buffer(radius, quad_segs=32).buffer(-radius, quad_segs=32).area
    assert covered(design, regions).stitched_mm2 == pytest.approx(exact, rel=3e-3)


def test_the_ground_is_that_of_the_shape_that_was_filled():
    """The rows end on the outline and stand half a thread over it: area + perimeter * w/2, within 2.5 %.

    It is less, by the notches between the ends of rows.
    """
    for name, shape in (("disc", disc(10)), ("square", square(20)), ("ring", ring(15, 6))):
        cover = covered(*sewn(*SHAPES[name]))
        assert cover.stitched_mm2 == pytest.approx(shape.area + shape.length * WIDTH_MM / 2, rel=0.025)


def test_counting_pixels_along_the_rows_would_fail_that_comparison():
    """Negative control: a raster that is not turned, its pixels along the rows, misses the union by more."""
    design, _ = sewn(*SHAPES["disc"])
    ends = np.flatnonzero(design.joined)
    grid = Grid(-10.3177, -10.1111, 0.0914, 226, 224)
    threads = lay(design.penetrations[ends - 1], design.penetrations[ends], WIDTH_MM, grid)
    assert abs(np.count_nonzero(threads) * grid.cell_mm**2 / union(design).area - 1.0) > 5e-3


def test_the_picture_shows_the_threads_where_they_lie():
    """Sampled from the turned raster: a pixel further than one of its sides from a thread's edge is right."""
    design, regions = sewn(rows(disc(6), 1.0))
    raster = covered(design, regions).raster
    y, x = np.mgrid[: raster.grid.ny, : raster.grid.nx]
    at = centres(raster.grid, y.ravel(), x.ravel())
    whole = union(design)
    shapely.prepare(whole)
    inside = shapely.contains_xy(whole, at)
    sure = shapely.distance(shapely.points(at), whole.boundary) > raster.grid.cell_mm
    assert (raster.threads.ravel() > 0)[sure].tolist() == inside[sure].tolist()
    assert min(inside[sure].sum(), (~inside[sure]).sum()) > 1000


def test_a_region_is_measured_by_itself():
    design, regions = sewn(rows(square(20)), rows(square(20)) + np.array([30.0, 0.0]))
    cover = covered(design, regions)
    for measured, part in zip(cover.regions, np.split(design.penetrations, 2), strict=True):
        thread = np.hypot(*np.diff(part, axis=0).T).sum()
        assert measured.thread_mm_per_mm2 * measured.area_mm2 == pytest.approx(thread, rel=1e-9)
        assert measured.penetrations_per_mm2 * measured.area_mm2 == pytest.approx(len(part), rel=1e-9)
        assert measured.thread_mm_per_mm2 == pytest.approx(2.5, rel=0.03)
        assert measured.coverage == pytest.approx(0.75, rel=0.02)
    assert cover.stitched_mm2 == pytest.approx(sum(m.area_mm2 for m in cover.regions), rel=1e-9)


def test_regions_that_lie_on_each_other_share_their_ground():
    cover = covered(*sewn(rows(square(20)), rows(square(20))[:, ::-1]))
    assert cover.stitched_mm2 == pytest.approx(cover.regions[0].area_mm2, rel=0.03)
    # Rows, crossing rows, and along the edge the short stitch from one row to the next.
    assert [m.layers_max for m in cover.regions] == [3, 3]
    # Two crossing sets of rows leave (1 - w/s)^2 of the ground bare.
    assert 1.0 - cover.coverage == pytest.approx((1.0 - WIDTH_MM / 0.4) ** 2, abs=0.01)


@pytest.mark.parametrize("times", [1, 2, 5])
def test_rows_stacked_on_each_other_count_as_so_many_layers(times):
    row = np.stack([np.arange(0.0, 30.1, 1.0), np.zeros(31)], axis=1)
    cover = covered(*sewn(*[row] * times, spacing=None, kind=RegionKind.RUN))
    assert {m.layers_max for m in cover.regions} == {times}
    assert cover.raster.threads.max() == times


def test_nothing_is_lost_between_design_and_maps():
    rng = np.random.default_rng(2)
    design, regions = sewn(*(rng.uniform(0, 60, (50, 2)).round(1) for _ in range(4)), spacing=None)
    cover = covered(design, regions)
    assert cover.penetrations.values.sum() == 200
    assert cover.density.values.sum() == pytest.approx(design.lengths_mm.sum(), rel=1e-12)


@given(st.floats(-300, 300), st.floats(-300, 300))
@settings(max_examples=15, deadline=None)
def test_moving_the_design_changes_no_measure(dx, dy):
    here = covered(*sewn(*SHAPES["ring"]))
    there = covered(*sewn(*(part + np.array([dx, dy]) for part in SHAPES["ring"])))
    # Rounding may move a pixel that lies on an edge.
    assert there.covered_mm2 == pytest.approx(here.covered_mm2, rel=1e-4)
    assert there.stitched_mm2 == pytest.approx(here.stitched_mm2, rel=1e-4)
    assert there.density.values == pytest.approx(here.density.values, abs=1e-9)
    assert [v.radius_mm for v in there.voids] == pytest.approx([v.radius_mm for v in here.voids], abs=1e-3)
    moved = np.array([v.at for v in there.voids]) - (dx, dy)
    assert moved == pytest.approx(np.array([v.at for v in here.voids]), abs=0.05)


def test_a_carried_thread_is_a_float_and_covers_nothing():
    points = np.array([[0, 0], [3, 0], [6, 0], [40, 0], [40, 0], [43, 0], [46, 0]], dtype=float)
    kinds = [Command.STITCH] * 3 + [Command.JUMP] + [Command.STITCH] * 3
    design = Design.from_commands(points, kinds)
    assert on_cloth(design).tolist() == [False, True, True, False, True, True]
    cover = measure(design, Regions((), np.zeros(6, dtype=np.int32), ()), thread_width_mm=WIDTH_MM)
    assert cover.density.values.sum() == pytest.approx(12.0)
    assert cover.lace.pieces == 2


def test_short_jumps_and_wide_satin_held_as_jumps_are_thread():
    short = Design.from_commands(np.array([[0, 0], [1.5, 0], [1.5, 0]]), [1, 2, 1])
    assert on_cloth(short).tolist() == [False, True]
    x = np.repeat([0.0, 15.0], 2)[np.arange(40) % 4]
    y = np.arange(40) // 2 * 0.2
    kinds = np.tile([Command.JUMP, Command.STITCH], 20)
    assert on_cloth(Design.from_commands(np.stack([x, y], axis=1), kinds))[1:].all()


def test_a_region_without_thread_has_no_measures():
    design, regions = sewn(np.array([[0.0, 0.0]]), np.array([[5.0, 5.0], [9.0, 5.0]]), spacing=None)
    cover = covered(design, regions)
    assert cover.regions[0].area_mm2 == 0.0
    assert cover.regions[1].area_mm2 == pytest.approx(4 * WIDTH_MM + np.pi * WIDTH_MM**2 / 4, rel=0.03)


def test_stitches_of_no_length_are_harmless():
    part = np.repeat(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]]), 3, axis=0)
    cover = covered(*sewn(part, spacing=None, kind=RegionKind.RUN))
    assert cover.density.values.sum() == pytest.approx(7.0)
    assert cover.lace.pieces == 1


def test_a_design_without_penetrations_is_refused():
    design = Design.from_commands(np.array([[0.0, 0.0]]), [Command.JUMP])
    with pytest.raises(UnreadableDesign, match="no stitches"):
        measure(design, NO_REGIONS, thread_width_mm=WIDTH_MM)


def test_a_huge_design_is_measured_more_coarsely_and_says_so(monkeypatch):
    monkeypatch.setattr("analyzer.cloth.ground._MOST_PIXELS", 100_000)
    cover = covered(*sewn(np.array([[0.0, 0.0], [90.0, 90.0]]), spacing=None, kind=RegionKind.RUN))
    assert cover.resolution_mm > 0.15
    assert cover.raster.threads.size < 110_000
    assert cover.covered_mm2 == pytest.approx(90.0 * np.sqrt(2) * WIDTH_MM, rel=0.02)


def generated(number: int) -> tuple[Design, Regions]:
    """Return one of the generated designs: fills, columns, nets, letters, wreaths at any angle."""
    random = np.random.default_rng([7, number])
    return FAMILIES[number % len(FAMILIES)](random).sewn(random.uniform(0, 180))


def area_error(number: int, pitch_mm: float) -> float:
    """Return how far the covered area is off shapely's union, as a share of it."""
    design, regions = generated(number)
    cover = measure(design, regions, thread_width_mm=WIDTH_MM, resolution_mm=pitch_mm, lace=False)
    return cover.covered_mm2 / union(design).area - 1.0


@pytest.mark.parametrize("number", range(0, 32, 5))
def test_the_area_of_random_designs_is_that_of_shapelys_union(number):
    """Within 0.5 % at the default pitch."""
    assert abs(area_error(number, 0.0914)) < 5e-3


@pytest.mark.long
@pytest.mark.parametrize(("pitch_mm", "most"), [(0.0914, 5e-3), (0.0464, 1.5e-3)])
def test_the_area_of_32_random_designs_is_that_of_shapelys_union(pitch_mm, most):
    assert max(abs(area_error(number, pitch_mm)) for number in range(32)) < most


def local_error(number: int, pitch_mm: float, cell_mm: float = 2.0) -> float:
    """Return the rms error of the covered share of cells of 2 mm, on the turned raster of the areas.

    ``pitch_mm`` is what is asked for; small designs get a finer one.
    """
    design, regions = generated(number)
    found = measure(design, regions, thread_width_mm=WIDTH_MM, resolution_mm=pitch_mm, lace=False)
    ends = np.flatnonzero(design.joined)
    turn = raster_turn(design.penetrations[ends - 1], design.penetrations[ends])
    turned = replace(design, penetrations=design.penetrations @ turn)
    a, b = turned.penetrations[ends - 1], turned.penetrations[ends]
    low = turned.penetrations.min(axis=0)
    grid = fine_grid(low, turned.penetrations.max(axis=0), WIDTH_MM, found.resolution_mm)
    rows_, columns = np.nonzero(lay(a, b, WIDTH_MM, grid))
    cells = np.floor((centres(grid, rows_, columns) - low) / cell_mm).astype(int) + 1
    size = cells.max(axis=0) + 1
    count = np.bincount(cells[:, 1] * size[0] + cells[:, 0], minlength=size.prod())
    got = count * (grid.cell_mm / cell_mm) ** 2
    iy, ix = np.divmod(np.arange(size.prod()), size[0])
    x, y = low[0] + (ix - 1) * cell_mm, low[1] + (iy - 1) * cell_mm
    whole = union(turned)
    shapely.prepare(whole)
    boxes = shapely.box(x, y, x + cell_mm, y + cell_mm)
    exact = shapely.area(shapely.intersection(boxes, whole)) / cell_mm**2
    used = exact > 0.0
    return float(np.sqrt(np.mean((got - exact)[used] ** 2)))


@pytest.mark.parametrize("number", [0, 6, 9])
def test_local_coverage_is_that_of_shapelys_union(number):
    """Covered share of 2 mm cells within 0.015 rms."""
    assert local_error(number, 0.0914) < 0.015


@pytest.mark.long
def test_local_coverage_of_32_random_designs_is_that_of_shapelys_union():
    assert max(local_error(number, 0.0914) for number in range(32)) < 0.015


def test_a_raster_of_twice_that_pitch_would_fail_that():
    """Negative control."""
    assert max(local_error(number, 0.35) for number in (0, 6)) > 0.015


def test_ties_are_found_at_thread_ends_and_missed_where_there_are_none():
    """A line with a tie at its beginning only: of two thread ends one is untied; a fill has none at all."""
    x = np.concatenate([[0.0, 0.8, 0.0, 0.8], np.arange(3.0, 40.0, 3.0)])
    tied = np.stack([x, np.zeros(x.size)], axis=1)
    cover = covered(*sewn(tied, spacing=None, kind=RegionKind.RUN))
    assert (cover.needling.thread_ends, cover.needling.ends_untied) == (2, 1)
    bare = covered(*sewn(rows(square(10)), rows(square(10)) + 20.0)).needling
    assert (bare.thread_ends, bare.ends_untied) == (4, 4)


@pytest.mark.parametrize(("pitch", "torn"), [(0.1, True), (0.2, True), (0.4, False)])
def test_a_rail_of_near_touching_holes_is_a_perforated_row(pitch, torn):
    """A straight zig-zag of 40 mm: two rails of holes ``pitch`` apart, 1/pitch holes on a millimetre."""
    n = round(40 / pitch)
    x = np.repeat(np.arange(n) * pitch, 2)
    zigzag = np.stack([x, np.tile([0.0, 4.0], n)], axis=1)
    found = covered(*sewn(zigzag, spacing=pitch / 2, kind=RegionKind.SATIN)).needling.perforations
    assert len(found) == (2 if torn else 0)
    for row in found:
        assert row.length_mm == pytest.approx(40.0, rel=0.03)
        assert row.per_mm == pytest.approx(1 / pitch, rel=0.03)


def test_holes_used_again_are_one_hole():
    line = np.stack([np.arange(0.0, 30.1, 2.0), np.zeros(16)], axis=1)
    needling = covered(*sewn(line, line[::-1], spacing=None, kind=RegionKind.RUN)).needling
    assert needling.holes == 16
    assert needling.near_share == 0.0


@pytest.mark.parametrize("seed", range(3))
def test_crowded_holes_and_near_ones_are_those_of_a_search_tree(seed):
    """SciPy's k-d tree counts the other holes within a blade's width, 0.75 mm; 8 or more are many."""
    known = constants("cloth")
    blade, many = known["blade_mm"].value, known["crowd_others"].value
    points = np.unique(np.random.default_rng(seed).normal(0, 4, (900, 2)).round(1), axis=0)
    points = np.random.default_rng(seed).permutation(points)
    others = cKDTree(points).query_ball_point(points, blade - 1e-9, return_length=True) - 1
    found = covered(*sewn(points, spacing=None, kind=RegionKind.RUN)).needling
    assert found.holes == len(points)
    assert found.near_share == pytest.approx(np.mean(others >= many))
    assert 0.05 < found.near_share < 0.95


def test_the_collector_of_cycles_is_left_as_it_was(monkeypatch):
    seen = []
    of_module = sys.modules["analyzer.cloth.measure"]
    monkeypatch.setattr(of_module, "lay_regions", lambda *_, **__: seen.append(gc.isenabled()) or 1 / 0)
    design, regions = sewn(rows(square(10)))
    for before in (True, False):
        (gc.enable if before else gc.disable)()
        try:
            with pytest.raises(ZeroDivisionError):
                measure(design, regions, thread_width_mm=WIDTH_MM)
            assert gc.isenabled() is before
        finally:
            gc.enable()
    assert seen == [False, False]
