"""The table of labelled designs: what shops meet, and what makes cutting hard."""

from __future__ import annotations

import numpy as np
from labelled import (
    Labelled,
    circle,
    fill,
    rectangle,
    run,
    satin,
    stitched_fill,
    stitched_satin,
    wave,
)
from shapely.geometry import Polygon

from analyzer.design import Command

L_SHAPE = Polygon([(0, 0), (40, 0), (40, 12), (14, 12), (14, 36), (0, 36)])
RING = Polygon(circle(30), [circle(18)])


def l_shape() -> Labelled:
    """Sew a fill with underlay in a shape with an inner corner, and a double run on its edge."""
    book = Labelled()
    stitched_fill(book, L_SHAPE, angle=35)
    book.colour()
    run(book, np.array(L_SHAPE.exterior.coords), passes=2)
    return book


def star() -> Labelled:
    """Sew acute tips: rows of many lengths, five sections, a triple run around."""
    t = np.arange(10) * np.pi / 5
    radius = np.where(np.arange(10) % 2, 9, 24)
    corners = np.stack([radius * np.sin(t), radius * np.cos(t)], axis=1)
    book = Labelled()
    stitched_fill(book, Polygon(corners), angle=15)
    book.colour()
    run(book, np.concatenate([corners, corners[:1]]), passes=3)
    return book


def coarse_and_fine() -> Labelled:
    """Sew rows at 0.9 mm and at 0.25 mm, the second at ten degrees to an edge."""
    book = Labelled()
    fill(book, rectangle(50, 20), angle=60, spacing=0.9, stitch=4)
    book.move(np.array([60.0, 0.0]))
    fill(book, rectangle(20, 20, (70, 0)), angle=10, spacing=0.25, stitch=2.5)
    return book


def letter(book: Labelled, x: float, *, underlay: bool) -> None:
    """Sew an E of four columns."""
    columns = [[(x, 0), (x, 10)], [(x, 10), (x + 6, 10)], [(x, 5), (x + 5, 5)], [(x, 0), (x + 6, 0)]]
    for k, ends in enumerate(columns):
        centre = np.array(ends, dtype=float)
        if underlay:
            run(book, centre, stitch=2, label="underlay")
            satin(book, centre[::-1], 1.6)
        else:
            satin(book, centre[::-1] if k % 2 else centre, 1.6)


def letters() -> Labelled:
    """Sew satin lettering with centre runs, tied and cut after each letter."""
    book = Labelled()
    for k, x in enumerate((0.0, 12.0, 24.0, 36.0)):
        if k:
            book.tie(np.array(book.points[-1]), np.array([x, 0.0]))
            book.move(np.array([x, 0.0]))
        book.tie(np.array([x, 0.0]), np.array([x, 5.0]))
        letter(book, x, underlay=True)
    return book


def letters_uncut() -> Labelled:
    """Sew the same without trims, ties or underlay."""
    book = Labelled()
    for x in (0.0, 12.0, 24.0, 36.0):
        letter(book, x, underlay=False)
    return book


def curved_columns() -> Labelled:
    """Sew columns along a wave and round a tight circle, where the inner rail is crowded."""
    book = Labelled()
    stitched_satin(book, wave(60, 8, 1.5), 3.5)
    book.move(np.array([16.0, 30.0]))
    stitched_satin(book, circle(6, (10, 30))[:150], 2.5, spacing=0.18)
    return book


def narrow_columns() -> Labelled:
    """Sew columns about a millimetre wide."""
    book = Labelled()
    satin(book, wave(40, 5), 0.9, spacing=0.22)
    book.move(np.array([0.0, 10.0]))
    satin(book, np.array([[0, 10], [30, 12]]), 1.2, spacing=0.18)
    return book


def bordered_disc() -> Labelled:
    """Sew a disc with a satin border that overlaps it by 0.4 mm."""
    book = Labelled()
    stitched_fill(book, Polygon(circle(20)), angle=20)
    book.colour()
    stitched_satin(book, circle(20.6), 2.0)
    return book


def bordered_square() -> Labelled:
    """Sew a satin border in four straight sides, 0.3 mm over the fill."""
    book = Labelled()
    shape = rectangle(40, 25)
    stitched_fill(book, shape, angle=45)
    book.colour()
    corners = np.array(shape.buffer(0.7, join_style="mitre").exterior.coords)
    for k in range(4):
        satin(book, corners[k : k + 2], 2.0)
    return book


def neighbours() -> Labelled:
    """Sew two fills of different colours, 0.3 mm apart."""
    book = Labelled()
    stitched_fill(book, rectangle(20, 20), angle=0)
    book.colour()
    stitched_fill(book, rectangle(20, 20, (20.3, 0)), angle=90)
    return book


