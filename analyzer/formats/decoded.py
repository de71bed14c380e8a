"""What a decoder delivers, and what several decoders share."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analyzer.arrays import Bools, Bytes, Floats
from analyzer.design import Command, Thread

UNIT_MM = 0.1  #: of the coordinates in nearly every format
CUT_SHORT = "it may have been cut short in copying or sending"
_JUMPS_OF_A_TRIM = 3  # common practice of machines that read DST; some are set to two, four or five
_ESCAPE = 0x80


class DecodeError(Exception):
    """A file that cannot be read; the message says why, as the end of a sentence about it."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """One file, decoded: ``points`` (n, 2) mm, y up, ``kinds`` (n,) of Command, and what else it said."""

    points: Floats
    kinds: Bytes
    threads: tuple[Thread, ...] = ()  #: one for each colour block as far as the file names them
    header: dict[str, str] = field(default_factory=dict)  #: texts of the file's own header
    trims_inferred: int = 0
    not_understood: int = 0  #: rows with commands that no machine carries out; passed over
    damaged: str | None = None  #: why the file is held to be damaged


def printable(text: str | None) -> str | None:
    """Return a text of the file without what cannot be printed, None where nothing is left."""
    return "".join(c for c in text or "" if c.isprintable()).strip() or None


def infer_trims(points: Floats, kinds: Bytes) -> tuple[Floats, Bytes, int]:
    """Set a trim before each run of three or more jumps that follows a stitch; also how many were set."""
    jump = kinds == Command.JUMP
    edges = np.flatnonzero(np.diff(np.concatenate(([False], jump, [False])).view(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    cut = (ends - starts >= _JUMPS_OF_A_TRIM) & (starts > 0)
    starts = starts[cut]
    before = kinds[starts - 1]
    starts = starts[(before == Command.STITCH) | (before == Command.SEQUIN)]
    if not starts.size:
        return points, kinds, 0
    times = np.ones(len(kinds), dtype=np.intp)
    times[starts - 1] = 2  # the row before is repeated, and its copy becomes the trim
    set_at = starts + np.arange(starts.size)
    kinds = np.repeat(kinds, times)
    kinds[set_at] = Command.TRIM
    return np.repeat(points, times, axis=0), kinds, int(starts.size)


def commands_and_operands(pairs: Bytes) -> tuple[Bools, Bools]:
    """Tell which of the byte pairs (n, 2) begin a command and which are its operand, two masks (n,).

    A pair that begins with 0x80 is a command and the pair after it its operand, whatever that holds: in a
    run of pairs that begin with 0x80, every second one is an operand.
    """
    escape = pairs[:, 0] == _ESCAPE
    operand = np.zeros(len(pairs), dtype=np.bool_)
    at = np.flatnonzero(escape)
    if at.size:
        begins = np.empty(at.size, dtype=np.bool_)
        begins[0] = True
        np.not_equal(np.diff(at), 1, out=begins[1:])
        first = np.maximum.accumulate(np.where(begins, at, 0))
        escape[at] = (at - first) % 2 == 0
        after = at[escape[at]] + 1
        operand[after[after < len(pairs)]] = True
    return escape, operand
