"""Families of random labelled designs, each its own function of a sheet: ordinary settings and hard ones.

``FAMILIES`` names them; ``labelled(name, seed, hard)`` makes one design. ``mixed`` puts members of several
families on one sheet, as designs do. Labels are those of what was meant; ways between sections of one fill
are that fill, ways between objects are travel, whether something comes to cover them or not.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from labelled import divide, fill, rows_of, run, wave
from labelled_parts import (
    Border,
    Made,
    Sheet,
    column_points,
    column_underlay,
    concentric,
    fill_underlay,
    inward,
    placed,
    random_shape,
    ring_points,
    split_points,
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


def _size(sheet: Sheet) -> float:
    return sheet.between((14, 30), (9, 45))


def _rows(sheet: Sheet, shape: Polygon, **given: object) -> int:
    """Sew a straight fill with what lies under it; return the number of the top."""
    rng = sheet.rng
    angle = float(rng.uniform(0, 180))
    spacing = float(given.get("spacing", sheet.between((0.35, 0.5), (0.25, 0.9))))
    before = sheet.number
    base = fill_underlay(sheet, shape, angle)
    options: dict = {
        "angle": angle,
        "spacing": spacing,
        "stitch": sheet.between((3.0, 4.5), (2.0, 6.0)),
        "stagger": STAGGERS[int(rng.integers(len(STAGGERS)))],
        "ends": "vee" if rng.random() < 0.35 else "step",
    } | given
    lengths = [np.hypot(*(row[1] - row[0])) for s in rows_of(shape, angle, 1.0) for row in s]
    if np.median(lengths) < 1.5 * options["stitch"]:
        # Leaning rows of one stitch each would be a zig-zag, whatever they were meant as.
        options["ends"] = "step"
    _approach(sheet, shape, options, joined=sheet.number > before)
    fill(sheet, shape, **options)
    turned = affinity.rotate(shape, -angle, origin=(0, 0)).bounds
    height = turned[3] - turned[1]
    grown = options.get("growth", 1.0)
    laid = height / max(2, round(height / (spacing * (1 + grown) / 2)))
    taken = swept(rows_of(shape, angle, spacing, grown))
    return sheet.note(Made("fill", laid if grown == 1.0 else None, angle, None, base, taken))


def _approach(sheet: Sheet, shape: Polygon, options: dict, *, joined: bool) -> None:
    start = rows_of(shape, options["angle"], options["spacing"], options.get("growth", 1.0))[0][0][0]
    inward(sheet, start) if joined else sheet.go(start)


def _outlined(sheet: Sheet, shape: Polygon, top: int) -> None:
    """Sew something along the edge of a fill, or nothing."""
    rng = sheet.rng
    way = rng.random()
    if way < 0.35:
        return
    if rng.random() < 0.7:
        sheet.thread()
    if way < 0.75:
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
    """Fill a shape with straight rows, at times with an outline."""
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
    path = (
        np.concatenate(
            [
                np.stack([r * np.cos(t), r * np.sin(t)], axis=1)
                for r in radii
                for t in [np.linspace(0, 2 * np.pi, 90)]
            ]
        )
        + at
    )
    points = thread_points(path, sheet.rng.uniform(1.8, 3.0), sheet.rng)
    sheet.go(points[0])
    sheet.sew(points, "fill")
    sheet.note(Made("fill", spacing))


def contour(sheet: Sheet, at: Place) -> None:
    """Fill a shape by rings that follow its edge, nested; parts that come apart are reached by a way."""
    shape = placed(random_shape(sheet, _size(sheet), holes=False), at)
    if shapely.get_type_id(shape) != 3:
        shape = max(shapely.get_parts(shape), key=lambda p: p.area)
    spacing = sheet.between((0.35, 0.5), (0.3, 0.8))
    first = True
    for path in concentric(shape, spacing):
        points = thread_points(path, sheet.between((2.0, 3.0), (1.6, 4.0)), sheet.rng)
        if first:
            sheet.go(points[0])
        else:
            sheet.sew(divide(np.array([sheet.here, points[0]]), 2.5)[1:], "fill", new=False)
        sheet.sew(points, "fill", new=first)
        first = False
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


def _line(sheet: Sheet, at: Place, length: float) -> np.ndarray:
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


def columns(sheet: Sheet, at: Place) -> None:
    """Sew satin columns, straight and curved, even and tapered."""
    for k in range(int(sheet.rng.integers(1, 4))):
        width = sheet.between((1.5, 6.0), (0.8, 10.0))
        length = max(sheet.between((12, 30), (8, 50)), 3 * width)
        centre = _line(sheet, (at[0], at[1] + 15 * k), length)
        curved = len(centre) > 2
        if curved:
            bend = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(centre, axis=0).T[::-1]))))
            tightest = np.hypot(*np.diff(centre, axis=0).T)[1:] / np.maximum(bend, 1e-6)
            width = min(width, 1.3 * float(tightest.min()))
        if width < 0.7:
            continue
        spacing = sheet.between((0.18, 0.28), (0.15, 0.42))
        centre, base = column_underlay(sheet, centre, width)
        taper = sheet.chance(0.2, 0.4) and width > 2
        widths = np.array([0.5 * width, width, width, 0.6 * width]) if taper else np.array([width])
        points = column_points(centre, widths, spacing, shortened=curved and sheet.chance(0.3, 0.6))
        inward(sheet, points[0]) if base else sheet.go(points[0])
        sheet.sew(points, "satin")
        sheet.note(Made("satin", None if curved else spacing, None, None if taper or curved else width, base))


def split_columns(sheet: Sheet, at: Place) -> None:
    """Sew columns so wide that their threads are split."""
    width = sheet.between((7, 11), (5.5, 13.5))
    length = sheet.between((15, 30), (12, 40))
    centre = _line(sheet, at, length)
    if len(centre) > 2:
        centre = centre[[0, -1]]
    spacing = sheet.between((0.18, 0.25), (0.16, 0.32))
    centre, base = column_underlay(sheet, centre, width)
    points = column_points(centre, np.array([width]), spacing)
    pattern = ("even", "stepped", "random")[int(sheet.rng.integers(3))]
    points = split_points(points, 2 if width < 9 else 3, pattern, sheet.rng)
    inward(sheet, points[0]) if base else sheet.go(points[0])
    sheet.sew(points, "satin")
    sheet.note(Made("satin", spacing, None, width, base))


def lines(sheet: Sheet, at: Place) -> None:
    """Sew runs once, twice and three times, along curves, shapes and bent lines."""
    rng = sheet.rng
    for k in range(int(rng.integers(2, 5))):
        way = rng.random()
        place = (at[0] + rng.uniform(-3, 3), at[1] + 12 * k)
        if way < 0.4:
            path = _line(sheet, place, sheet.between((12, 35), (6, 50)))
        elif way < 0.75:
            path = ring_points(
                placed(random_shape(sheet, sheet.between((8, 20), (5, 35)), holes=False), place), 0
            )
        else:
            path = np.cumsum(rng.normal(0, 4, (int(rng.integers(4, 9)), 2)), axis=0) + place
        if path is None:
            continue
        sheet.go(path[0])
        run(sheet, path, stitch=sheet.between((1.8, 3.0), (1.2, 4.0)), passes=int(rng.integers(1, 4)))
        sheet.note(Made("run"))


def branches(sheet: Sheet, at: Place) -> None:
    """Sew a twig: out along each branch and back on it, without a cut."""
    rng = sheet.rng
    stem = divide(_line(sheet, at, sheet.between((20, 35), (15, 50))), 2.2)
    sheet.go(stem[0])
    way = [stem[:1]]
    for k in range(1, len(stem)):
        way.append(stem[k : k + 1])
        if k % 3 == 0 and k < len(stem) - 1:
            tip = stem[k] + rng.normal(0, 1, 2) * rng.uniform(2, 5)
            branch = divide(np.array([stem[k], tip]), 2.0)
            way += [branch[1:], branch[-2::-1]]
    if rng.random() < 0.6:
        way.append(stem[-2::-1])
    sheet.sew(np.concatenate(way), "run")
    sheet.note(Made("run"))


GLYPHS = {
    "L": [[(0, 1), (0, 0)], [(0, 0), (0.6, 0)]],
    "T": [[(0, 1), (0.8, 1)], [(0.4, 1), (0.4, 0)]],
    "E": [[(0, 0), (0, 1)], [(0, 1), (0.6, 1)], [(0, 0.5), (0.5, 0.5)], [(0, 0), (0.6, 0)]],
    "N": [[(0, 0), (0, 1)], [(0, 1), (0.7, 0)], [(0.7, 0), (0.7, 1)]],
    "V": [[(0, 1), (0.35, 0)], [(0.35, 0), (0.7, 1)]],
    "I": [[(0, 0), (0, 1)]],
    "O": "arc 0 6.1",
    "C": "arc 0.8 5.5",
}


def lettering(sheet: Sheet, at: Place) -> None:
    """Sew a word in satin letters of straight and round columns."""
    rng = sheet.rng
    height = sheet.between((8, 18), (4.5, 30))
    width = max(height * rng.uniform(0.12, 0.18), 0.8)
    spacing = sheet.between((0.18, 0.25), (0.15, 0.32))
    under = rng.random() < 0.6 and width > 1.2
    x = at[0] - 1.5 * height
    for _ in range(4):
        glyph = GLYPHS[str(rng.choice(list(GLYPHS)))]
        if isinstance(glyph, str):
            first, last = (float(v) for v in glyph.split()[1:])
            t = np.linspace(first, last, 60)
            strokes = [np.stack([0.35 + 0.35 * np.cos(t), 0.5 + 0.5 * np.sin(t)], axis=1)]
        else:
            strokes = [np.array(ends, dtype=float) for ends in glyph]
        for k, stroke in enumerate(strokes):
            centre = stroke * height + [x, at[1]]
            if k and np.hypot(*(centre[-1] - sheet.here)) < np.hypot(*(centre[0] - sheet.here)):
                centre = centre[::-1]
            # Inside a letter one goes on under what is still to be sewn, or cuts.
            near = k and np.hypot(*(centre[0] - sheet.here)) < 0.4 * height
            inward(sheet, centre[0]) if near else sheet.go(centre[0])
            base = frozenset()
            if under:
                run(sheet, centre, stitch=2.0, label="underlay")
                centre, base = centre[::-1], frozenset({"centre-run"})
            sheet.sew(column_points(centre, np.array([width]), spacing), "satin")
            sheet.note(Made("satin", spacing if len(centre) == 2 else None, None, width, base))
        x += height * 1.1


def applique(sheet: Sheet, at: Place) -> None:
    """Sew a placement line, a halt, a tack-down, a halt, and the satin that covers the cloth's edge."""
    shape = placed(random_shape(sheet, sheet.between((18, 30), (14, 45)), holes=False), at)
    width = sheet.between((3.0, 4.0), (2.5, 5.0))
    path = ring_points(shape, 0.0)
    round_ = ring_points(shape, 0.01, mitre=False)
    if path is None or round_ is None:
        return
    sheet.thread()
    sheet.go(path[0])
    run(sheet, path, stitch=2.5, label="underlay")
    sheet.note(Made("placement"))
    sheet.thread()
    if sheet.rng.random() < 0.5:
        sheet.go(path[0])
        run(sheet, path, stitch=2.0, passes=2, label="underlay")
    else:
        points = column_points(round_, np.array([0.6 * width]), sheet.rng.uniform(0.8, 1.4))
        sheet.go(points[0])
        sheet.sew(points, "underlay")
    sheet.note(Made("tack-down"))
    sheet.thread()
    smooth = ring_points(shapely.buffer(shapely.buffer(shape, -0.4 * width), 0.4 * width), 0.0)
    points = column_points(
        smooth if smooth is not None else round_, np.array([width]), sheet.rng.uniform(0.18, 0.25)
    )
    sheet.go(points[0])
    sheet.sew(points, "satin")
    sheet.note(Made("satin", None, None, width))


