"""Changes to a design: what they move, what they leave alone, and shapes against shapely."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.changes import outline_next, refilled, split_up, underlaid, widened, without
from analyzer.changes.refill import fill_rows, shape_of
from analyzer.changes.rows import as_design, rows_of
from analyzer.design import Command, Design, Thread
from analyzer.formats import read
from analyzer.regions import cut
from analyzer.regions.types import Region, RegionKind, Regions

SAMPLES = Path(__file__).parents[1] / "sample_designs"

SIDE_MM, ROW_MM, STITCH_MM = 24.0, 0.4, 3.5
THREADS = (Thread("#103a6b"), Thread("#d9a441"), Thread("#b03030"))


def square_of_rows(x0: float = 0.0) -> np.ndarray:
    return fill_rows(
        shapely.box(x0, 0.0, x0 + SIDE_MM, SIDE_MM), ROW_MM, 0.0, STITCH_MM, np.array([x0, 0.0])
    )[0]


def ring(x0: float = 0.0) -> np.ndarray:
    curve = shapely.box(x0, 0.0, x0 + SIDE_MM, SIDE_MM).exterior
    return shapely.get_coordinates(
        shapely.line_interpolate_point(curve, np.arange(0.0, 4 * SIDE_MM + 1.0, 2.0))
    )


def sewn(*parts: tuple[np.ndarray, int]) -> Design:
    """Return a design of stretches (points, colour), each reached by a trim and a jump."""
    points, kinds, last = [], [], parts[0][1]
    for path, colour in parts:
        if points:
            points += [points[-1]] * (1 + (colour != last))
            kinds += [Command.TRIM] + [Command.COLOUR_CHANGE] * (colour != last)
        points += [path[0], *path]
        kinds += [Command.JUMP] + [Command.STITCH] * len(path)
        last = colour
    order = [colour for i, (_, colour) in enumerate(parts) if i == 0 or colour != parts[i - 1][1]]
    threads = tuple(THREADS[i] for i in order)
    return Design.from_commands(np.array(points), np.array(kinds, dtype=np.uint8), threads=threads)


@pytest.fixture(scope="module")
def late() -> tuple[Design, Regions]:
    """A square, another square beside it in a second colour, then the outline of the first in a third."""
    design = sewn((square_of_rows(), 0), (square_of_rows(30.0), 1), (ring(), 2))
    return design, cut(design)


def parts_of(regions: Regions) -> tuple[Region, Region, Region]:
    fills = [item for item in regions.items if item.kind == RegionKind.FILL]
    runs = [item for item in regions.items if item.kind == RegionKind.RUN]
    return fills[0], fills[1], runs[0]


def bag(points: np.ndarray) -> Counter[tuple[float, float]]:
    return Counter(map(tuple, np.round(points, 6).tolist()))


def test_rows_make_the_same_design_again(late: tuple[Design, Regions]) -> None:
    design, _ = late
    again = as_design(rows_of(design)[0], design)
    assert np.array_equal(again.penetrations, design.penetrations)
    assert np.array_equal(again.colour, design.colour)
    assert np.array_equal(again.joined, design.joined)
    assert again.threads == design.threads


def test_an_outline_is_sewn_right_after_its_fill(late: tuple[Design, Regions]) -> None:
    design, regions = late
    first, _, outline = parts_of(regions)
    changed = outline_next(design, regions, outline, first)
    assert changed is not None
    kinds = [item.kind for item in cut(changed).items if item.kind in (RegionKind.FILL, RegionKind.RUN)]
    assert kinds == [RegionKind.FILL, RegionKind.RUN, RegionKind.FILL]
    assert bag(changed.penetrations) == bag(design.penetrations)  # nothing is lost, nothing added
    assert changed.stitches == design.stitches
    assert [thread.rgb for thread in changed.threads] == ["#103a6b", "#b03030", "#d9a441"]
    assert changed.lengths_mm.sum() == pytest.approx(design.lengths_mm.sum())  # no thread across what it left
    assert outline_next(changed, cut(changed), *parts_of(cut(changed))[::-2]) is None  # it is there already


def test_an_outline_is_not_moved_over_a_halt_of_the_machine() -> None:
    design = sewn((square_of_rows(), 0), (square_of_rows(30.0), 1), (ring(), 2))
    at = int(np.flatnonzero(design.kinds == Command.COLOUR_CHANGE)[-1])
    halted = Design.from_commands(
        np.insert(design.points, at, design.points[at], axis=0),
        np.insert(design.kinds, at, np.uint8(Command.STOP)),
        threads=design.threads,
    )
    regions = cut(halted)
    first, _, outline = parts_of(regions)
    assert outline_next(halted, regions, outline, first) is None


def test_a_border_reaches_further_by_just_the_amount_and_only_near_its_edge(
    late: tuple[Design, Regions],
) -> None:
    design, regions = late
    first, _, outline = parts_of(regions)
    pair = next(p for p in regions.pairs if (p.outline, p.borders) == (outline.id, first.id))
    changed = widened(design, pair, first, 0.4)
    assert changed is not None
    moved = np.hypot(*(changed.penetrations - design.penetrations).T)
    own = np.arange(first.first, first.last + 1)
    assert moved.max() == pytest.approx(0.4, abs=1e-6)
    assert not np.delete(moved, own).any()
    before, after = design.penetrations[own], changed.penetrations[own]
    assert np.ptp(after[:, 0]) == pytest.approx(np.ptp(before[:, 0]) + 0.8, abs=0.02)
    assert np.ptp(after[:, 1]) == pytest.approx(np.ptp(before[:, 1]) + 0.8, abs=0.02)
    deep = np.abs(before - SIDE_MM / 2).max(axis=1) < SIDE_MM / 2 - 3.5
    assert not moved[own][deep].any()


def test_the_shape_of_a_fill_is_the_square_that_was_filled(late: tuple[Design, Regions]) -> None:
    design, regions = late
    shape = shape_of(design, parts_of(regions)[0])
    square = shapely.box(0.0, 0.0, SIDE_MM, SIDE_MM)
    assert shape.area == pytest.approx(square.area, rel=0.01)
    assert shapely.symmetric_difference(shape, square).area < 0.02 * square.area


@pytest.mark.parametrize(("spacing", "direction"), [(0.4, 0.0), (0.6, 0.0), (0.4, 90.0), (0.5, 37.0)])
def test_a_fill_sewn_anew_has_its_rows_and_the_old_shape(
    late: tuple[Design, Regions], spacing: float, direction: float
) -> None:
    design, regions = late
    first, _, _ = parts_of(regions)
    changed = refilled(design, first, spacing_mm=spacing, direction_deg=direction)
    assert changed is not None
    again = cut(changed)
    fills = [item for item in again.items if item.kind == RegionKind.FILL]
    assert len(fills) == 2
    assert fills[0].row_spacing_mm == pytest.approx(spacing, rel=0.05)
    assert fills[0].direction_deg is not None
    assert abs((fills[0].direction_deg - direction + 90.0) % 180.0 - 90.0) < 2.0
    old, new = shape_of(design, first), shape_of(changed, fills[0])
    assert shapely.symmetric_difference(old, new).area < 0.05 * old.area
    # the other stitching is untouched: all its penetrations are still there
    rest = np.delete(design.penetrations, np.arange(first.first, first.last + 1), axis=0)
    assert not bag(rest) - bag(changed.penetrations)
    # mass of thread: area over spacing (exact away from the edges)
    thread = changed.lengths_mm[fills[0].first : fills[0].last + 1].sum()
    assert thread == pytest.approx(SIDE_MM**2 / spacing, rel=0.08)


@settings(max_examples=40, deadline=None)
@given(st.floats(8.0, 30.0), st.floats(8.0, 30.0), st.floats(0.3, 0.9), st.floats(0.0, 180.0), st.booleans())
def test_rows_stay_inside_any_shape_and_cover_it(
    width: float, height: float, spacing: float, direction: float, holed: bool
) -> None:
    shape = shapely.box(0.0, 0.0, width, height)
    if holed:
        shape = shape.difference(shapely.Point(width / 2, height / 2).buffer(min(width, height) / 4))
    sections = fill_rows(shape, spacing, direction, STITCH_MM, np.zeros(2))
    points = np.concatenate(sections)
    assert shapely.covers(shape.buffer(1e-6), shapely.multipoints(points))
    lines = shapely.multilinestrings([shapely.linestrings(section) for section in sections])
    assert shape.difference(lines.buffer(0.75 * spacing)).area < 0.04 * shape.area + 0.5
    # rows that run to and fro never cross the hole
    assert (
        shapely.intersection(lines, shapely.Point(width / 2, height / 2).buffer(0.01)).is_empty or not holed
    )


def test_underlay_is_sewn_before_its_fill_and_inside_it(late: tuple[Design, Regions]) -> None:
    design, regions = late
    first, _, _ = parts_of(regions)
    changed = underlaid(design, first, inset_mm=1.0, spacing_mm=2.5)
    assert changed is not None
    again = cut(changed)
    fill = next(item for item in again.items if item.kind == RegionKind.FILL)
    under = [item for item in again.items if item.kind == RegionKind.UNDERLAY and item.last < fill.first]
    assert under
    assert set(fill.covers) >= {item.id for item in under}
    new = changed.penetrations[: len(changed.penetrations) - len(design.penetrations)]
    assert new.min() >= 1.0 - 0.05
    assert new.max() <= SIDE_MM - 1.0 + 0.05


def test_what_is_left_out_leaves_no_thread_behind(late: tuple[Design, Regions]) -> None:
    design, regions = late
    _, second, _ = parts_of(regions)
    changed = without(design, regions, (second.id,))
    assert changed is not None
    assert second.stitches == design.stitches - changed.stitches
    assert changed.lengths_mm.max() <= design.lengths_mm.max() + 1e-9
    assert without(design, regions, (999,)) is None


def test_a_fill_sewn_in_halves_covers_the_same_shape_in_two_directions() -> None:
    """Area and thread against shapely on the fill before; the halves' rows are square to each other."""
    design = read(SAMPLES / "crest-outline-last.dst")
    regions = cut(design)
    fill = max((one for one in regions.items if one.kind == RegionKind.FILL), key=lambda one: one.stitches)
    halves = split_up(design, fill)
    assert halves is not None
    shape, again = shape_of(design, fill), cut(halves)
    parts = [one for one in again.items if one.kind == RegionKind.FILL and one.stitches > 0.2 * fill.stitches]
    assert len(parts) == 2
    first, second = (one.direction_deg or 0.0 for one in parts)
    assert abs((first - second) % 180.0 - 90.0) < 3.0
    sewn = shapely.union_all([shape_of(halves, one) for one in parts])
    assert shapely.area(shapely.symmetric_difference(sewn, shape)) < 0.06 * shape.area
    assert halves.stitches == pytest.approx(design.stitches, rel=0.1)
    assert np.array_equal(halves.penetrations[: fill.first], design.penetrations[: fill.first])
