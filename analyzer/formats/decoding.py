"""From the bytes of a file to arrays: by a decoder of our own where there is one, else by pyembroidery.

pyembroidery, in its separate process, gives rows ``x, y, command``, absolute, 0.1 mm, y down; here they
become millimetres, y up. Trims are kept as the file has them: the library's guesses (for JEF by the length of
a move) are off, and so is its clipping, which deletes real moves.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from pyembroidery import EmbConstant

from analyzer.arrays import Bytes
from analyzer.design import Command, Thread
from analyzer.formats import dst, exp, jef, pec, vp3
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded, printable
from analyzer.formats.guard import Rows, read_rows
from analyzer.formats.limits import DEFAULT, ReadLimits
from analyzer.formats.table import known

_RANDOM_COLOURS = ("JPX",)  # the file holds colour numbers of an unknown palette; the library draws lots
_BY_NEEDLE = ("TBF",)  # threads are listed by needle, not by colour block
_OWN: Mapping[str, Callable[[bytes], Decoded | None]] = {  # None: left to the library
    "DST": dst.decode,
    "TAP": lambda data: dst.decode(data, "TAP"),
    "EXY": lambda data: dst.decode(data, "EXY"),
    "EXP": exp.decode,
    "JEF": jef.decode,
    "PEC": pec.decode_pec,
    "PES": pec.decode_pes,
    "VP3": vp3.decode,
}

_NEEDLE_SET = 0  # in the lookup: resolved to a colour change where the needle really changes
_DROPPED = 255
_UNKNOWN = 254


def _lookup() -> Bytes:
    kinds = np.full(256, _UNKNOWN, dtype=np.uint8)
    for theirs, ours in {
        EmbConstant.STITCH: Command.STITCH,
        EmbConstant.SEW_TO: Command.STITCH,
        EmbConstant.NEEDLE_AT: Command.STITCH,
        EmbConstant.JUMP: Command.JUMP,
        EmbConstant.TRIM: Command.TRIM,
        EmbConstant.SEQUENCE_BREAK: Command.TRIM,
        EmbConstant.STOP: Command.STOP,
        EmbConstant.FRAME_EJECT: Command.STOP,
        EmbConstant.COLOR_CHANGE: Command.COLOUR_CHANGE,
        EmbConstant.COLOR_BREAK: Command.COLOUR_CHANGE,
        EmbConstant.SEQUIN_EJECT: Command.SEQUIN,
        EmbConstant.NEEDLE_SET: _NEEDLE_SET,
        EmbConstant.END: _DROPPED,
        EmbConstant.SEQUIN_MODE: _DROPPED,
        EmbConstant.SLOW: _DROPPED,
        EmbConstant.FAST: _DROPPED,
        EmbConstant.NO_COMMAND & 0xFF: _DROPPED,
        EmbConstant.TIE_ON: _DROPPED,
        EmbConstant.TIE_OFF: _DROPPED,
        EmbConstant.STITCH_BREAK: _DROPPED,
    }.items():
        kinds[theirs] = ours
    return kinds


_KINDS = _lookup()


def decode(data: bytes, format_name: str, limits: ReadLimits = DEFAULT) -> Decoded:
    """Decode a whole file.

    Raises DecodeError where it cannot be read, or not within the limits.
    """
    own = _OWN.get(format_name)
    decoded = own(data) if own else None
    return decoded or from_rows(read_rows(data, format_name, limits), format_name)


def from_rows(read: Rows, format_name: str) -> Decoded:
    """Turn what the library made of a file into millimetres, y up, and our commands."""
    table = np.frombuffer(read.rows, dtype=np.float64).reshape(-1, 3)
    finite = np.isfinite(table[:, 2])
    commands = np.where(finite, table[:, 2], EmbConstant.NO_COMMAND).astype(np.int64)
    kinds = _KINDS[commands & 0xFF]
    kinds, needles = _needle_changes(kinds, commands)
    unknown = int(np.count_nonzero(kinds == _UNKNOWN))
    kept = kinds < _UNKNOWN
    points = table[kept, :2] * (UNIT_MM, -UNIT_MM)
    return Decoded(
        points=points + 0.0,  # no negative zeros
        kinds=kinds[kept],
        threads=_threads(read.threads, format_name, needles),
        header=read.header,
        not_understood=unknown,
        damaged=_damage(read, format_name),
    )


def _damage(read: Rows, format_name: str) -> str | None:
    if read.broken:
        return f"the file breaks off; {CUT_SHORT}"
    if read.short and known()[format_name].ends:
        return f"the file has no end record; {CUT_SHORT}"
    return None


def _needle_changes(kinds: Bytes, commands: Any) -> tuple[Bytes, list[int]]:
    """Turn needle settings into colour changes where the needle changes; also the needles in that order."""
    at = np.flatnonzero(kinds == _NEEDLE_SET)
    if not at.size:
        return kinds, []
    kinds = kinds.copy()
    needles = (((commands[at] >> 16) & 0xFF) - 1).tolist()
    sewn = np.flatnonzero(kinds == Command.STITCH)
    first_sewn = int(sewn[0]) if sewn.size else len(kinds)
    order: list[int] = []
    for row, needle in zip(at.tolist(), needles, strict=True):
        if row < first_sewn:
            kinds[row], order = _DROPPED, [needle]  # the needle to begin with, no change
        elif order and order[-1] == needle:
            kinds[row] = _DROPPED
        else:
            kinds[row] = Command.COLOUR_CHANGE
            order = [*order, needle] if order else [0, needle]
    return kinds, order


def _threads(
    listed: list[list[str | None] | None], format_name: str, needles: list[int]
) -> tuple[Thread, ...]:
    threads = tuple(_thread(thread, format_name) for thread in listed)
    if format_name in _BY_NEEDLE and needles:
        return tuple(threads[n - 1] if 0 < n <= len(threads) else Thread() for n in needles)
    return threads


def _thread(thread: list[str | None] | None, format_name: str) -> Thread:
    if thread is None or format_name in _RANDOM_COLOURS:
        return Thread()
    rgb, name, catalogue = thread
    return Thread(rgb=rgb, name=printable(name), catalogue=printable(catalogue))
