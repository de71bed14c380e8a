"""Small designs for the table of situations: each is one thing that shops are asked to sew."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import shapely
from labelled import Labelled, circle, fill, rectangle, run, satin, stitched_fill, stitched_satin, wave
from shapely.geometry import Polygon

from analyzer import read
from analyzer.design import Command, Design

SAMPLES = Path(__file__).parent.parent / "sample_designs"
RIGHT = np.array([1.0, 0.0])
DISC = Polygon(circle(9.0))


def edge_of(shape: Polygon) -> np.ndarray:
    """Return the outer edge of a shape, closed, (k, 2)."""
    return shapely.get_coordinates(shape.exterior)


def _begin(book: Labelled, at: np.ndarray) -> None:
    """Tie in at a point."""
    book.tie(np.asarray(at), np.asarray(at) + RIGHT)


def _end(book: Labelled) -> None:
    """Tie off where the needle is."""
    book.tie(np.array(book.points[-1]), np.array(book.points[-1]) + RIGHT)


def mark() -> Labelled:
    """Sew a small filled disc on its underlay."""
    book = Labelled()
    stitched_fill(book, DISC)
    _end(book)
    return book


def outlined() -> Labelled:
    """Sew a filled shield, then a small fill beside it, then the shield's thin outline in another colour."""
    book = Labelled()
    shield = shapely.affinity.scale(Polygon(circle(15.0)), 1.0, 0.8)
    stitched_fill(book, shield, angle=20.0)
    _end(book)
    book.colour()
    book.move(np.array([-6.0, -16.0]))
    stitched_fill(book, rectangle(12.0, 4.0, (0.0, -17.0)))
    _end(book)
    book.colour()
    edge = edge_of(shield)
    book.move(edge[0])
    run(book, edge, passes=2)
    _end(book)
    return book


def block() -> Labelled:
    """Sew a solid block of 45 by 30 mm on its underlay, no outline."""
    book = Labelled()
    stitched_fill(book, rectangle(45.0, 30.0), angle=45.0)
    _end(book)
    return book


def back_panel() -> Labelled:
    """Sew a large solid panel of 120 by 70 mm with a satin border, as on the back of a jacket."""
    book = Labelled()
    shape = rectangle(120.0, 70.0)
    stitched_fill(book, shape, stitch=4.0)
    _end(book)
    book.colour()
    book.move(np.array([-60.0, -35.0]))
    stitched_satin(book, edge_of(shape), 3.5)
    _end(book)
    return book


def slab() -> Labelled:
    """Sew a large fill far too dense: rows of 0.25 mm, and the whole once more across."""
    book = Labelled()
    shape = rectangle(80.0, 60.0)
    fill(book, shape, spacing=0.25, stitch=3.0)
    fill(book, shape, angle=90.0, spacing=0.25, stitch=3.0)
    run(book, edge_of(shape))
    _end(book)
    return book


def _letters(book: Labelled, height: float, column: float, *, count: int = 4) -> None:
    """Sew letters of four columns each, on centre runs, tied and cut."""
    for k in range(count):
        x = 1.2 * height * k
        if k:
            _end(book)
            book.move(np.array([x, 0.0]))
        _begin(book, np.array([x, 0.0]))
        width = 0.62 * height
        ends = [
            [(x, 0), (x, height)],
            [(x, height), (x + width, height)],
            [(x, height / 2), (x + 0.8 * width, height / 2)],
            [(x, 0), (x + width, 0)],
        ]
        for pair in ends:
            centre = np.array(pair, dtype=float)
            run(book, centre, stitch=1.5, label="underlay")
            satin(book, centre[::-1], column, spacing=0.2)
    _end(book)


def letters() -> Labelled:
    """Sew four satin letters of 11 mm."""
    book = Labelled()
    _letters(book, 11.0, 1.8)
    return book