def lace(sheet: Sheet, at: Place) -> None:
    """Sew a free-standing network: lines across each other, in one thread."""
    size, mesh = sheet.between((20, 35), (14, 45)), sheet.between((2.0, 3.5), (1.6, 5.0))
    turn = float(sheet.rng.uniform(0, 180))
    levels = np.arange(-size / 2, size / 2 + 0.1, mesh)
    parts = []
    for swap in (False, True):
        for k, y in enumerate(levels):
            ends = np.array([[-size / 2, y], [size / 2, y]])[:: 1 if k % 2 == 0 else -1]
            parts.append(ends[:, ::-1] if swap else ends)
    path = affinity.rotate(LineString(np.concatenate(parts)), turn, origin=(0, 0))
    points = [
        divide(pair, 2.0)
        for pair in np.lib.stride_tricks.sliding_window_view(
            shapely.get_coordinates(path) + at, 2, axis=0
        ).transpose(0, 2, 1)
    ]
    sheet.go(points[0][0])
    sheet.sew(np.concatenate(points), "run")
    sheet.note(Made("run"))


def on_top(sheet: Sheet, at: Place) -> None:
    """Sew details on a fill: a line, a column."""
    shape = placed(random_shape(sheet, sheet.between((28, 38), (24, 45)), holes=False), at)
    _rows(sheet, shape)
    inner = shape.representative_point()
    reach = shapely.boundary(shape).distance(inner)
    if sheet.rng.random() < 0.8:
        sheet.thread()
    path = _line(sheet, (inner.x, inner.y), 1.5 * reach)
    sheet.go(path[0])
    run(sheet, path, stitch=2.2, passes=int(sheet.rng.integers(1, 4)))
    sheet.note(Made("run"))
    centre = np.array([[inner.x - 0.6 * reach, inner.y], [inner.x + 0.6 * reach, inner.y]])
    if reach > 5:
        sheet.go(centre[0])
        sheet.sew(column_points(centre, np.array([2.0]), 0.22), "satin")
        sheet.note(Made("satin", 0.22, None, 2.0))


