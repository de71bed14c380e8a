"""Whole designs that the law of one stitch was not fitted to."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from law_cases import Part, circle, disc, ell, fill, moved, rectangle, rows, run, satin, sheet, turned, weave

Pair = tuple[int, int, np.ndarray, np.ndarray]
Shape = tuple[list[Part], tuple[Pair, ...]]

#: backed stacks, N/m: isotropic, woven cloth with its backing, the same turned by 30 degrees
STACKS = {
    "4 kN/m": sheet(4.0),
    "12 kN/m": sheet(12.0),
    "30 kN/m": sheet(30.0),
    "woven": weave(12.0, 7.0, 1.5),
}


def ring() -> Part:
    """A square ring of rows, sewn in four sections round its open middle."""
    outer, inner, spacing, length = 12.0, 6.0, 0.4, 3.5
    y = np.arange(-outer, outer + 1e-9, spacing)
    below, beside, above = y[y <= -inner], y[np.abs(y) < inner], y[y >= inner]
    sections = [
        rows([[(-outer, outer)]] * len(below), below, length),
        rows([[(-outer, -inner)]] * len(beside), beside, length),
        rows([[(inner, outer)]] * len(beside), beside[::-1], length),
        rows([[(-outer, outer)]] * len(above), above, length),
    ]
    return fill(np.concatenate(sections))


def satin_ring() -> list[Part]:
    """Four columns round a square."""
    sides = [turned(np.array([[10.0, 0.0]]), 90.0 * k)[0] for k in range(4)]
    return [moved(satin(3.0, 20.0), *sides[k], 90.0 * k) for k in range(4)]


def around_disc(outline: int, border: int, at: np.ndarray) -> Pair:
    return outline, border, at, at / np.hypot(*at.T)[:, None]


def square_run(half: float) -> Part:
    corners = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]], dtype=float)
    return run(corners)


def around_square(outline: int, border: int, half: float, line: Part) -> Pair:
    at = line.points[:-1]
    normal = np.where(np.abs(at) > half - 1e-6, np.sign(at), 0.0)
    return outline, border, at, normal / np.hypot(*normal.T)[:, None]


def beside(outline: int, border: int) -> Pair:
    """Along the right edge of a square of 16 mm."""
    y = np.linspace(-7.5, 7.5, 31)
    right = np.tile([1.0, 0.0], (31, 1))
    return outline, border, np.column_stack([np.full(31, 8.0), y]), right


def above(outline: int, border: int) -> Pair:
    """Along the upper edge of a square of 16 mm."""
    x = np.linspace(-7.5, 7.5, 31)
    return outline, border, np.column_stack([x, np.full(31, 8.0)]), np.tile([0.0, 1.0], (31, 1))


def disc_and_run() -> Shape:
    line = run(circle(10.0))
    return [fill(disc(10.0)), line], (around_disc(1, 0, line.points[:-1]),)


def square_and_run(first: bool) -> Shape:
    line, area = square_run(8.0), fill(rectangle(16.0, 16.0))
    if first:
        return [line, area], (around_square(0, 1, 8.0, line),)
    return [area, line], (around_square(1, 0, 8.0, line),)


SHAPES: dict[str, Callable[[], Shape]] = {
    "disc, radius 8": lambda: ([fill(disc(8.0))], ()),
    "disc, radius 12": lambda: ([fill(disc(12.0))], ()),
    "disc, stitch 3, rows 0.5": lambda: ([fill(disc(10.0, 0.5, 3.0), 0.5, 3.0)], ()),
    "disc, rows at 30 degrees": lambda: ([fill(disc(10.0), angle=30.0)], ()),
    "L of 20 mm": lambda: ([fill(ell(20.0, 8.0))], ()),
    "L of 16 mm, rows upright": lambda: ([fill(ell(16.0, 6.0), angle=90.0)], ()),
    "satin 1 mm": lambda: ([moved(satin(1.0, 20.0), 0.3, 0.0)], ()),
    "satin 2.5 mm": lambda: ([moved(satin(2.5, 20.0), 0.3, 0.0)], ()),
    "satin 3.5 mm at 20 degrees": lambda: ([moved(satin(3.5, 18.0), 0.0, 0.0, 20.0)], ()),
    "satin 5 mm": lambda: ([satin(5.0, 20.0)], ()),
    "satin 7 mm": lambda: ([satin(7.0, 20.0)], ()),
    "satin 4 mm, open": lambda: ([satin(4.0, 15.0, 0.25)], ()),
    "square ring of rows": lambda: ([ring()], ()),
    "square ring of satin": lambda: (satin_ring(), ()),
    "disc, run last": disc_and_run,
    "square, run last": lambda: square_and_run(first=False),
    "run, then square": lambda: square_and_run(first=True),
    "satin, later fill beside": lambda: (
        [moved(satin(3.0, 16.0), -12.0, 0.0), fill(rectangle(16.0, 16.0))],
        (),
    ),
    "square, satin border": lambda: (
        [fill(rectangle(16.0, 16.0)), moved(satin(3.0, 16.0), 9.5, 0.0)],
        (beside(1, 0),),
    ),
    "fill against fill at row ends": lambda: (
        [fill(rectangle(16.0, 16.0)), moved(fill(rectangle(12.0, 16.0)), 14.0, 0.0)],
        (beside(1, 0),),
    ),
    "fill against fill along rows": lambda: (
        [fill(rectangle(16.0, 16.0)), moved(fill(rectangle(16.0, 10.0)), 0.0, 13.2)],
        (above(1, 0),),
    ),
}