def small_letters() -> Labelled:
    """Sew six satin letters of 4.2 mm, columns of 0.8 mm."""
    book = Labelled()
    _letters(book, 3.4, 0.8, count=6)
    return book


def fine_letters() -> Labelled:
    """Sew six satin letters of 4.8 mm, columns of 1 mm."""
    book = Labelled()
    _letters(book, 3.8, 1.0, count=6)
    return book


def monogram() -> Labelled:
    """Sew a monogram of broad satin columns, 50 mm wide."""
    book = Labelled()
    _begin(book, np.array([0.0, 0.0]))
    for start, stop in [((0, 0), (15, 35)), ((15, 35), (30, 0)), ((34, 0), (34, 35)), ((34, 35), (50, 20))]:
        if start != (0, 0):
            book.move(np.array(start, dtype=float))
        stitched_satin(book, np.array([start, stop], dtype=float), 4.0)
        _end(book)
    return book


def dense_satin() -> Labelled:
    """Sew a ring of satin, 5 mm wide, threads 0.16 mm apart: a needle hole each 0.32 mm at its edges."""
    book = Labelled()
    stitched_satin(book, circle(14.0), 5.0, spacing=0.16)
    _end(book)
    return book


def script() -> Labelled:
    """Sew flowing script of a single running stitch."""
    book = Labelled()
    for k in range(3):
        if k:
            book.move(np.array([0.0, -12.0 * k]))
        _begin(book, np.array([0.0, -12.0 * k]))
        run(book, wave(45.0, 4.0, 4.0) + np.array([0.0, -12.0 * k]))
        _end(book)
    return book


def wreath() -> Labelled:
    """Sew a rope ring of satin round a large open middle."""
    book = Labelled()
    stitched_satin(book, circle(24.0), 4.0)
    _end(book)
    return book


def two_pieces() -> Labelled:
    """Sew two nets that do not touch each other."""
    book = Labelled()
    for k in range(2):
        at = 40.0 * k
        if k:
            book.move(np.array([at - 8.0, -8.0]))
        for angle in (0.0, 90.0):
            fill(book, rectangle(18.0, 18.0, (at, 0.0)), angle=angle, spacing=1.5, stitch=2.5)
        _end(book)
    return book


def badge() -> Labelled:
    """Sew a patch: a filled disc of 40 mm, and a satin border that closes all round its edge."""
    book = Labelled()
    shape = Polygon(circle(20.0))
    stitched_fill(book, shape)
    _end(book)
    book.colour()
    edge = circle(20.0)
    book.move(edge[0])
    stitched_satin(book, edge, 4.0)
    _end(book)
    return book


def _applique(*, second_stop: bool) -> Labelled:
    book = Labelled()
    edge = circle(16.0)
    run(book, edge, label="run")
    book.command(Command.STOP)
    run(book, edge, stitch=2.0, label="run")
    if second_stop:
        book.command(Command.STOP)
    satin(book, edge, 3.5, spacing=0.2)
    _end(book)
    return book


def applique() -> Labelled:
    """Sew a placement line, a stop, a tack-down, a stop, and the satin that covers the edge."""
    return _applique(second_stop=True)


def applique_without_stop() -> Labelled:
    """Sew the same without the stop after the tack-down, where the piece must be cut."""
    return _applique(second_stop=False)


BUILT: Mapping[str, Callable[[], Labelled]] = {
    "mark": mark,
    "outlined": outlined,
    "block": block,
    "back-panel": back_panel,
    "slab": slab,
    "letters": letters,
    "small-letters": small_letters,
    "fine-letters": fine_letters,
    "monogram": monogram,
    "dense-satin": dense_satin,
    "script": script,
    "wreath": wreath,
    "two-pieces": two_pieces,
    "badge": badge,
    "applique": applique,
    "applique-without-stop": applique_without_stop,
}


def design(name: str) -> Design:
    """Return a design of the table: one that is built here, or a sample's file."""
    return BUILT[name]().design(name) if name in BUILT else read(SAMPLES / name)
