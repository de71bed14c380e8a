"""A design: what the needle will do, as read from a stitch file and independent of its format.

Axes: x to the right, y up, millimetres. A *command* is one row of the file after merging split
long moves; a *penetration* is a point where the needle goes through the cloth; a *stitch* is thread
between two penetrations with no cut between them. Stitch ``i`` ends at penetration ``i``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from analyzer.arrays import Bools, Bytes, Floats, Ints, frozen


class Command(IntEnum):
    """What the machine does at a row of the file."""

    STITCH = 1  #: the needle goes down at the point
    JUMP = 2  #: the frame moves to the point, the needle stays up
    TRIM = 3  #: the thread is cut
    COLOUR_CHANGE = 4  #: the next thread is taken
    STOP = 5  #: the machine halts and waits, thread unchanged
    SEQUIN = 6  #: a sequin is let fall


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread as the file names it; every field is None where the file is silent."""

    rgb: str | None = None  #: "#rrggbb"
    name: str | None = None
    catalogue: str | None = None  #: catalogue number


@dataclass(frozen=True, slots=True)
class Design:
    """One stitch file, read.

    ``points`` (n, 2) float64, mm, and ``kinds`` (n,) uint8 of :class:`Command` are the commands in order.
    The arrays over penetrations (length m) are derived from them once, by :meth:`from_commands`:
    ``penetrations`` (m, 2) mm; ``joined`` (m,), whether thread runs from penetration i-1 to i (false at
    i = 0, after a trim and after a colour change); ``jumped`` (m,), whether the frame jumped between them;
    ``colour`` (m,), number of the colour block, from 0.
    """

    name: str
    format: str  #: upper-case name of the format, "DST"
    sha256: str
    points: Floats
    kinds: Bytes
    threads: tuple[Thread, ...]  #: one for each colour block, in sewing order
    notes: tuple[str, ...]  #: what reading had to remark, one sentence each
    damaged: str | None  #: why the file is held to be damaged, None when it is sound
    penetrations: Floats
    joined: Bools
    jumped: Bools
    colour: Ints

    @classmethod
    def from_commands(
        cls,
        points: Floats,
        kinds: Bytes,
        *,
        name: str = "design",
        format: str = "none",  # noqa: A002 - the name that the JSON and the outside use
        sha256: str = "",
        threads: tuple[Thread, ...] = (),
        notes: tuple[str, ...] = (),
        damaged: str | None = None,
    ) -> Design:
        """Derive the arrays over penetrations from ``points`` (n, 2) mm and ``kinds`` (n,)."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        kinds = np.asarray(kinds, dtype=np.uint8)
        down = np.flatnonzero(kinds == Command.STITCH)
        blocks = np.cumsum(kinds == Command.COLOUR_CHANGE)
        cuts = np.cumsum((kinds == Command.TRIM) | (kinds == Command.COLOUR_CHANGE))
        jumps = np.cumsum(kinds == Command.JUMP)
        joined = np.zeros(down.size, dtype=np.bool_)
        jumped = np.zeros(down.size, dtype=np.bool_)
        if down.size:
            joined[1:] = np.diff(cuts[down]) == 0
            jumped[1:] = np.diff(jumps[down]) > 0
        # Blocks only ever rise, so those that hold stitches are numbered without sorting.
        begins = np.diff(blocks[down], prepend=-1) > 0
        colour = np.cumsum(begins) - 1
        kept = tuple(threads[i] if i < len(threads) else Thread() for i in blocks[down][begins].tolist())
        return cls(
            name=name,
            format=format,
            sha256=sha256,
            points=frozen(points),
            kinds=frozen(kinds),
            threads=kept,
            notes=notes,
            damaged=damaged,
            penetrations=frozen(points[down]),
            joined=frozen(joined),
            jumped=frozen(jumped),
            colour=frozen(colour.astype(np.int32)),
        )

    def count(self, command: Command) -> int:
        """Return how many rows hold ``command``."""
        return int(np.count_nonzero(self.kinds == command))

    @property
    def stitches(self) -> int:
        """Number of stitches: penetrations that thread joins to the one before."""
        return int(np.count_nonzero(self.joined))

    @property
    def lengths_mm(self) -> Floats:
        """Length of stitch i in mm, 0 where no thread joins penetration i to the one before; (m,)."""
        steps = np.zeros(len(self.penetrations))
        if len(steps) > 1:
            steps[1:] = np.hypot(*np.diff(self.penetrations, axis=0).T)
        return np.where(self.joined, steps, 0.0)

    @property
    def bounds_mm(self) -> tuple[float, float, float, float]:
        """``(x0, y0, x1, y1)`` of the penetrations."""
        x, y = self.penetrations.T  # apart: along the short axis numpy is thirty times slower
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height over the penetrations."""
        x0, y0, x1, y1 = self.bounds_mm
        return x1 - x0, y1 - y0
