"""Families of random labelled designs, each its own function of a sheet: ordinary settings and hard ones.

``FAMILIES`` names them; ``labelled(name, seed, hard)`` makes one design. ``mixed`` puts members of several
families on one sheet, as designs do. Labels are those of what was meant; ways between sections of one fill
are that fill, ways between objects are travel, whether something comes to cover them or not.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from labelled import divide, rows_of, run
from labelled_columns import applique, columns, corners, lettering, split_columns
from labelled_fills import (
    Place,
    bent_line,
    contour,
    contour_jumps,
    gradient,
    on_top,
    overlapping,
    rings,
    spiral,
    straight,
    thin_fill,
    wavy,
)
from labelled_parts import Made, Sheet, placed, random_shape, ring_points
from shapely import affinity
from shapely.geometry import LineString


def lines(sheet: Sheet, at: Place) -> None:
    """Sew runs once, twice and three times, along curves, shapes and bent lines."""
    rng = sheet.rng
    for k in range(int(rng.integers(2, 5))):
        way = rng.random()
        place = (at[0] + rng.uniform(-3, 3), at[1] + 12 * k)
        if way < 0.4:
            path = bent_line(sheet, place, sheet.between((12, 35), (6, 50)))
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
    stem = divide(bent_line(sheet, at, sheet.between((20, 35), (15, 50))), 2.2)
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


def _motif(which: int, length: float, height: float) -> np.ndarray:
    """Return one repeat of a motif along x, (k, 2), from (0, 0) to (length, 0)."""
    shapes = (
        [(0, 0), (0.25, 0.5), (0.75, -0.5), (1, 0)],
        [(0, 0), (0, 0.5), (0.5, 0.5), (0.5, -0.5), (1, -0.5), (1, 0)],
        [(0, 0), (0.5, 0.5), (0.5, -0.5), (0, 0), (1, 0)],
        [(0, 0), (0.5, 0.5), (1, 0), (0.5, -0.5), (0, 0), (0.5, 0.5), (1, 0)],
    )
    return np.array(shapes[which]) * [length, height]


def motifs(sheet: Sheet, at: Place) -> None:
    """Fill a shape with open rows of a repeated motif, a drawing that covers little."""
    shape = placed(random_shape(sheet, sheet.between((20, 32), (14, 45)), holes=False), at)
    angle, pitch = float(sheet.rng.uniform(0, 180)), sheet.between((3.5, 5.0), (2.8, 7.0))
    which, length = int(sheet.rng.integers(4)), sheet.between((3.0, 5.0), (2.2, 6.0))
    motif = _motif(which, length, pitch * sheet.rng.uniform(0.6, 1.0))
    path = []
    for section in rows_of(shape, angle, pitch):
        for k, row in enumerate(section):
            start, stop = row if k % 2 == 0 else row[::-1]
            size = float(np.hypot(*(stop - start)))
            count = round(size / length)
            if count < 1:
                continue
            ahead = (stop - start) / size
            turned = np.array([ahead, [-ahead[1], ahead[0]]])
            repeats = [motif + np.array([i * length, 0.0]) for i in range(count)]
            path.append((np.concatenate(repeats) * [size / (count * length), 1.0]) @ turned + start)
    if not path:
        return
    corners_ = np.concatenate(path)
    corners_ = corners_[np.append(True, np.hypot(*np.diff(corners_, axis=0).T) > 0.05)]
    sheet.go(corners_[0])
    pairs = [divide(corners_[k : k + 2], 3.0) for k in range(len(corners_) - 1)]
    sheet.sew(np.concatenate(pairs), "run")
    sheet.note(Made("run"))


def lace(sheet: Sheet, at: Place) -> None:
    """Sew a free-standing network: lines across each other, in one thread, at times with slanted ones."""
    size, mesh = sheet.between((20, 35), (14, 45)), sheet.between((1.6, 3.5), (1.1, 5.0))
    turn = float(sheet.rng.uniform(0, 180))
    levels = np.arange(-size / 2, size / 2 + 0.1, mesh)
    parts = []
    for swap in (False, True):
        for k, y in enumerate(levels):
            ends = np.array([[-size / 2, y], [size / 2, y]])[:: 1 if k % 2 == 0 else -1]
            parts.append(ends[:, ::-1] if swap else ends)
    path = affinity.rotate(LineString(np.concatenate(parts)), turn, origin=(0, 0))
    points = [
        divide(pair, sheet.between((2.0, 2.0), (1.2, 2.5)))
        for pair in np.lib.stride_tricks.sliding_window_view(
            shapely.get_coordinates(path) + at, 2, axis=0
        ).transpose(0, 2, 1)
    ]
    sheet.go(points[0][0])
    sheet.sew(np.concatenate(points), "run")
    sheet.note(Made("run"))


FILLS: dict[str, Callable[[Sheet, Place], None]] = {
    f.__name__: f
    for f in (
        straight,
        gradient,
        thin_fill,
        spiral,
        rings,
        contour,
        contour_jumps,
        wavy,
        on_top,
        overlapping,
    )
}
FAMILIES: dict[str, Callable[[Sheet, Place], None]] = FILLS | {
    f.__name__: f
    for f in (columns, corners, split_columns, lines, branches, motifs, lettering, applique, lace)
}
#: what a mixed design is made of: lace stands by itself
_MIXED = [name for name in FAMILIES if name != "lace"]


def labelled(name: str, seed: int, *, hard: bool, beyond: bool = False) -> Sheet:
    """Make one random design of a family, or a "mixed" one of four to seven families.

    ``beyond`` draws from outside the wide ranges of ``hard``.
    """
    number = 1000 * [*FAMILIES, "mixed"].index(name)
    rng = np.random.default_rng([number, seed, hard])
    sheet = Sheet(rng=rng, hard=hard, beyond=beyond)
    sheet.trims, sheet.ties = not sheet.chance(0.1, 0.3), not sheet.chance(0.1, 0.3)
    if hard and rng.random() < 0.5:
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
