"""Families of random fills: straight rows, curved rows, rings, and what lies on a fill."""

from __future__ import annotations

import numpy as np
import shapely
from labelled import divide, fill, rows_of, run, wave
from labelled_parts import (
    Border,
    Made,
    Sheet,
    around_points,
    column_points,
    column_underlay,
    concentric,
    fill_underlay,
    inward,
    placed,
    random_shape,
    ring_points,
    swept,
    thread_points,
)
from shapely import affinity
from shapely.geometry import LineString, Polygon

Place = tuple[float, float]

STAGGERS = (
    (0.0, 0.5),
    (0.0, 1 / 3, 2 / 3),
    (0.0, 0.25, 0.5, 0.75),
    (0.0, 0.4, 0.8, 0.2, 0.6),
    (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9),
)


def bent_line(sheet: Sheet, at: Place, length: float) -> np.ndarray:
    """Return a straight, bent or tightly curved centre line around ``at``."""
    way = sheet.rng.random()
    if way < 0.4:
        path = np.array([[-length / 2, 0.0], [length / 2, 0.0]])
    elif way < 0.75:
        path = wave(length, sheet.rng.uniform(0.05, 0.25) * length, sheet.rng.uniform(0.4, 1.5))
    else:
        t = np.linspace(0, sheet.rng.uniform(2.0, 6.0), 80)
        path = length / 6 * np.stack([np.cos(t), np.sin(t)], axis=1)
    path = path - path.mean(axis=0)
    turned = affinity.rotate(LineString(path), sheet.rng.uniform(0, 360), origin=(0, 0))
    return shapely.get_coordinates(turned) + at


def _size(sheet: Sheet) -> float:
    return sheet.between((14, 30), (9, 45))


def _rows(sheet: Sheet, shape: Polygon, **given: object) -> int:
    """Sew a straight fill with what lies under it; return the number of the top."""
    rng = sheet.rng
    angle = float(rng.uniform(0, 180))
    spacing = float(given.get("spacing", sheet.between((0.35, 0.5), (0.25, 0.9))))
    before = sheet.number
    base = fill_underlay(sheet, shape, angle)
    stagger = STAGGERS[int(rng.integers(len(STAGGERS)))]
    options: dict = {
        "angle": angle,
        "spacing": spacing,
        "stitch": sheet.between((3.0, 4.5), (2.0, 6.0)),
        "stagger": tuple(rng.uniform(0, 1, 60)) if rng.random() < 0.15 else stagger,
        "ends": "vee" if rng.random() < 0.35 else "step",
        "ways": ("run", "jump", "trim" if sheet.trims else "jump")[int(rng.choice(3, p=(0.7, 0.1, 0.2)))],
    } | given
    lengths = [np.hypot(*(row[1] - row[0])) for s in rows_of(shape, angle, 1.0) for row in s]
    if np.quantile(lengths, 0.35) < options["stitch"]:
        # Where many leaning rows are one stitch, rail to rail, it is a satin, whatever it was meant as.
        options["ends"] = "step"
    _approach(sheet, shape, options, joined=sheet.number > before)
    fill(sheet, shape, **options)
    turned = affinity.rotate(shape, -angle, origin=(0, 0)).bounds
    height = turned[3] - turned[1]
    grown = options.get("growth", 1.0)
    laid = height / max(2, round(height / (spacing * (1 + grown) / 2)))
    thread = sheet.stitches_of(sheet.number)
    taken = swept(rows_of(shape, angle, spacing, grown), options["ends"], spacing * max(1.0, grown), thread)
    return sheet.note(Made("fill", laid if grown == 1.0 else None, angle, None, base, taken))


def _approach(sheet: Sheet, shape: Polygon, options: dict, *, joined: bool) -> None:
    start = rows_of(shape, options["angle"], options["spacing"], options.get("growth", 1.0))[0][0][0]
    inward(sheet, start) if joined else sheet.go(start)


