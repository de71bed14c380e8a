"""Cutting labelled designs into regions: kinds, measures, and what must not change them.

The truth is what the designs of labelled_designs.py were made as; nothing here comes from a stitch file.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from labelled import Labelled, circle, fill, rectangle, run, satin, wave
from labelled_designs import L_SHAPE, RING, TABLE, l_shape, letters, ring, uncut
from shapely import affinity
from shapely.geometry import Polygon

from analyzer.design import Command, Design
from analyzer.regions import RegionKind, Regions, cut


def kinds_of(regions: Regions) -> np.ndarray:
    return np.array([item.kind.value for item in regions.items])[regions.region_of]


def only(regions: Regions, kind: RegionKind) -> list:
    return [item for item in regions.items if item.kind is kind]


@pytest.mark.parametrize("make", TABLE, ids=lambda make: make.__name__)
def test_stitches_get_the_kind_that_they_were_made_as(make: Callable[[], Labelled]) -> None:
    book = make()
    right = kinds_of(cut(book.design())) == book.truth
    assert right.mean() >= TABLE[make][0]


def test_over_the_whole_table_ninety_eight_of_a_hundred_stitches_are_right() -> None:
    books = [make() for make in TABLE]
    right = np.concatenate([kinds_of(cut(book.design())) == book.truth for book in books])
    assert right.mean() > 0.985
    # A table on which one answer for everything does well would prove nothing.
    truth = np.concatenate([book.truth for book in books])
    assert max(np.mean(truth == kind) for kind in np.unique(truth)) < 0.7


def check_shape(design: Design, regions: Regions) -> None:
    """Assert what holds for every design: regions are stretches in order that take up every penetration."""
    m = len(design.penetrations)
    assert regions.region_of.shape == (m,)
    assert [item.id for item in regions.items] == list(range(len(regions.items)))
    assert regions.items[0].first == 0
    assert regions.items[-1].last == m - 1
    for item in regions.items:
        assert (regions.region_of[item.first : item.last + 1] == item.id).all()
        assert len(set(design.colour[item.first : item.last + 1].tolist())) == 1
    assert sum(item.stitches for item in regions.items) == design.stitches
    assert not regions.region_of.flags.writeable


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-60, 60), st.integers(-60, 60), st.sampled_from([1, 1, 1, 1, 1, 2, 3, 4, 5])),
        min_size=1,
        max_size=60,
    )
)
def test_any_sequence_of_commands_is_cut_whole(rows: list[tuple[int, int, int]]) -> None:
    points = np.array([(x / 10, y / 10) for x, y, _ in rows])
    kinds = np.array([*(kind for *_, kind in rows[:-1]), Command.STITCH])
    design = Design.from_commands(points, kinds)
    check_shape(design, cut(design))


def test_a_design_without_penetrations_has_no_regions() -> None:
    design = Design.from_commands(np.array([[0.0, 0.0]]), np.array([int(Command.JUMP)]))
    assert cut(design).items == ()


@pytest.mark.parametrize("make", TABLE, ids=lambda make: make.__name__)
def test_regions_are_stretches_within_a_colour(make: Callable[[], Labelled]) -> None:
    design = make().design()
    check_shape(design, cut(design))


@pytest.mark.parametrize("spacing", [0.25, 0.4, 0.6, 0.9])
@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0, 90.0, 152.0])
@pytest.mark.parametrize("shape", [rectangle(30, 18), Polygon(circle(14)), L_SHAPE], ids=["box", "disc", "l"])
def test_fills_keep_their_spacing_and_angle(shape: Polygon, angle: float, spacing: float) -> None:
    book = Labelled()
    fill(book, shape, angle=angle, spacing=spacing)
    turned = affinity.rotate(shape, -angle, origin=(0, 0)).bounds
    laid = (turned[3] - turned[1]) / round((turned[3] - turned[1]) / spacing)
    (item,) = only(cut(book.design()), RegionKind.FILL)
    assert item.row_spacing_mm == pytest.approx(laid, rel=0.05)
    assert abs((item.direction_deg - angle + 90) % 180 - 90) < 1.5
    assert item.stitches > 0.97 * (len(book.truth) - 1)


@pytest.mark.parametrize("width", [1.5, 3.0, 7.0])
@pytest.mark.parametrize("spacing", [0.18, 0.25, 0.4])
def test_satins_keep_their_spacing_and_width(width: float, spacing: float) -> None:
    book = Labelled()
    satin(book, np.array([[0.0, 0.0], [28.0, 11.0]]), width, spacing=spacing)
    (item,) = cut(book.design()).items
    assert item.kind is RegionKind.SATIN
    assert item.row_spacing_mm == pytest.approx(spacing, rel=0.06)
    assert item.width_mm == pytest.approx(width, rel=0.04)
    across = np.degrees(np.arctan2(11, 28)) + 90
    assert abs((item.direction_deg - across + 90) % 180 - 90) < 2.0


@pytest.mark.parametrize("passes", [1, 2, 3])
@pytest.mark.parametrize("path", [circle(12), wave(50, 6)], ids=["circle", "wave"])
def test_runs_know_how_often_they_are_sewn(path: np.ndarray, passes: int) -> None:
    book = Labelled()
    run(book, path, passes=passes)
    (item,) = cut(book.design()).items
    assert (item.kind, item.passes) == (RegionKind.RUN, passes)


def test_sections_of_one_shape_are_one_region() -> None:
    book = Labelled()
    fill(book, RING, angle=20, spacing=0.5)
    regions = cut(book.design())
    assert [item.kind for item in regions.items] == [RegionKind.FILL]
    # Two shapes of the same rows that do not touch stay two.
    far = Labelled()
    fill(far, rectangle(15, 15), angle=20)
    far.move(np.array([40.0, 0.0]))
    fill(far, rectangle(15, 15, (40, 0)), angle=20)
    assert len(only(cut(far.design()), RegionKind.FILL)) == 2


def test_a_covering_region_names_what_lies_under_it() -> None:
    regions = cut(l_shape().design())
    (top,) = only(regions, RegionKind.FILL)
    below = [item.id for item in regions.items if item.first < top.first]
    assert below
    assert set(below) == set(top.covers)
    (outline,) = only(regions, RegionKind.RUN)
    assert outline.covers == ()


def test_a_change_of_colour_ends_a_region_even_within_one_pattern() -> None:
    book = Labelled()
    fill(book, rectangle(20, 20))
    design = book.design()
    half = len(design.points) // 2
    points = np.insert(design.points, half, design.points[half - 1], axis=0)
    kinds = np.insert(design.kinds, half, Command.COLOUR_CHANGE)
    changed = Design.from_commands(points, kinds)
    regions = cut(changed)
    check_shape(changed, regions)
    assert [item.colour for item in only(regions, RegionKind.FILL)] == [0, 1]
    assert len(only(cut(design), RegionKind.FILL)) == 1


def test_trims_and_ties_are_not_needed() -> None:
    book = uncut()
    design = book.design()
    assert design.count(Command.TRIM) == 0
    regions = cut(design)
    floats = [item for item in only(regions, RegionKind.TRAVEL) if design.jumped[item.first]]
    assert len(floats) == 2
    with_ties = letters()
    assert len(only(cut(with_ties.design()), RegionKind.TIE)) == 7


@settings(max_examples=12, deadline=None, derandomize=True)
@given(angle=st.floats(0, 360), dx=st.floats(-80, 80), dy=st.floats(-80, 80))
@pytest.mark.parametrize("make", [l_shape, letters, ring], ids=lambda make: make.__name__)
def test_turning_and_moving_a_design_changes_nothing(
    make: Callable[[], Labelled], angle: float, dx: float, dy: float
) -> None:
    design = make().design()
    before = cut(design)
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    points = np.round(design.points @ np.array([[c, s], [-s, c]]) + [dx, dy], 1)
    after = cut(Design.from_commands(points, design.kinds))
    assert np.mean(kinds_of(before) == kinds_of(after)) > 0.97
    for old, new in zip(only(before, RegionKind.FILL), only(after, RegionKind.FILL), strict=True):
        assert new.row_spacing_mm == pytest.approx(old.row_spacing_mm, rel=0.03)
        assert abs((new.direction_deg - old.direction_deg - angle + 90) % 180 - 90) < 1.0
    gaps = [np.median(pair.meant_mm) for pair in before.pairs]
    assert [np.median(pair.meant_mm) for pair in after.pairs] == pytest.approx(gaps, abs=0.06)


@pytest.mark.parametrize(("across", "kind"), [(0.95, "run"), (0.95 * 1.2, "fill")])
def test_two_like_sets_of_open_rows_square_to_each_other_are_a_mesh(across: float, kind: str) -> None:
    """A net is what its threads were laid as, lines (derived); rows on unlike rows are a fill."""
    book = Labelled()
    for spacing, turned in ((0.95, False), (across, True)):
        levels = np.arange(-12.0, 12.01, spacing)
        side = np.where(np.arange(len(levels)) % 2, 12.0, -12.0)
        ends = np.stack([np.repeat(side, 2) * np.tile([1.0, -1.0], len(side)), np.repeat(levels, 2)], axis=1)
        rows = [np.linspace(a, b, 13) for a, b in ends.reshape(-1, 2, 2)]
        points = np.concatenate(rows)
        book.sew(points[:, ::-1] if turned else points, kind, new=not turned)
    kinds = kinds_of(cut(book.design()))
    assert (kinds == kind).mean() > (0.95 if kind == "run" else 0.4)