def ring() -> Labelled:
    """Sew a ring with an open middle in sections, and a run on each of its edges."""
    book = Labelled()
    fill(book, RING, angle=20, spacing=0.5)
    book.colour()
    run(book, circle(30.0))
    book.move(np.array([17.7, 0.0]))
    run(book, circle(17.7), passes=2)
    return book


def drawing() -> Labelled:
    """Sew runs only: once, twice, three times, and a zigzag line."""
    book = Labelled()
    run(book, wave(60, 10, 2))
    book.move(np.array([18.0, 30.0]))
    run(book, circle(8, (10, 30)), passes=2)
    book.move(np.array([46.0, 30.0]))
    run(book, circle(6, (40, 30)), passes=3, stitch=2)
    book.colour()
    run(book, np.array([[0, 0], [10, 5], [20, -5], [30, 6], [40, -3], [50, 0]]))
    return book


def lattice() -> Labelled:
    """Sew a lace network: two sets of lines 2 mm apart."""
    book = Labelled()
    lines = np.arange(-20.0, 21.0, 2.0)
    for k, y in enumerate(lines):
        run(book, np.array([[-20, y], [20, y]])[:: 1 if k % 2 else -1])
    for k, x in enumerate(lines):
        run(book, np.array([[x, -20], [x, 20]])[:: 1 if k % 2 else -1])
    return book


def wide_column() -> Labelled:
    """Sew a 9 mm satin and a run around it."""
    book = Labelled()
    stitched_satin(book, np.array([[0.0, 0.0], [40.0, 0.0]]), 9, spacing=0.22)
    book.colour()
    run(book, np.array(rectangle(40, 9, (20, 0)).exterior.coords))
    return book


def split_column() -> Labelled:
    """Sew a 12 mm satin whose threads are split at changing places."""
    book = Labelled()
    threads = []
    for k, x in enumerate(np.arange(0, 40, 0.25)):
        shift = (k % 3) * 0.8
        height = np.array([-6.0, shift - 2.0, shift + 2.0])
        threads += [(x + 0.25 * (h + 6) / 12, h if k % 2 == 0 else -h) for h in height]
    book.sew(np.array(threads), "satin")
    return book


def spiral() -> Labelled:
    """Sew a disc filled by one spiral, turns 0.45 mm apart, and a run around it."""
    t = np.linspace(0, 50 * np.pi, 3000)
    radius = 0.45 * t / (2 * np.pi)
    book = Labelled()
    run(book, np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1), label="fill")
    book.colour()
    run(book, circle(11.4))
    return book


def details() -> Labelled:
    """Sew a line and a column on a fill, far from its edges: nothing is an outline."""
    book = Labelled()
    stitched_fill(book, rectangle(40, 30))
    book.colour()
    run(book, wave(30, 6) - np.array([15.0, 0.0]))
    book.move(np.array([-15.0, 10.0]))
    satin(book, np.array([[-15.0, 10.0], [15.0, 10.0]]), 2)
    return book


def uncut() -> Labelled:
    """Sew a fill, its run, a column and another fill in one thread; moves are jumps without a cut."""
    book = Labelled()
    stitched_fill(book, Polygon(circle(12)))
    run(book, circle(12))
    book.points.append((40.0, 0.0))
    book.kinds.append(int(Command.JUMP))
    satin(book, np.array([[40.0, 0.0], [40.0, 20.0]]), 3)
    book.points.append((60.0, 0.0))
    book.kinds.append(int(Command.JUMP))
    fill(book, rectangle(15, 15, (67, 5)), angle=70)
    return book


#: design, least share of stitches with the right kind, borders expected as (kind of outline, kind of border)
TABLE = {
    l_shape: (0.99, [("run", "fill")]),
    star: (0.98, [("run", "fill")]),
    coarse_and_fine: (0.98, []),
    letters: (0.92, []),
    letters_uncut: (0.97, []),
    curved_columns: (0.98, []),
    narrow_columns: (0.98, []),
    bordered_disc: (0.99, [("satin", "fill")]),
    bordered_square: (0.99, [("satin", "fill")]),  # one column round its corners
    neighbours: (0.98, [("fill", "fill")]),
    ring: (0.99, [("run", "fill")] * 2),
    drawing: (1.0, []),
    lattice: (0.99, []),
    wide_column: (0.98, [("run", "satin")]),
    split_column: (0.95, []),
    spiral: (0.97, [("run", "fill")]),
    details: (0.99, []),
    uncut: (0.98, [("run", "fill")]),
}
