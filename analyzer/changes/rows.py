"""The commands of a design, each row with its colour in place of colour changes, so that rows can move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Bytes, Floats, Ints
from analyzer.design import Command, Design


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of commands: ``points`` (n, 2) mm, ``kinds`` (n,) and ``colour`` (n,), an index of the threads."""

    points: Floats
    kinds: Bytes
    colour: Ints

    def part(self, begin: int, stop: int) -> Rows:
        """Return the rows from ``begin`` up to, not including, ``stop``."""
        return Rows(self.points[begin:stop], self.kinds[begin:stop], self.colour[begin:stop])


def rows_of(design: Design) -> tuple[Rows, Ints]:
    """Return a design's rows, and the row of each penetration (m,)."""
    kept = design.kinds != Command.COLOUR_CHANGE
    points, kinds = design.points[kept], design.kinds[kept]
    down = np.flatnonzero(kinds == Command.STITCH)
    following = np.minimum(np.searchsorted(down, np.arange(len(kinds))), len(down) - 1)
    return Rows(points, kinds, design.colour[following]), down.astype(np.int32)


def lone(point: Floats, kind: Command, colour: int) -> Rows:
    """Return one row."""
    return Rows(
        np.asarray(point, dtype=np.float64).reshape(1, 2),
        np.array([kind], dtype=np.uint8),
        np.array([colour], dtype=np.int32),
    )


def stitches(points: Floats, colour: int) -> Rows:
    """Return rows with a jump to the first of ``points`` (k, 2) and stitches from there on."""
    return joined_up(
        lone(points[0], Command.JUMP, colour),
        Rows(
            points,
            np.full(len(points), Command.STITCH, dtype=np.uint8),
            np.full(len(points), colour, dtype=np.int32),
        ),
    )


def joined_up(*parts: Rows) -> Rows:
    """Return rows one after another."""
    return Rows(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.kinds for part in parts]),
        np.concatenate([part.colour for part in parts]),
    )


def cut_at(rows: Rows, row: int) -> Rows:
    """Return a trim where the needle stands before ``row``, or nothing where thread is cut there anyway."""
    if row == 0 or row >= len(rows.kinds):
        return rows.part(0, 0)
    between = rows.kinds[max(row - 1, 0) : row + 1]
    if (between == Command.TRIM).any() or rows.colour[row] != rows.colour[row - 1]:
        return rows.part(0, 0)
    return lone(rows.points[row - 1], Command.TRIM, int(rows.colour[row - 1]))


def as_design(rows: Rows, like: Design) -> Design:
    """Return rows as a design with a colour change wherever the colour changes from stitch to stitch."""
    down = np.flatnonzero(rows.kinds == Command.STITCH)
    colour = rows.colour[down]
    changes = np.flatnonzero(np.diff(colour) != 0)
    at = down[changes] + 1
    kinds = np.insert(rows.kinds, at, np.uint8(Command.COLOUR_CHANGE))
    points = np.insert(rows.points, at, rows.points[at - 1], axis=0)
    blocks = colour[np.concatenate([[0], changes + 1])] if colour.size else colour
    return Design.from_commands(
        points,
        kinds,
        name=like.name,
        format=like.format,
        threads=tuple(like.threads[i] for i in blocks.tolist()),
        notes=like.notes,
    )
