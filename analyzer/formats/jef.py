"""JEF, decoded without a loop over the stitches.

The pairs of bytes are those of EXP with fewer commands: a jump, one code for colour changes and stops, an
end; there are no trims. A header lists colour numbers of one palette; colour 0 makes its change a stop.
"""

from __future__ import annotations

import numpy as np
from pyembroidery import EmbThreadJef

from analyzer.arrays import Bytes
from analyzer.design import Command, Thread
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded, commands_and_operands, printable

_NOT_READ = "what follows it was not read"
_COLOUR_COUNT_AT, _COLOURS_AT = 24, 116
_JUMP, _CHANGE, _END = 0x02, 0x01, 0x10


def decode(data: bytes) -> Decoded:
    """Decode a whole file; no bytes make it fail."""
    start = min(int.from_bytes(data[:4], "little"), len(data))
    count = (len(data) - start) // 2
    pairs = np.frombuffer(data, dtype=np.uint8, count=2 * count, offset=start if count else 0).reshape(-1, 2)
    command, operand = commands_and_operands(pairs)
    at = np.flatnonzero(command)
    codes = pairs[at, 1]
    ends = np.flatnonzero(~np.isin(codes, (_JUMP, _CHANGE)))
    damaged: str | None = f"the file has no end record; {CUT_SHORT}"
    end = count
    if ends.size:
        end = int(at[ends[0]])
        known = codes[ends[0]] == _END
        damaged = None if known else f"an unknown command stands at byte {start + 2 * end}; {_NOT_READ}"
    elif at.size and at[-1] == count - 1:
        end -= 1  # a command without its operand does nothing
    codes, at = codes[at < end], at[at < end]
    kinds = np.full(end, Command.STITCH, dtype=np.uint8)
    steps = pairs[: end + 1].view(np.int8).copy()
    steps[at] = steps[at + 1] * (codes == _JUMP)[:, None].astype(np.int8)
    kinds[at] = np.where(codes == _JUMP, Command.JUMP, Command.COLOUR_CHANGE)
    kept = ~operand[:end]
    kinds, steps = kinds[kept], steps[:end][kept]
    points = np.empty((len(kinds), 2))
    for axis in range(2):
        np.cumsum(steps[:, axis], dtype=np.float64, out=points[:, axis])
    points *= UNIT_MM
    kinds, threads = _stops(kinds, _threads(data))
    return Decoded(points=points, kinds=kinds, threads=threads, damaged=damaged)


def _threads(data: bytes) -> list[Thread | None]:
    """Return the threads that the header lists, None for colour 0."""
    listed = int.from_bytes(data[_COLOUR_COUNT_AT : _COLOUR_COUNT_AT + 4], "little")
    count = max(0, min(listed, (len(data) - _COLOURS_AT) // 4))
    numbers = np.frombuffer(data, dtype="<u4", count=count, offset=_COLOURS_AT if count else 0).tolist()
    palette = EmbThreadJef.get_thread_set()
    threads: list[Thread | None] = []
    for number in numbers:
        listed_thread = palette[number % len(palette)]
        if number == 0:
            threads.append(None)
        elif listed_thread is None:  # a number that stands for no thread
            threads.append(Thread())
        else:
            threads.append(
                Thread(
                    rgb=listed_thread.hex_color(),
                    name=printable(listed_thread.description),
                    catalogue=printable(listed_thread.catalog_number),
                )
            )
    return threads


def _stops(kinds: Bytes, listed: list[Thread | None]) -> tuple[Bytes, tuple[Thread, ...]]:
    """Make a stop of each change to colour 0, and leave that out of the threads."""
    changes = np.flatnonzero(kinds == Command.COLOUR_CHANGE)
    stops = [number for number in range(1, min(len(listed), changes.size + 1)) if listed[number] is None]
    kinds[changes[np.array(stops, dtype=np.intp) - 1]] = Command.STOP
    left = set(stops)
    return kinds, tuple(thread or Thread() for i, thread in enumerate(listed) if i not in left)