def _outlined(sheet: Sheet, shape: Polygon, top: int) -> None:
    """Sew something along the edge of a fill, or nothing."""
    rng = sheet.rng
    way = rng.random()
    if way < 0.2:
        return
    if rng.random() < 0.7:
        sheet.thread()
    if way < 0.6:
        gap = sheet.between((-0.3, 0.3), (-0.6, 0.7))
        path = ring_points(shape, gap)
        if path is None:
            return
        sheet.go(path[0])
        passes = int(rng.integers(1, 4))
        run(sheet, path, stitch=sheet.between((2.0, 3.0), (1.5, 4.0)), passes=passes)
        sheet.note(Made("run"))
    else:
        width = sheet.between((1.8, 3.0), (1.2, 4.0))
        gap = -sheet.between((0.2, 0.6), (0.0, 0.9))
        path = ring_points(shape, gap + width / 2, mitre=False)
        if path is None:
            return
        centre, base = column_underlay(sheet, path, width)
        points = column_points(centre, np.array([width]), sheet.between((0.18, 0.25), (0.15, 0.4)))
        inward(sheet, points[0]) if base else sheet.go(points[0])
        sheet.sew(points, "satin")
        sheet.note(Made("satin", None, None, width, base))
    sheet.borders.append(Border(sheet.number, top, gap, sheet.made[top].shape))


def straight(sheet: Sheet, at: Place) -> None:
    """Fill a shape with straight rows, mostly with an outline."""
    shape = placed(random_shape(sheet, _size(sheet)), at)
    _outlined(sheet, shape, _rows(sheet, shape))


def gradient(sheet: Sheet, at: Place) -> None:
    """Fill a shape with rows that lie further and further apart."""
    shape = placed(random_shape(sheet, _size(sheet), holes=False), at)
    start, growth = sheet.between((0.3, 0.4), (0.25, 0.4)), sheet.between((1.6, 2.2), (1.5, 3.0))
    _rows(sheet, shape, spacing=start, growth=growth)


def thin_fill(sheet: Sheet, at: Place) -> None:
    """Fill a strip so narrow that most rows are one stitch; the rows end in steps."""
    width = sheet.between((2.5, 4.0), (1.8, 5.0))
    strip = shapely.box(-sheet.between((10, 18), (8, 30)), 0, 0, width)
    if sheet.rng.random() < 0.5:
        line = LineString(wave(25, sheet.rng.uniform(1, 4)))
        strip = shapely.buffer(line, width / 2, cap_style="flat")
    turn = float(sheet.rng.uniform(0, 180))
    shape = placed(affinity.rotate(strip, turn, origin=(0, 0)), at)
    options = {
        "angle": turn + 90 + sheet.rng.uniform(-15, 15),
        "spacing": sheet.between((0.35, 0.5), (0.3, 0.7)),
        "stitch": sheet.rng.uniform(5.0, 7.0),
    }
    _approach(sheet, shape, options, joined=False)
    fill(sheet, shape, ends="step", **options)
    sheet.note(Made("fill", None, options["angle"] % 180, None, frozenset(), shape))


def spiral(sheet: Sheet, at: Place) -> None:
    """Fill a disc by one spiral, from the middle out or from the edge in."""
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    turns = sheet.between((8, 15), (7, 22)) / 2 / spacing
    t = np.linspace(0, 2 * np.pi * turns, int(90 * turns))
    radius = spacing * t / (2 * np.pi)
    stretch = sheet.between((1.0, 1.0), (0.6, 1.0))
    path = np.stack([radius * np.cos(t) + at[0], stretch * radius * np.sin(t) + at[1]], axis=1)
    points = thread_points(
        path[:: 1 if sheet.rng.random() < 0.5 else -1], sheet.rng.uniform(1.8, 3.5), sheet.rng
    )
    sheet.go(points[0])
    sheet.sew(points, "fill")
    sheet.note(Made("fill", spacing if stretch == 1.0 else None))


def rings(sheet: Sheet, at: Place) -> None:
    """Fill a disc by closed rings, each reached by a step."""
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    radii = np.arange(sheet.between((5, 10), (3, 14)), 1.0, -spacing)
    t = np.linspace(0, 2 * np.pi, 90)
    path = np.concatenate([r * np.stack([np.cos(t), np.sin(t)], axis=1) for r in radii]) + at
    points = thread_points(path, sheet.rng.uniform(1.8, 3.0), sheet.rng)
    sheet.go(points[0])
    sheet.sew(points, "fill")
    sheet.note(Made("fill", spacing))


def _simple(shape: Polygon) -> Polygon:
    return max(shapely.get_parts(shape), key=lambda p: p.area)


