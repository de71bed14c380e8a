"""Voids: found, measured against shapely, and held to be meant or not."""

import numpy as np
import pytest
import shapely
from cloth_shapes import WIDTH_MM, disc, ring_rows, rows, sewn, square, union

from analyzer.cloth import measure
from analyzer.regions import RegionKind


def voids(*parts, **how):
    return measure(*sewn(*parts, **how), thread_width_mm=WIDTH_MM).voids


def circle(radius: float, stitch: float = 2.0) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, round(2 * np.pi * radius / stitch) + 1)
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def holes(whole: shapely.Geometry) -> list[shapely.Polygon]:
    """Return the holes of what shapely takes for the threads' union."""
    sheet = shapely.box(*whole.bounds).buffer(1.0)
    bare = shapely.get_parts(sheet.difference(whole))
    return [part for part in bare if not part.intersects(sheet.exterior)]


def inscribed(hole: shapely.Polygon) -> float:
    """Return the radius of the largest circle in a hole (GEOS), mm."""
    return shapely.maximum_inscribed_circle(hole, tolerance=1e-3).length


@pytest.mark.parametrize(("outer", "inside"), [(15, 6), (10, 2), (12, 10.5)])
def test_the_middle_of_a_ring_is_its_one_void(outer, inside):
    """Radius within 0.02 mm of shapely's maximum inscribed circle, area within 2 % of its union's hole."""
    parts = ring_rows(outer, inside)
    (void,) = voids(*parts)
    hole = max(holes(union(sewn(*parts)[0]).buffer(0.15).buffer(-0.15)), key=shapely.area)
    assert void.radius_mm == pytest.approx(inscribed(hole), abs=0.02)
    assert void.area_mm2 == pytest.approx(hole.area, rel=0.02)
    assert np.hypot(*void.at) < 0.2
    assert void.meant


def test_full_shapes_have_none():
    """Negative control."""
    assert voids(rows(disc(15))) == ()
    assert voids(rows(square(20))) == ()


def test_a_run_round_nothing_encloses_a_void():
    (void,) = voids(circle(8.0), spacing=None, kind=RegionKind.RUN)
    assert void.radius_mm == pytest.approx(8.0 * np.cos(np.pi / 25) - WIDTH_MM / 2, abs=0.02)
    assert void.meant


def test_an_open_arc_encloses_none():
    assert voids(circle(8.0)[:-2], spacing=None, kind=RegionKind.RUN) == ()


def test_a_narrow_gap_between_fill_and_outline_is_a_void_that_nobody_meant():
    fill, outline = rows(disc(9.0)), circle(10.0, 1.0)
    found = measure(*sewn(fill, outline), thread_width_mm=WIDTH_MM).voids
    assert found
    assert not any(void.meant for void in found)
    hole = max(holes(union(sewn(fill, outline)[0])), key=shapely.area)
    assert found[0].radius_mm == pytest.approx(inscribed(hole), abs=0.03)
    assert found[0].radius_mm > (10.0 - 9.0 - WIDTH_MM) / 2


def test_a_slot_left_open_is_meant_and_a_seam_that_opened_is_not():
    """Both 1.4 mm wide, their rims row ends: one is 6 mm long, the other runs through the whole square."""
    found = []
    for length in (6.0, 15.8):
        hole = shapely.box(-0.7, -length / 2, 0.7, length / 2)
        sides = [shapely.box(-8, -8, 0, 8).difference(hole), shapely.box(0, -8, 8, 8).difference(hole)]
        frame = np.array([[-8, -8], [8, -8], [8, 8], [-8, 8], [-8, -8]], dtype=float)
        (void,) = (v for v in voids(*(rows(side) for side in sides), frame) if v.radius_mm > 0.3)
        assert void.radius_mm == pytest.approx((1.4 - WIDTH_MM) / 2, abs=0.08)
        found.append(void.meant)
    assert found == [True, False]


def test_gaps_between_sparse_rows_are_no_voids():
    """They belong to the rows' spacing; a rectangle of runs round them makes voids of them only if wider."""
    fill, frame = rows(square(20), 1.0), np.array([[0, 0], [20, 0], [20, 20], [0, 20], [0, 0]], dtype=float)
    assert voids(fill, frame, spacing=1.0) == ()
    assert len(voids(fill, frame, spacing=0.4)) == 19


def test_voids_come_largest_first_and_lie_where_they_are():
    parts = [*ring_rows(8, 3), *(p + np.array([30.0, 4.0]) for p in ring_rows(12, 7))]
    large, small = voids(*parts)
    assert large.at == pytest.approx((30.0, 4.0), abs=0.2)
    assert small.at == pytest.approx((0.0, 0.0), abs=0.2)
    assert large.area_mm2 > small.area_mm2


def test_small_voids_are_found_down_to_the_stated_radius():
    """Square meshes of runs: inscribed radius (mesh - w)/2, found above 0.15 mm and not below."""
    for mesh, count in ((1.0, 100), (0.7, 100), (0.5, 0)):
        lines = np.arange(11) * mesh
        across = [np.array([[0.0, y], [10 * mesh, y]]) for y in lines]
        along = [np.array([[x, 0.0], [x, 10 * mesh]]) for x in lines]
        found = voids(*across, *along, spacing=None, kind=RegionKind.RUN)
        assert len(found) == count
        assert [v.radius_mm for v in found] == pytest.approx([(mesh - WIDTH_MM) / 2] * count, abs=0.01)