def overlapping(sheet: Sheet, at: Place) -> None:
    """Sew one fill, and a second one that lies partly on it."""
    _rows(sheet, placed(random_shape(sheet, _size(sheet), holes=False), at))
    if sheet.rng.random() < 0.8:
        sheet.thread()
    size = _size(sheet)
    _rows(sheet, placed(random_shape(sheet, size, holes=False), (at[0] + 0.6 * size, at[1] + 4)))


FILLS: dict[str, Callable[[Sheet, Place], None]] = {
    f.__name__: f for f in (straight, gradient, thin_fill, spiral, rings, contour, wavy, on_top, overlapping)
}
FAMILIES: dict[str, Callable[[Sheet, Place], None]] = FILLS | {
    f.__name__: f for f in (columns, split_columns, lines, branches, lettering, applique, lace)
}
#: what a mixed design is made of: lace stands by itself
_MIXED = [name for name in FAMILIES if name != "lace"]


def labelled(name: str, seed: int, *, hard: bool) -> Sheet:
    """Make one random design of a family, or a "mixed" one of four to seven families."""
    number = 1000 * [*FAMILIES, "mixed"].index(name)
    sheet = Sheet(rng=np.random.default_rng([number, seed, hard]), hard=hard)
    if hard and sheet.rng.random() < 0.5:
        sheet.longest_mm = 12.1
    if name != "mixed":
        FAMILIES[name](sheet, (0.0, 0.0))
        return sheet
    names = sheet.rng.choice(_MIXED, int(sheet.rng.integers(4, 8)), replace=False)
    for k, each in enumerate(names):
        if k and sheet.rng.random() < 0.6:
            sheet.thread()
        FAMILIES[str(each)](sheet, (60.0 * (k % 3), 60.0 * (k // 3)))
    return sheet