def contour(sheet: Sheet, at: Place) -> None:
    """Fill a shape by rings that follow its edge, nested; parts that come apart are reached by a way."""
    shape = _simple(placed(random_shape(sheet, _size(sheet), holes=False), at))
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    first, edge = True, shape
    for path in concentric(shape, spacing):
        points = thread_points(path, sheet.between((2.0, 3.0), (1.6, 4.0)), sheet.rng)
        if first:
            sheet.go(points[0])
            edge = around_points(points, shape)
        else:
            sheet.sew(divide(np.array([sheet.here, points[0]]), 2.5)[1:], "fill", new=False)
        sheet.sew(points, "fill", new=first)
        first = False
    top = sheet.note(Made("fill", spacing, None, None, frozenset(), edge))
    if sheet.rng.random() < 0.5:
        _outlined(sheet, shape, top)


def contour_jumps(sheet: Sheet, at: Place) -> None:
    """Fill a shape by nested rings, each reached by a jump, cut or not, tied or not."""
    shape = _simple(placed(random_shape(sheet, _size(sheet), holes=False), at))
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    trim = sheet.trims and sheet.chance(0.5, 0.5)
    tied = sheet.ties and trim and sheet.chance(0.5, 0.5)
    stitch = sheet.between((2.0, 3.0), (1.6, 4.0))
    todo, first = [shape], True
    while todo:
        area = todo.pop()
        ring = shapely.get_coordinates(area.exterior)[:-1]
        if not first:
            ring = np.roll(ring, -int(np.argmin(np.hypot(*(ring - sheet.here).T))), axis=0)
        points = thread_points(np.concatenate([ring, ring[:1]]), stitch, sheet.rng)
        if first:
            sheet.go(points[0])
        else:
            # The ties and floats of each ring are of the fill.
            if tied:
                sheet.lock("fill", new=False)
            sheet.move(points[0], trim=trim)
            sheet.sew(points[:1], "fill", new=False)
            if tied:
                sheet.lock("fill", new=False)
        sheet.sew(points, "fill", new=first)
        first = False
        inner = shapely.get_parts(shapely.buffer(area, -spacing, join_style="round"))
        todo += [part for part in inner if part.area > 0.5]
    sheet.note(Made("fill", spacing, None, None, frozenset(), shape))


def wavy(sheet: Sheet, at: Place) -> None:
    """Fill a block with rows that all follow one wave."""
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    length, height = sheet.between((14, 25), (10, 40)), sheet.between((10, 18), (6, 25))
    row = wave(length, sheet.between((0.5, 1.5), (0.5, 3.0)), sheet.between((0.5, 1.2), (0.5, 2.0)))
    stitch, found = sheet.between((2.0, 3.0), (1.6, 4.0)), []
    for k, y in enumerate(np.arange(0, height, spacing)):
        points = thread_points(row + np.array([0, y]), stitch, sheet.rng)
        found.append(points if k % 2 == 0 else points[::-1])
    points = affinity.rotate(LineString(np.concatenate(found)), sheet.rng.uniform(0, 360), origin=(0, 0))
    points = shapely.get_coordinates(points) + at
    sheet.go(points[0])
    sheet.sew(points, "fill")
    sheet.note(Made("fill"))


def on_top(sheet: Sheet, at: Place) -> None:
    """Sew details on a fill: a line, a column."""
    shape = placed(random_shape(sheet, sheet.between((28, 38), (24, 45)), holes=False), at)
    _rows(sheet, shape)
    inner = shape.representative_point()
    reach = shapely.boundary(shape).distance(inner)
    if sheet.rng.random() < 0.8:
        sheet.thread()
    path = bent_line(sheet, (inner.x, inner.y), 1.5 * reach)
    sheet.go(path[0])
    run(sheet, path, stitch=2.2, passes=int(sheet.rng.integers(1, 4)))
    sheet.note(Made("run"))
    centre = np.array([[inner.x - 0.6 * reach, inner.y], [inner.x + 0.6 * reach, inner.y]])
    if reach > 5:
        sheet.go(centre[0])
        sheet.sew(column_points(centre, np.array([2.0]), 0.22), "satin")
        sheet.note(Made("satin", 0.22, 90.0, 2.0))


def overlapping(sheet: Sheet, at: Place) -> None:
    """Sew one fill, and a second one that lies partly on it."""
    _rows(sheet, placed(random_shape(sheet, _size(sheet), holes=False), at))
    if sheet.rng.random() < 0.8:
        sheet.thread()
    size = _size(sheet)
    _rows(sheet, placed(random_shape(sheet, size, holes=False), (at[0] + 0.6 * size, at[1] + 4)))
