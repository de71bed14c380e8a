"""Decoding by pyembroidery, kept behind one function: bytes in, arrays out.

pyembroidery gives rows ``[x, y, command]``, absolute, 0.1 mm, y down; here they become millimetres, y up.
Trims are kept as the file has them: the library's guesses (for JEF by the length of a move) are off, and so
is its clipping, which deletes real moves. A DST file has no trim command; three or more jumps in a row cut
the thread on the machines that read it, so a trim is set before them.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
import pyembroidery
from pyembroidery import EmbConstant

from analyzer.arrays import Bytes, Floats
from analyzer.design import Command, Thread

JUMPS_OF_A_TRIM = 3  # common practice of machines that read DST; some are set to two, four or five
_AS_THE_FILE_HAS_IT = {"trim_at": None, "trim_distance": None, "trims": False, "clipping": False}
TRIMS_BY_JUMPS = ("DST", "TAP", "EXY")  # one encoding, three names
_RANDOM_COLOURS = ("JPX",)  # the file holds colour numbers of an unknown palette; the library draws lots
_BY_NEEDLE = ("TBF",)  # threads are listed by needle, not by colour block

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


@dataclass(frozen=True, slots=True)
class Decoded:
    """What a decoder delivers: ``points`` (n, 2) mm, y up, ``kinds`` (n,) of Command, and the rest."""

    points: Floats
    kinds: Bytes
    threads: tuple[Thread, ...]  #: one for each colour block as far as the file names them
    header: dict[str, str]  #: texts of the file's own header
    trims_inferred: int
    not_understood: int  #: rows with commands that no machine carries out; passed over


def decode(data: bytes, format_name: str) -> Decoded:
    """Decode a whole file.

    Raises whatever the library raises on damaged data, nearly anything; the caller makes one error of it.
    """
    pattern = _read(data, format_name)
    rows = pattern.stitches
    # three times as fast as np.array(rows), which looks at every row as a sequence of its own
    table = np.fromiter(chain.from_iterable(rows), dtype=np.float64, count=3 * len(rows)).reshape(-1, 3)
    commands = table[:, 2].astype(np.int64)
    kinds = _KINDS[commands & 0xFF]
    kinds, needles = _needle_changes(kinds, commands)
    unknown = int(np.count_nonzero(kinds == _UNKNOWN))
    kept = kinds < _UNKNOWN
    points = table[kept, :2] * (0.1, -0.1)
    points, kinds, inferred = points + 0.0, kinds[kept], 0  # + 0.0: no negative zeros
    if format_name in TRIMS_BY_JUMPS:
        points, kinds, inferred = infer_trims(points, kinds)
    return Decoded(
        points=points,
        kinds=kinds,
        threads=_threads(pattern.threadlist, format_name, needles),
        header={str(key): value for key, value in pattern.extras.items() if isinstance(value, str)},
        trims_inferred=inferred,
        not_understood=unknown,
    )


def _read(data: bytes, format_name: str) -> Any:
    entry = next(f for f in pyembroidery.supported_formats() if f["extension"].upper() == format_name)
    reader = entry["reader"]
    text = getattr(reader, "READ_FILE_IN_TEXT_MODE", False)
    stream = io.StringIO(data.decode("utf-8-sig")) if text else io.BytesIO(data)
    pattern = pyembroidery.EmbPattern()
    reader.read(stream, pattern, dict(_AS_THE_FILE_HAS_IT))
    return pattern


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


def infer_trims(points: Floats, kinds: Bytes) -> tuple[Floats, Bytes, int]:
    """Set a trim before each run of three or more jumps that follows a stitch; also how many were set."""
    jump = kinds == Command.JUMP
    edges = np.flatnonzero(np.diff(np.concatenate(([False], jump, [False])).astype(np.int8)))
    starts, ends = edges[::2], edges[1::2]
    cut = (ends - starts >= JUMPS_OF_A_TRIM) & (starts > 0)
    starts = starts[cut]
    before = kinds[starts - 1]
    starts = starts[(before == Command.STITCH) | (before == Command.SEQUIN)]
    if not starts.size:
        return points, kinds, 0
    points = np.insert(points, starts, points[starts - 1], axis=0)
    return points, np.insert(kinds, starts, np.uint8(Command.TRIM)), int(starts.size)


def _threads(listed: list[Any], format_name: str, needles: list[int]) -> tuple[Thread, ...]:
    threads = tuple(_thread(thread, format_name) for thread in listed)
    if format_name in _BY_NEEDLE and needles:
        return tuple(threads[n - 1] if 0 < n <= len(threads) else Thread() for n in needles)
    return threads


def _thread(thread: Any, format_name: str) -> Thread:
    if thread is None or format_name in _RANDOM_COLOURS:
        return Thread()
    return Thread(
        rgb=thread.hex_color(),
        name=_text(thread.description),
        catalogue=_text(thread.catalog_number),
    )


def _text(value: object) -> str | None:
    text = "".join(c for c in str(value) if c.isprintable()).strip() if value is not None else ""
    return text or None
