"""From a design to the bytes of a file, by pyembroidery's writers.

The library's own rearranging of a pattern (its encoder) is left off: it adds jumps after stops, ties and
trims as it sees fit. The rows that a writer gets are made here, so that each needle point, cut and stop is
the design's own: absolute places in units of 0.1 mm, y down, every step within the longest of the format.
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator
from typing import Any, TypeAlias

import numpy as np
import pyembroidery

from analyzer.design import Command, Design, Thread
from analyzer.formats.decoded import UNIT_MM
from analyzer.formats.pec import JUMP, LONG, STITCHES_AT, TRIM, tokens
from analyzer.formats.table import Format

Row: TypeAlias = list[int]  # x, y, command

_COMMAND = {
    Command.STITCH: pyembroidery.STITCH,
    Command.JUMP: pyembroidery.JUMP,
    Command.TRIM: pyembroidery.TRIM,
    Command.COLOUR_CHANGE: pyembroidery.COLOR_CHANGE,
    Command.STOP: pyembroidery.STOP,
}
_JUMPS_OF_A_TRIM = 3  # what a trim is written as in DST
_NAME = 16
# a date is part of a JEF header; a fixed one, so that the same design gives the same file
_DATE = "20000101000000"
#: Settings of the writers to be tried in turn: a header of DST may have room for a list of the threads; a PES
#: of version 1 names its threads by numbers of one palette, which older machines read too, and version 6
#: holds any colour.
SETTINGS: dict[str, tuple[dict[str, Any], ...]] = {
    "DST": ({"trim_at": _JUMPS_OF_A_TRIM, "version": "extended"}, {"trim_at": _JUMPS_OF_A_TRIM}),
    "JEF": ({"date": _DATE, "trims": False},),
    "PES": ({"version": 1}, {"version": 6}),
}


def encode(design: Design, form: Format, settings: dict[str, Any]) -> bytes:
    """Return ``design`` as a file of ``form``; whatever the library raises comes through."""
    pattern = pyembroidery.EmbPattern()
    rows = landing_rows(design, form) if form.name in ("PEC", "PES") else plain_rows(design, form)
    if form.name == "VP3":
        rows.insert(0, _evening(rows))
    pattern.stitches = rows
    if form.colours or any(thread.rgb for thread in design.threads):
        pattern.threadlist.extend(_thread(thread) for thread in design.threads)
    pattern.metadata("name", _ascii(design.name.rsplit(".", 1)[0], "design")[:_NAME])
    stream = io.BytesIO()
    writer = next(
        entry["writer"]
        for entry in pyembroidery.supported_formats()
        if entry["extension"].upper() == form.name
    )
    pyembroidery.EmbPattern.write_embroidery(writer, pattern, stream, {"encode": False, **settings})
    data = stream.getvalue()
    if form.name in ("PEC", "PES"):
        block = 8 if form.name == "PEC" else int.from_bytes(data[8:12], "little")
        data = _keep_thread_at_jumps(data, block + STITCHES_AT, rows)
    return data


def plain_rows(design: Design, form: Format) -> list[Row]:
    """Return the rows for a format with jumps, split where a move is longer than a step.

    A trim before as many jumps as a DST writer would put for it is left to those jumps. Where threads are
    listed, a change that no stitches follow would shift the list, and is left out.
    """
    kinds = design.kinds.tolist()
    jumps = _jumps_ahead(kinds)
    listed = form.colours or any(thread.rgb for thread in design.threads)
    rows: list[Row] = []
    x = y = 0
    sequins = False
    for (to_x, to_y), (i, kind) in zip(_units(design), enumerate(kinds), strict=True):
        if (kind == Command.SEQUIN) != sequins and form.sequins:
            sequins = not sequins
            rows.append([x, y, pyembroidery.SEQUIN_MODE])
        if kind in (Command.STITCH, Command.JUMP, Command.SEQUIN):
            rows += _split(x, y, to_x, to_y, _most(form))
            x, y = to_x, to_y
            rows.append([x, y, _COMMAND.get(Command(kind), pyembroidery.SEQUIN_EJECT)])
        elif kind == Command.TRIM and form.name == "DST" and jumps[i + 1] >= _JUMPS_OF_A_TRIM:
            continue
        elif kind != Command.COLOUR_CHANGE or not listed or _begins_block(design, i):
            rows.append([x, y, _COMMAND[Command(kind)]])
    rows.append([x, y, pyembroidery.END])
    return rows


def landing_rows(design: Design, form: Format) -> list[Row]:
    """Return the rows for PEC: its writer adds a needle point unless a jump ends where the needle goes down.

    All moves between two needle points become one jump to the second, after the commands.
    """
    rows: list[Row] = []
    x = y = 0
    moved = True
    for (to_x, to_y), (i, kind) in zip(_units(design), enumerate(design.kinds.tolist()), strict=True):
        if kind == Command.STITCH:
            pieces = _split(x, y, to_x, to_y, _most(form))
            if moved or pieces:
                rows += [*pieces, [to_x, to_y, pyembroidery.JUMP]]
            x, y, moved = to_x, to_y, False
            rows.append([x, y, pyembroidery.STITCH])
        elif kind in (Command.JUMP, Command.TRIM):
            moved = True
            if kind == Command.TRIM:
                rows.append([x, y, pyembroidery.TRIM])
        elif kind != Command.COLOUR_CHANGE or _begins_block(design, i):
            rows.append([x, y, _COMMAND[Command(kind)]])
    rows.append([x, y, pyembroidery.END])
    return rows


def _units(design: Design) -> Iterator[tuple[int, int]]:
    """Yield the places of all commands in units of 0.1 mm, y down."""
    places = np.rint(design.points / (UNIT_MM, -UNIT_MM)).astype(np.int64)
    return ((x, y) for x, y in places.tolist())


def _most(form: Format) -> int:
    return round((form.step_mm or 0.0) / UNIT_MM)


def _split(x: int, y: int, to_x: int, to_y: int, most: int) -> list[Row]:
    """Return the jumps that bring a place within one step of where a long move goes."""
    steps = -(-max(abs(to_x - x), abs(to_y - y)) // most)
    return [
        [x + (to_x - x) * n // steps, y + (to_y - y) * n // steps, pyembroidery.JUMP] for n in range(1, steps)
    ]


def _jumps_ahead(kinds: list[int]) -> list[int]:
    """Return how many jumps in a row begin at each command, and 0 after the last."""
    ahead = [0] * (len(kinds) + 1)
    for i in range(len(kinds) - 1, -1, -1):
        ahead[i] = ahead[i + 1] + 1 if kinds[i] == Command.JUMP else 0
    return ahead


def _begins_block(design: Design, change: int) -> bool:
    """Say whether stitches both precede and follow the colour change at a row, up to the next change."""
    later = np.flatnonzero(design.kinds[change + 1 :] == Command.COLOUR_CHANGE)
    end = change + 1 + int(later[0]) if later.size else len(design.kinds)
    follows = bool(np.any(design.kinds[change + 1 : end] == Command.STITCH))
    return follows and bool(np.any(design.kinds[:change] == Command.STITCH))


def _evening(rows: list[Row]) -> Row:
    """Return a jump that makes the extents of a VP3 even, since its writer halves them and drops the rest.

    VP3 holds no jumps; the row only counts among the extents.
    """
    x, y = ([row[axis] for row in rows] for axis in (0, 1))
    return [max(x) + (max(x) + min(x)) % 2, max(y) + (max(y) + min(y)) % 2, pyembroidery.JUMP]


def _keep_thread_at_jumps(data: bytes, start: int, rows: list[Row]) -> bytes:
    """Take the cut from jumps that follow no trim: the PEC writer cuts at every jump but a first row's."""
    raw = np.frombuffer(data, dtype=np.uint8)[start:]
    token = tokens(raw)
    pairs = token[: len(token) // 2 * 2].reshape(-1, 2)
    jumps = pairs[np.all(raw[pairs] & (LONG | TRIM) == LONG | TRIM, axis=1) & (raw[pairs[:, 0]] < 0xF0)]
    cut, trimmed = [], False
    for number, (_, _, command) in enumerate(rows):
        trimmed = trimmed or command == pyembroidery.TRIM
        if command == pyembroidery.JUMP:
            if number:
                cut.append(trimmed)
            trimmed = False
    changed = bytearray(data)
    for (first, second), is_cut in zip(jumps.tolist(), cut, strict=False):
        if not is_cut:
            for place in (start + first, start + second):
                changed[place] = changed[place] & ~TRIM | JUMP
    return bytes(changed)


def _thread(thread: Thread) -> pyembroidery.EmbThread:
    made = pyembroidery.EmbThread()
    made.set_hex_color(thread.rgb or "#000000")
    # a DST header's list of threads would hold a missing one as the word "None"
    made.description = _ascii(thread.name)
    made.catalog_number = _ascii(thread.catalogue)
    return made


def _ascii(text: str | None, otherwise: str = "") -> str:
    """Return a text without accents and without what ASCII lacks: writers count letters, not bytes."""
    plain = unicodedata.normalize("NFKD", text or "").encode("ascii", "ignore").decode("ascii")
    return "".join(c for c in plain if c.isprintable()).strip() or otherwise
