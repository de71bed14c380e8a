"""Families of random satins: columns, borders round corners, lettering, appliques."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from labelled import run
from labelled_fills import Place, bent_line
from labelled_parts import (
    Made,
    Sheet,
    column_points,
    column_underlay,
    inward,
    mitred_points,
    placed,
    random_shape,
    ring_points,
    split_points,
)
from shapely import affinity
from shapely.geometry import LineString
from shapely.ops import substring


def _across(centre: np.ndarray) -> float | None:
    """Direction of the threads of a straight column, degrees; None for a curved one."""
    if len(centre) > 2:
        return None
    return float(np.degrees(np.arctan2(*(centre[1] - centre[0])[::-1])) + 90.0) % 180.0


def _fitting(centre: np.ndarray, width: float) -> float:
    """Return a width that the tightest bend of a curved centre line still takes."""
    if len(centre) < 3:
        return width
    bend = np.abs(np.diff(np.unwrap(np.arctan2(*np.diff(centre, axis=0).T[::-1]))))
    tightest = np.hypot(*np.diff(centre, axis=0).T)[1:] / np.maximum(bend, 1e-6)
    return min(width, 1.3 * float(tightest.min()))


def columns(sheet: Sheet, at: Place) -> None:
    """Sew satin columns, straight and curved, even, tapered or to a point."""
    for k in range(int(sheet.rng.integers(1, 4))):
        width = sheet.between((1.5, 6.0), (0.7, 11.0))
        length = max(sheet.between((12, 30), (8, 50)), 3 * width)
        centre = bent_line(sheet, (at[0], at[1] + 15 * k), length)
        width = _fitting(centre, width)
        if width < 0.7:
            continue
        curved = len(centre) > 2
        spacing = sheet.between((0.18, 0.28), (0.15, 0.42))
        centre, base = column_underlay(sheet, centre, width)
        taper = sheet.chance(0.2, 0.4) and width > 2
        widths = np.array([width])
        if taper:
            tips = ((0.5, 1, 1, 0.6), (0.1, 1, 1, 0.1), (0.05, 0.6, 1, 1))[int(sheet.rng.integers(3))]
            widths = width * np.array(tips)
        points = column_points(centre, widths, spacing, shortened=curved and sheet.chance(0.3, 0.6))
        inward(sheet, points[0]) if base else sheet.go(points[0])
        sheet.sew(points, "satin")
        sheet.note(Made("satin", spacing, _across(centre), None if taper else width, base))


def split_columns(sheet: Sheet, at: Place) -> None:
    """Sew columns so wide that their threads are split."""
    width = sheet.between((7, 11), (5.5, 13.5))
    length = sheet.between((15, 30), (12, 40))
    centre = bent_line(sheet, at, length)
    if _fitting(centre, width) < width:
        centre = centre[[0, -1]]
    spacing = sheet.between((0.18, 0.25), (0.15, 0.32))
    centre, base = column_underlay(sheet, centre, width)
    points = column_points(centre, np.array([width]), spacing)
    pattern = ("even", "stepped", "random")[int(sheet.rng.integers(3))]
    points = split_points(points, 2 if width < 9 else 3, pattern, sheet.rng)
    inward(sheet, points[0]) if base else sheet.go(points[0])
    sheet.sew(points, "satin")
    sheet.note(Made("satin", spacing, _across(centre), width, base))


def corners(sheet: Sheet, at: Place) -> None:
    """Sew a column round corners: threads that fan out, or mitred ones, or a side over the end of another."""
    rng = sheet.rng
    count, closed = int(rng.integers(2, 6)), bool(rng.random() < 0.4)
    width = sheet.between((1.8, 4.0), (1.0, 6.0))
    side = max(sheet.between((12, 20), (8, 30)), 4 * width)
    path = [np.zeros(2)]
    if closed:
        size = np.array([side, sheet.rng.uniform(0.6, 1.0) * side])
        path = [size * p for p in ([0.5, 0], [1, 0], [1, 1], [0, 1], [0, 0], [0.5, 0])]
    else:
        turn = 0.0
        for _ in range(count):
            path.append(path[-1] + side * np.array([np.cos(turn), np.sin(turn)]))
            turn += float(rng.choice((-1, 1)) * np.radians(sheet.between((85, 95), (50, 110))))
        if not LineString(path).buffer(width).is_valid or not LineString(path).is_simple:
            path = path[:3]
    centre = np.array(path)
    centre = shapely.get_coordinates(
        affinity.rotate(LineString(centre - centre.mean(axis=0)), rng.uniform(0, 360), origin=(0, 0))
    ) + np.array(at)
    spacing, way = sheet.between((0.18, 0.28), (0.15, 0.42)), rng.random()
    if way < 0.7:
        base: frozenset[str] = frozenset()
        if rng.random() < 0.5 and width > 1.2:
            sheet.go(centre[0])
            run(sheet, centre, stitch=2.0, label="underlay")
            centre, base = centre[::-1], frozenset({"centre-run"})
        if way < 0.35:
            points = column_points(centre, np.array([width]), spacing, smooth=width / 2)
        else:
            points = mitred_points(centre, width, spacing)
        inward(sheet, points[0]) if base else sheet.go(points[0])
        sheet.sew(points, "satin")
        sheet.note(Made("satin", spacing, None, width, base))
        return
    for k, (a, b) in enumerate(itertools.pairwise(centre)):
        ahead = (b - a) / np.hypot(*(b - a)) * width / 2
        ends = np.array([a - ahead, b + ahead])
        points = column_points(ends, np.array([width]), spacing)
        inward(sheet, points[0], new=False) if k else sheet.go(points[0])
        sheet.sew(points, "satin", new=not k)
    sheet.note(Made("satin", spacing, None, width))


GLYPHS = {
    "L": [[(0, 1), (0, 0)], [(0, 0), (0.6, 0)]],
    "T": [[(0, 1), (0.8, 1)], [(0.4, 1), (0.4, 0)]],
    "E": [[(0, 0), (0, 1)], [(0, 1), (0.6, 1)], [(0, 0.5), (0.5, 0.5)], [(0, 0), (0.6, 0)]],
    "N": [[(0, 0), (0, 1)], [(0, 1), (0.7, 0)], [(0.7, 0), (0.7, 1)]],
    "V": [[(0, 1), (0.35, 0)], [(0.35, 0), (0.7, 1)]],
    "A": [[(0, 0), (0.4, 1)], [(0.4, 1), (0.8, 0)], [(0.15, 0.35), (0.65, 0.35)]],
    "K": [[(0, 0), (0, 1)], [(0.7, 1), (0, 0.45)], [(0.15, 0.5), (0.75, 0)]],
    "I": [[(0, 0), (0, 1)]],
    "O": "arc 0 6.1",
    "C": "arc 0.8 5.5",
    "S": "wave",
}


def _strokes(glyph: str) -> list[np.ndarray]:
    made = GLYPHS[glyph]
    if made == "wave":
        t = np.linspace(0.3, 1.75 * np.pi + 0.2, 60)
        return [np.stack([0.35 + 0.33 * np.cos(t), 1.0 - t / (2 * np.pi) * 0.9 + 0.22 * np.sin(t)], axis=1)]
    if isinstance(made, str):
        first, last = (float(v) for v in made.split()[1:])
        t = np.linspace(first, last, 60)
        return [np.stack([0.35 + 0.35 * np.cos(t), 0.5 + 0.5 * np.sin(t)], axis=1)]
    return [np.array(ends, dtype=float) for ends in made]


def lettering(sheet: Sheet, at: Place) -> None:
    """Sew a word in satin letters of straight and round columns, upright or slanted, in a turned line."""
    rng = sheet.rng
    height = sheet.between((8, 18), (4.5, 30))
    width = max(height * rng.uniform(0.12, 0.18), 0.8)
    spacing = sheet.between((0.18, 0.25), (0.15, 0.32))
    under = rng.random() < 0.6 and width > 1.2
    slant = rng.uniform(0.0, 0.3) if sheet.chance(0.2, 0.4) else 0.0
    turn = rng.uniform(-180, 180) if sheet.chance(0.2, 0.4) else 0.0
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    x = -1.5
    for _ in range(4):
        for k, stroke in enumerate(_strokes(str(rng.choice(list(GLYPHS))))):
            leaning = (stroke + np.array([x, 0.0])) @ np.array([[1.0, 0.0], [slant, 1.0]])
            centre = height * leaning @ np.array([[c, s], [-s, c]]) + at
            if k and np.hypot(*(centre[-1] - sheet.here)) < np.hypot(*(centre[0] - sheet.here)):
                centre = centre[::-1]
            # Inside a letter one goes on under what is still to be sewn, or cuts.
            near = k and np.hypot(*(centre[0] - sheet.here)) < 0.4 * height
            inward(sheet, centre[0]) if near else sheet.go(centre[0])
            base: frozenset[str] = frozenset()
            if under:
                run(sheet, centre, stitch=2.0, label="underlay")
                centre, base = centre[::-1], frozenset({"centre-run"})
            sheet.sew(column_points(centre, np.array([width]), spacing), "satin")
            sheet.note(Made("satin", spacing, _across(centre), width, base))
        x += 1.1


def applique(sheet: Sheet, at: Place) -> None:
    """Sew a placement line, a halt, a tack-down, a halt, and the satin that covers the cloth's edge.

    The satin is one column, or several that begin where others end.
    """
    rng = sheet.rng
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
    if rng.random() < 0.5:
        sheet.go(path[0])
        run(sheet, path, stitch=2.0, passes=2, label="underlay")
    else:
        points = column_points(round_, np.array([0.6 * width]), rng.uniform(0.8, 1.4))
        sheet.go(points[0])
        sheet.sew(points, "underlay")
    sheet.note(Made("tack-down"))
    sheet.thread()
    smooth = ring_points(shapely.buffer(shapely.buffer(shape, -0.4 * width), 0.4 * width), 0.0)
    line = LineString(smooth if smooth is not None else round_)
    parts = int(rng.integers(2, 5)) if rng.random() < 0.4 else 1
    spacing = rng.uniform(0.18, 0.25)
    bounds = np.linspace(0, line.length, parts + 1)
    if rng.random() < 0.3:
        sheet.go(np.array(line.coords[0]))
        run(sheet, np.array(line.coords), stitch=2.5, label="underlay")
    for a, b in itertools.pairwise(bounds):
        piece = substring(line, max(a - 0.4, 0.0), b) if parts > 1 else line
        points = column_points(shapely.get_coordinates(piece), np.array([width]), spacing)
        # What goes on without a cut is one column still.
        goes_on = bool(a > 0 and (rng.random() < 0.5 or not sheet.trims))
        if goes_on:
            inward(sheet, points[0], new=False)
        elif a > 0:
            sheet.move(points[0])
            if sheet.ties:
                sheet.sew(points[:1], "tie")
                sheet.lock()
        else:
            sheet.go(points[0])
        sheet.sew(points, "satin", new=not goes_on)
        sheet.note(Made("satin", None, None, width))
