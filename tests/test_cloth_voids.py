"""Voids: found, measured against shapely, and held to be meant or not."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from cloth_shapes import WIDTH_MM, disc, ell, ring_rows, rows, sewn, square, union
from void_cases import FAMILIES, Sheet

from analyzer.cloth import measure
from analyzer.regions import RegionKind, cut


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


def test_the_holes_of_a_tangle_are_found_with_their_radii():
    """60 random stitches, eight times: the holes of shapely's union, by their maximum inscribed circles.

    Of those with a radius over 0.155 mm at most one in a hundred is missed, none over 0.18 mm; the radius is
    within 0.03 mm but for one in a hundred, within 0.06 mm for all; nothing smaller is found.
    """
    seen = missed = off = 0
    for seed in range(8):
        tangle = np.random.default_rng(seed).uniform(0, 18, (60, 2)).round(1)
        design, regions = sewn(tangle, spacing=None, kind=RegionKind.RUN)
        places = measure(design, regions, thread_width_mm=WIDTH_MM, lace=False).voids
        found = [void for void in places if not void.open]
        middles = shapely.points([v.at for v in found])
        for hole in holes(union(design)):
            radius = inscribed(hole)
            inside = [v.radius_mm for v, at in zip(found, middles, strict=True) if hole.contains(at)]
            seen += radius > 0.155
            missed += radius > 0.155 and not inside
            if radius > 0.18:
                assert max(inside, default=0.0) == pytest.approx(radius, abs=0.06)
                off += abs(max(inside) - radius) > 0.03
            assert radius > 0.14 or not inside
        assert all(v.radius_mm > 0.15 for v in found)
    assert seen > 400
    assert max(missed, off) <= 0.01 * seen


def sorted_out(seeds: range, *, found: bool) -> tuple[float, float, int]:
    """Return precision and recall of "meant" over all families, and how many designs show no void.

    Every design weighs the same; among what is meant, places under 0.3 mm are texture of no interest.
    """
    right = wrong = missed = 0.0
    none = 0
    for number, family in enumerate(FAMILIES):
        for seed in seeds:
            random = np.random.default_rng([seed, number])
            sheet = family(random)
            design, regions = sheet.sewn(random.uniform(0, 180))
            regions = cut(design) if found else regions
            places = measure(design, regions, thread_width_mm=WIDTH_MM, lace=False).voids
            places = [v for v in places if not sheet.meant or v.radius_mm >= 0.3]
            none += not places
            share = float(np.mean([v.meant for v in places])) if places else 0.0
            right += share if sheet.meant else 0.0
            missed += 1.0 - share if sheet.meant else 0.0
            wrong += 0.0 if sheet.meant else share
    return right / (right + wrong), right / (right + missed), none


def test_meant_voids_are_told_from_accidents():
    """On designs made to be so: floors asked for 0.85 and 0.85; the limits were chosen on other seeds."""
    precision, recall, none = sorted_out(range(100, 102), found=False)
    assert precision >= 0.85
    assert recall >= 0.85
    assert none <= 1


@pytest.mark.long
@pytest.mark.parametrize("found", [False, True])
def test_meant_voids_are_told_from_accidents_on_many_designs(found):
    """The same over 220 designs, with the regions that they were made of and with those found by cutting."""
    precision, recall, none = sorted_out(range(200, 220), found=found)
    assert precision >= 0.85
    assert recall >= 0.85
    assert none <= 0.06 * 220


def test_a_gap_between_two_sections_is_found_though_it_is_open_to_the_outside():
    """Two squares 0.9 mm apart: a slit of radius 0.3 mm, open at both ends; not meant."""
    left, right = rows(square(12)), rows(square(12)) + np.array([12.9, 0.0])
    (void,) = voids(left, right)
    assert void.open
    assert not void.meant
    assert void.radius_mm == pytest.approx((0.9 - WIDTH_MM) / 2, abs=0.05)


def test_corners_notches_and_distant_neighbours_are_no_gaps():
    """Negative control: a right-angled corner, an L, squares 2.6 mm apart."""
    assert voids(rows(square(12)), rows(square(12)) + np.array([12.0, 12.0])) == ()
    assert voids(rows(ell(20))) == ()
    assert voids(rows(square(12)), rows(square(12)) + np.array([14.6, 0.0])) == ()


def test_wedges_between_the_turns_of_a_wide_set_satin_are_texture():
    """A bow of zig-zag whose outer turns gape by 0.6 mm, beside a close column; the same called runs."""
    arc = Sheet(True)
    arc.satin(np.array([(4 * np.cos(t), 4 * np.sin(t)) for t in np.linspace(0, 5.2, 200)]), 3.0, 0.35)
    arc.satin(np.array([(6 * np.cos(t), 6 * np.sin(t)) for t in np.linspace(0, 5.2, 200)]), 1.1)
    design, regions = arc.sewn(10.0)
    assert measure(design, regions, thread_width_mm=WIDTH_MM).voids == ()
    runs = replace(regions, items=tuple(replace(item, kind=RegionKind.RUN) for item in regions.items))
    assert len(measure(design, runs, thread_width_mm=WIDTH_MM).voids) > 10
