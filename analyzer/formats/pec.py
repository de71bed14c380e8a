"""PEC, and the PEC block of PES, decoded without a loop over the stitches.

What the needle does stands in the PEC block of a PES file; the part before it serves drawing programs, and is
read here for its threads only. A coordinate is one byte of seven bits, or two bytes with flags for jump and
trim and twelve bits, in units of 0.1 mm, y down. A colour that equals the one before it means a stop.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Bytes
from analyzer.design import Command
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded
from analyzer.formats.pes_threads import PecThread, block_threads, chart

_CHANGES_AT, _LENGTH_AT, STITCHES_AT = 48, 514, 528  # from the beginning of the block
LONG, TRIM, JUMP = 0x80, 0x20, 0x10
_END, _CHANGE = (0xFF, 0x00), (0xFE, 0xB0)


def decode_pec(data: bytes) -> Decoded | None:
    """Decode a PEC file; None where only a reader of single bytes gets it right."""
    return _decode(data, 8, [])


def decode_pes(data: bytes) -> Decoded | None:
    """Decode a PES file; None where only a reader of single bytes gets it right."""
    if data[:8] == b"#PEC0001":
        return decode_pec(data)
    return _decode(data, int.from_bytes(data[8:12], "little"), chart(data))


def _decode(data: bytes, block: int, listed: list[PecThread]) -> Decoded | None:
    start = block + STITCHES_AT
    raw = np.frombuffer(data, dtype=np.uint8, offset=min(start, len(data)))
    token = tokens(raw)
    flags, values = raw[token], _values(raw, token)
    if token.size and flags[-1] & LONG and token[-1] + 1 == len(raw):
        token, flags, values = token[:-1], flags[:-1], values[:-1]  # its second byte is missing
    pairs = len(token) // 2
    first, second = flags[: 2 * pairs : 2], flags[1 : 2 * pairs : 2]
    after = raw[np.minimum(token[: 2 * pairs : 2] + 1, max(len(raw) - 1, 0))]
    # the end is two bytes, and may stand last with no token after it
    ends = np.flatnonzero(
        (flags[::2] == _END[0]) & (raw[np.minimum(token[::2] + 1, len(raw) - 1)] == _END[1])
    )
    end = int(ends[0]) if ends.size else pairs
    if not ends.size and len(token) % 2 and flags[-1] == _CHANGE[0]:
        return None  # the file ends in the middle of a change
    change = ((first == _CHANGE[0]) & (after == _CHANGE[1]))[:end]
    if np.any(second[:end][change] & LONG):
        return None  # the byte after a change is one byte, whatever it holds
    jump = (_flagged(first, JUMP) | _flagged(second, JUMP))[:end] & ~change
    trim = (_flagged(first, TRIM) | _flagged(second, TRIM))[:end] & ~change & ~jump
    steps = values[: 2 * end].reshape(-1, 2)
    kinds, steps = _rows(jump, trim, change, steps)
    points = np.empty((len(kinds), 2))
    for axis, unit in enumerate((UNIT_MM, -UNIT_MM)):
        np.cumsum(steps[:, axis], dtype=np.float64, out=points[:, axis])
        points[:, axis] *= unit
    kinds, threads = _stops(kinds, block_threads(data, block + _CHANGES_AT, listed))
    return Decoded(
        points=points + 0.0,  # no negative zeros
        kinds=kinds,
        threads=tuple(thread.thread for thread in threads),
        damaged=_damage(data, block, ended=bool(ends.size)),
    )


def _damage(data: bytes, block: int, *, ended: bool) -> str | None:
    stated = int.from_bytes(data[block + _LENGTH_AT : block + _LENGTH_AT + 3], "little")
    if block + _LENGTH_AT - 2 + stated > len(data):
        return f"the file ends before the stitches that it states; {CUT_SHORT}"
    return None if ended else f"the file has no end record; {CUT_SHORT}"


def tokens(raw: Bytes) -> npt.NDArray[np.intp]:
    """Return where the coordinates begin: a byte with its highest bit set takes the next one with it.

    Within a run of such bytes every second one is taken by the one before it, and so is the byte after a run
    of odd length.
    """
    high = np.concatenate((raw >= LONG, [False]))
    begins = high.copy()
    begins[1:] &= ~high[:-1]
    at = np.flatnonzero(high)
    first = np.maximum.accumulate(np.where(begins[at], at, 0))
    leads = at[(at - first) % 2 == 0]
    starts = np.ones(len(raw) + 1, dtype=np.bool_)
    starts[leads + 1] = False
    return np.flatnonzero(starts[:-1])


def _values(raw: Bytes, token: npt.NDArray[np.intp]) -> npt.NDArray[np.int16]:
    head = raw[token].astype(np.int16)
    values = np.where(head > 63, head - 128, head)
    long = np.flatnonzero(head >= LONG)
    tail = raw[np.minimum(token[long] + 1, len(raw) - 1)]
    twelve = (head[long] & 0x0F) << 8 | tail
    values[long] = np.where(twelve > 0x7FF, twelve - 0x1000, twelve)
    return values


def _flagged(head: Bytes, flag: int) -> Bools:
    wanted = LONG | flag
    return np.asarray(head & wanted == wanted)


def _rows(
    jump: Bools, trim: Bools, change: Bools, steps: npt.NDArray[np.int16]
) -> tuple[Bytes, npt.NDArray[np.int16]]:
    """Return kinds and steps of the commands; a trim is the trim where the frame stands, and then a jump."""
    kinds = np.full(len(jump), Command.STITCH, dtype=np.uint8)
    kinds[jump | trim] = Command.JUMP
    kinds[change] = Command.COLOUR_CHANGE
    steps = np.where(change[:, None], 0, steps)
    cut = np.flatnonzero(trim)
    if cut.size:
        times = 1 + trim.astype(np.intp)
        set_at = cut + np.arange(cut.size)
        kinds, steps = np.repeat(kinds, times), np.repeat(steps, times, axis=0)
        kinds[set_at] = Command.TRIM
        steps[set_at] = 0
    return kinds, steps


def _stops(kinds: Bytes, listed: list[PecThread]) -> tuple[Bytes, list[PecThread]]:
    """Make a stop of each change to a thread that equals the one before it, and leave that thread out.

    Threads belong to the blocks that are sewn; a change that nothing is sewn after has none.
    """
    changes = np.flatnonzero(kinds == Command.COLOUR_CHANGE)
    stitches = np.concatenate(([0], np.cumsum(kinds == Command.STITCH)))
    edges = np.concatenate(([0], changes, [len(kinds)]))
    sewn = np.flatnonzero(np.diff(stitches[edges]) > 0)  # number of the block; change b - 1 leads to block b
    left = set()
    for number, block in enumerate(sewn.tolist()):
        if 0 < number < len(listed) and listed[number] == listed[number - 1]:
            kinds[changes[block - 1]] = Command.STOP
            left.add(number)
    return kinds, [thread for i, thread in enumerate(listed) if i not in left]
