"""EXP, decoded without a loop over the stitches.

Two signed bytes are a stitch, in units of 0.1 mm; 0x80 begins a command, whose number is the second byte and
whose displacement is the next pair. There are jumps, trims and one code for colour changes and stops alike.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes
from analyzer.design import Command
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded, commands_and_operands

_JUMP, _TRIM, _STITCH, _CHANGE = 0x04, 0x80, 0x02, 0x01
_UNKNOWN = 255
_Steps: TypeAlias = npt.NDArray[np.int8]
_Rows: TypeAlias = npt.NDArray[np.intp]


def _lookup() -> Bytes:
    kinds = np.full(256, _UNKNOWN, dtype=np.uint8)
    for code, kind in {
        _JUMP: Command.JUMP,
        _TRIM: Command.TRIM,
        _STITCH: Command.STITCH,
        _CHANGE: Command.COLOUR_CHANGE,
    }.items():
        kinds[code] = kind
    return kinds


_KIND = _lookup()


def decode(data: bytes) -> Decoded:
    """Decode a whole file; no bytes make it fail."""
    pairs = np.frombuffer(data, dtype=np.uint8, count=len(data) // 2 * 2).reshape(-1, 2)
    command, operand = commands_and_operands(pairs)
    kinds = np.full(len(pairs), Command.STITCH, dtype=np.uint8)
    steps = pairs.view(np.int8)
    damaged = _cut_short(data, command)
    at = np.flatnonzero(command)
    if at.size:
        kinds[at] = _KIND[pairs[at, 1]]
        unknown = at[kinds[at] == _UNKNOWN]
        if unknown.size:
            damaged = f"an unknown command stands at byte {2 * unknown[0]}; what follows it was not read"
        # a command at the very end lacks its operand and does nothing
        end = int(unknown[0]) if unknown.size else len(pairs) - int(command[-1])
        kinds, steps = _carry_out(kinds[:end], steps, at[at < end], ~operand[:end])
    points = np.empty((len(kinds), 2))
    for axis in range(2):
        np.cumsum(steps[:, axis], dtype=np.float64, out=points[:, axis])
    points *= UNIT_MM
    return Decoded(points=points, kinds=kinds, damaged=damaged)


def _carry_out(kinds: Bytes, steps: _Steps, at: _Rows, kept: Bools) -> tuple[Bytes, _Steps]:
    """Give the commands at rows ``at`` the displacement of their operands; keep the rows ``kept``.

    A colour change with a displacement is the change where the frame stands, and then a jump.
    """
    steps = steps[: len(kinds) + 1].copy()
    steps[at] = steps[at + 1]
    steps[at[kinds[at] == Command.TRIM]] = 0  # what stands in a trim's operand does not move the frame
    changes = at[kinds[at] == Command.COLOUR_CHANGE]
    moving = changes[steps[changes].any(axis=1)]
    times = kept.astype(np.intp)
    times[moving] = 2
    jumps = np.cumsum(times)[moving] - 1
    kinds, steps = np.repeat(kinds, times), np.repeat(steps[: len(kinds)], times, axis=0)
    kinds[jumps] = Command.JUMP
    steps[jumps - 1] = 0
    return kinds, steps


def _cut_short(data: bytes, command: Bools) -> str | None:
    if len(data) % 2 or (len(command) and command[-1]):
        return f"the file ends in the middle of a record; {CUT_SHORT}"
    return None
