"""VP3, decoded block by block, each without a loop over its stitches.

A file holds sections, a section holds colour blocks, each with its declared length. Numbers are big-endian.
A length is believed only where what it leads to begins as it must: else the second length of the block is
tried, then the next beginning of a block is looked for. A file whose blocks cannot be found is refused:
reading on from a wrong place gives coordinates of metres.

Two signed bytes are a stitch in units of 0.1 mm, y down; 0x80 begins a command: 1 a long stitch of two 16-bit
numbers, 3 a trim. There are no jumps: a move to the next place is a long stitch, or a new block.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Bytes, Floats
from analyzer.design import Command, Thread
from analyzer.formats.decoded import CUT_SHORT, UNIT_MM, Decoded, DecodeError, printable

_SECTION, _BLOCK, _STITCHES, _AFTER_LENGTH = (
    b"\x00\x03\x00",
    b"\x00\x05\x00",
    b"\x00\x01\x00",
    b"\x0a\xf6\x00",
)
_LONG, _TRIM, _ESCAPE = 0x01, 0x03, 0x80
_PAIRS_OF_A_LONG = 4  # the command, two numbers, and a pair without meaning
_START_MM = 0.001  # unit of the places where blocks begin
_ANOTHER = "export it again, or as another format such as DST"


@dataclass(frozen=True, slots=True)
class _Head:
    """What stands before the stitches of a colour block."""

    start_mm: tuple[float, float]  #: from the middle of its section, y up
    thread: Thread
    stitches_at: int
    ends: tuple[int, int]  #: by the length of the block, and by the length of its stitches


class _Cursor:
    """Reads one thing after another; struct.error or IndexError where the file ends."""

    def __init__(self, data: bytes, at: int = 0) -> None:
        self.data, self.at = data, at

    def number(self, code: str) -> int:
        size = struct.calcsize(code)
        value: int = struct.unpack_from(">" + code, self.data, self.at)[0]
        self.at += size
        return value

    def text(self) -> bytes:
        length = self.number("H")
        piece = self.data[self.at : self.at + length]
        self.at += length
        return piece

    def expect(self, mark: bytes) -> None:
        if self.data[self.at : self.at + len(mark)] != mark:
            raise IndexError
        self.at += len(mark)


def decode(data: bytes) -> Decoded | None:
    """Decode a whole file; None where it is laid out otherwise than described here, for the library to try.

    Raises DecodeError where the file ends before its stitches, or blocks after the first cannot be found.
    """
    cursor = _Cursor(data, 6)
    pieces: list[tuple[Floats, Bytes]] = []
    threads: list[Thread] = []
    damage: list[str] = []
    try:
        cursor.text()  # who made it
        cursor.at += 7
        cursor.text()  # notes
        cursor.at += 24
        sections = cursor.number("B")
    except struct.error:
        raise DecodeError(f"the VP3 file ends in its header; {_ANOTHER}") from None
    for number in range(max(sections, 1)):
        try:
            _section(cursor, pieces, threads, damage)
        except (struct.error, IndexError) as error:
            if not pieces and isinstance(error, IndexError):
                return None
            if not pieces:
                raise DecodeError(
                    f"the VP3 file ends before its stitches, near byte {cursor.at:,}; {_ANOTHER}"
                ) from None
            damage.append(f"{sections} sections are stated and {number} found; {CUT_SHORT}")
            break
    points = np.concatenate([piece[0] for piece in pieces]) if pieces else np.empty((0, 2))
    kinds = np.concatenate([piece[1] for piece in pieces]) if pieces else np.empty(0, dtype=np.uint8)
    return Decoded(points=points, kinds=kinds, threads=tuple(threads), damaged="; ".join(damage) or None)


def _section(
    cursor: _Cursor, pieces: list[tuple[Floats, Bytes]], threads: list[Thread], damage: list[str]
) -> None:
    """Read one section and leave the cursor behind it."""
    cursor.expect(_SECTION)
    cursor.at += 4
    middle = cursor.number("i") * _START_MM, cursor.number("i") * _START_MM
    cursor.at += 27
    cursor.text()
    cursor.at += 24
    cursor.text()
    blocks = cursor.number("H")
    for number in range(blocks):
        try:
            head = _head(cursor.data, cursor.at)
        except (struct.error, IndexError):
            if not pieces:
                raise
            damage.append(f"{blocks} colour blocks are stated and {number} found; {CUT_SHORT}")
            cursor.at = len(cursor.data)
            return
        end, remark = _true_end(cursor.data, head, number + 1 == blocks)
        damage += [f"colour block {number + 1} {remark}"] if remark else []
        begin = tuple(a + b for a, b in zip(middle, head.start_mm, strict=True))
        position = pieces[-1][0][-1] if pieces and len(pieces[-1][0]) else np.zeros(2)
        if pieces:
            pieces.append((position[None], np.array([Command.COLOUR_CHANGE], dtype=np.uint8)))
        if any(begin):
            position = np.array(begin)
            pieces.append((position[None], np.array([Command.JUMP], dtype=np.uint8)))
        pieces.append(_stitches(cursor.data[head.stitches_at : end], position))
        threads.append(head.thread)
        cursor.at = end


def _head(data: bytes, at: int) -> _Head:
    """Read what stands before the stitches; struct.error or IndexError where there is no block."""
    cursor = _Cursor(data, at)
    cursor.expect(_BLOCK)
    length = cursor.number("i")
    block_end = cursor.at + length
    start = cursor.number("i") * _START_MM, cursor.number("i") * _START_MM
    colours, _ = cursor.number("B"), cursor.number("B")
    rgb = None
    for _ in range(colours):
        rgb = cursor.number("H") << 8 | cursor.number("B")
        cursor.at += 3
    cursor.at += 2  # kind and weight of the thread
    catalogue, name, _ = (cursor.text().decode("utf-8", "ignore") for _ in range(3))
    cursor.at += 8
    cursor.expect(_STITCHES)
    stitches = cursor.number("i")
    stitches_end = cursor.at + stitches + 1
    cursor.expect(_AFTER_LENGTH)
    thread = Thread(
        rgb=None if rgb is None else f"#{rgb:06x}", name=printable(name), catalogue=printable(catalogue)
    )
    return _Head(start, thread, cursor.at, (block_end, stitches_end))


def _true_end(data: bytes, head: _Head, last: bool) -> tuple[int, str | None]:
    """Return where a block ends, and what was wrong with its lengths.

    Raises DecodeError where no end can be found.
    """
    for number, end in enumerate(head.ends):
        if head.stitches_at <= end <= len(data) and (
            _begins(data, end, _BLOCK) if not last else end == len(data) or _begins(data, end, _SECTION)
        ):
            return end, None if number == 0 else "states a wrong length"
    if last:  # nothing says where it ends but its length
        end = head.ends[0]
        if end > len(data):
            return len(data), f"states more than the file holds; {CUT_SHORT}"
        return max(end, head.stitches_at), None
    at = head.stitches_at
    while (at := data.find(_BLOCK, at)) >= 0:
        if _begins(data, at, _BLOCK):
            return at, "states a wrong length; read up to the next block"
        at += 1
    if head.ends[0] > len(data):
        return len(data), f"states more than the file holds; {CUT_SHORT}"
    raise DecodeError(
        f"a colour block of this VP3 file states a wrong length, near byte {head.stitches_at:,}, and the "
        f"next one is not found; {_ANOTHER}"
    )


def _begins(data: bytes, at: int, mark: bytes) -> bool:
    if mark == _SECTION:
        return data[at : at + 3] == mark
    try:
        _head(data, at)
    except (struct.error, IndexError):
        return False
    return True


def _stitches(data: bytes, begin: Floats) -> tuple[Floats, Bytes]:
    """Decode the stitches of a block that begins at ``begin`` (mm, y up)."""
    pairs = np.frombuffer(data, dtype=np.int8, count=len(data) // 2 * 2).reshape(-1, 2)
    escape = pairs[:, 0].view(np.uint8) == _ESCAPE
    steps = pairs.astype(np.float64)
    taken = np.zeros(len(pairs), dtype=np.bool_)
    free = 0
    longs = []
    for at in np.flatnonzero(escape & (pairs[:, 1] == _LONG)).tolist():
        if at >= free:  # else it is part of the one before
            longs.append(at)
            free = at + _PAIRS_OF_A_LONG
    if longs and longs[-1] + 2 >= len(pairs):  # its numbers are cut off
        taken[longs.pop() :] = True
    rows = np.array(longs, dtype=np.intp)
    numbers = np.frombuffer(data, dtype=">i2", count=len(pairs))
    steps[rows, 0], steps[rows, 1] = numbers[rows + 1], numbers[rows + 2]
    for after in range(1, _PAIRS_OF_A_LONG):
        taken[np.minimum(rows + after, len(pairs) - 1)] = True
    kinds = np.full(len(pairs), Command.STITCH, dtype=np.uint8)
    command = escape.copy()
    command[rows] = False
    trim = command & (pairs[:, 1] == _TRIM)
    kinds[trim] = Command.TRIM
    steps[command] = 0.0
    kept = ~taken & ~(command & ~trim)
    points = np.cumsum(steps[kept], axis=0) * (UNIT_MM, -UNIT_MM) + begin
    return points, kinds[kept]
