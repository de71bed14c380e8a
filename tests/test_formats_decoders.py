"""The decoders of our own against pyembroidery 1.5.1 reading the same bytes: every row, in the same order.

Where the two differ, and why ours is kept:

- A thread line ``TC:`` in a DST header with fewer than three parts ends the library with an IndexError.
  Ours reads the parts that are there (:func:`test_a_thread_line_of_a_dst_header_may_be_incomplete`).
- The library's default deletes jumps that return to where they began. They are moves of the frame that the
  file states, so the comparison turns that off.
- A JEF with more changes than colours, and a PES or PEC whose lists of threads or pictures are cut off, end
  the library with a TypeError, IndexError or ValueError although the stitches are there. Ours reads them.
- A list of threads in a PES that runs past the end of the file is filled up by the library with empty ones;
  ours ends with the last whole thread.
- A colour number that stands for no thread becomes black in the library; ours leaves the thread unnamed.
- A block of a VP3 that begins at x = 0 or y = 0 is left by the library where the block before it ended; ours
  begins it where the file says. Lengths that lead nowhere are followed by the library, into coordinates of
  kilometres; ours looks for the next block or refuses the file, so files are compared that are changed only
  where the stitches are.
- The place of a trim that was taken from jumps has no meaning of its own. It is compared in the sequence of
  commands; the library puts it at the switch of the sequin mode where one comes before the jumps.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import numpy as np
import pyembroidery
import pytest
from hostile_files import every_command, mutated, noise
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analyzer.design import Command, Thread
from analyzer.formats import dst, exp, jef, pec, vp3
from analyzer.formats.decoded import Decoded

OURS = {
    pyembroidery.STITCH: Command.STITCH,
    pyembroidery.JUMP: Command.JUMP,
    pyembroidery.TRIM: Command.TRIM,
    pyembroidery.COLOR_CHANGE: Command.COLOUR_CHANGE,
    pyembroidery.STOP: Command.STOP,
    pyembroidery.SEQUIN_EJECT: Command.SEQUIN,
}
THREADED = ("JEF", "PEC", "PES")
READERS = {
    "JEF": pyembroidery.JefReader,
    "PEC": pyembroidery.PecReader,
    "PES": pyembroidery.PesReader,
    "DST": pyembroidery.DstReader,
    "TAP": pyembroidery.TapReader,
    "EXY": pyembroidery.ExyReader,
    "EXP": pyembroidery.ExpReader,
}
DECODERS: dict[str, Callable[[bytes], Decoded | None]] = {
    "JEF": jef.decode,
    "PEC": pec.decode_pec,
    "PES": pec.decode_pes,
    "VP3": vp3.decode,
    "DST": dst.decode,
    "TAP": lambda data: dst.decode(data, "TAP"),
    "EXY": lambda data: dst.decode(data, "EXY"),
    "EXP": exp.decode,
}


def reference(data: bytes, name: str) -> pyembroidery.EmbPattern:
    pattern = pyembroidery.EmbPattern()
    settings = {"clipping": False, "trim_distance": None}
    READERS[name].read(io.BytesIO(data), pattern, settings)
    return pattern


def assert_same(data: bytes, name: str) -> bool:
    """Compare row for row; false where the library fails, or where ours leaves the file to it."""
    found = DECODERS[name](data)
    try:
        pattern = reference(data, name)
    except (TypeError, IndexError, ValueError):
        assert name in THREADED
        return False
    if found is None:
        return False
    expected = [row for row in pattern.stitches if row[2] & 0xFF in OURS]
    commands, kinds = [OURS[row[2] & 0xFF] for row in expected], found.kinds.tolist()
    # an empty text, where the format has none, is what the library reads at the end of the file
    invented = name == "PES" and any(thread.chart == "" for thread in pattern.threadlist)
    if invented:  # which changes are stops follows from the threads
        kinds, commands = _without_stops(kinds), _without_stops(commands)
    assert kinds == commands, (name, data)
    at = np.array([row[:2] for row in expected], dtype=float).reshape(-1, 2) * (0.1, -0.1)
    moves = found.kinds != Command.TRIM if found.trims_inferred else np.ones(len(expected), dtype=bool)
    assert np.array_equal(found.points[moves], at[moves]), (name, data)
    if name in THREADED and not invented:
        named = [thread.rgb or "#000000" for thread in found.threads]
        assert named == [thread.hex_color() if thread else "#000000" for thread in pattern.threadlist]
    return True


def _without_stops(kinds: list[int]) -> list[int]:
    return [Command.COLOUR_CHANGE if kind == Command.STOP else kind for kind in kinds]


@pytest.mark.parametrize("name", READERS)
def test_mutated_and_random_files_come_out_row_for_row(name: str) -> None:
    kind = "DST" if name in ("TAP", "EXY") else name
    same = [assert_same(data, name) for data in (*mutated(kind, 250, seed=1), *noise(50, seed=2))]
    assert np.mean(same) > (0.6 if name in THREADED else 0.999)


@pytest.mark.long
@pytest.mark.parametrize("name", ["DST", "EXP", *THREADED])
def test_20_000_mutated_and_random_files_come_out_row_for_row(name: str) -> None:
    for data in mutated(name, 16_000, seed=3):
        assert_same(data, name)
    for data in noise(4_000, seed=4):
        assert_same(data, name)


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=100, deadline=None)
@given(data=st.binary(max_size=400))
@example(data=b"")
@example(data=b"\x80")
@example(data=b"\x80\x04")  # a command without its operand
@example(data=b"\x80\x80" * 3)  # operands that look like commands
def test_any_bytes_come_out_row_for_row(name: str, data: bytes) -> None:
    assert_same(data, name)
    if name == "DST":
        assert_same(b"LA:x".ljust(512) + data, name)


@pytest.mark.parametrize("count", [100, pytest.param(5_000, marks=pytest.mark.long)], ids=["some", "many"])
def test_vp3_files_with_changed_stitches_come_out_row_for_row(count: int) -> None:
    random = np.random.default_rng(8)
    whole = every_command("VP3", at=(35, 55))
    areas = [m.end() for m in re.finditer(rb"\x0a\xf6\x00", whole)]
    compared = 0
    for _ in range(count):
        data = bytearray(whole)
        for area in areas:
            for at in random.integers(area, area + 22, 8).tolist():
                data[at] = int(random.choice([random.integers(0, 256), 0x80, 0x80, 0x01, 0x03]))
        pattern = pyembroidery.EmbPattern()
        try:
            pyembroidery.Vp3Reader.read(io.BytesIO(bytes(data)), pattern, {})
        except IndexError:  # a long stitch without its numbers at the end of a block
            vp3.decode(bytes(data))
            continue
        expected = [row for row in pattern.stitches if row[2] & 0xFF in OURS]
        found = DECODERS["VP3"](bytes(data))
        assert found is not None
        assert found.kinds.tolist() == [OURS[row[2] & 0xFF] for row in expected]
        at = np.array([row[:2] for row in expected]) * (0.1, -0.1)
        assert np.allclose(found.points, at, atol=1e-9)
        assert found.damaged is None
        compared += 1
    assert compared > count / 2


def test_the_comparison_notices_one_changed_byte() -> None:  # negative control of the above
    data = b"\x0a\x05" * 20
    changed = data[:7] + b"\x06" + data[8:]
    expected = np.array([row[:2] for row in reference(data, "EXP").stitches[:-1]]) * (0.1, -0.1)
    assert np.array_equal(exp.decode(data).points, expected)
    assert not np.array_equal(exp.decode(changed).points, expected)


def test_the_texts_of_a_dst_header_are_those_of_the_library() -> None:
    theirs = {"name": "LA", "author": "AU", "copyright": "CP"}
    for data in mutated("DST", 200, seed=5):
        expected = {theirs.get(key, key): value for key, value in reference(data, "DST").extras.items()}
        assert dst.decode(data).header == expected


def test_a_thread_line_of_a_dst_header_may_be_incomplete() -> None:
    lines = b"LA:x\rTC:#112233,ink,1801\rTC:#C01020\rTC:blue,buoy\r\x1a".ljust(512)
    with pytest.raises(IndexError):
        reference(lines, "DST")
    assert dst.decode(lines).threads == (
        Thread("#112233", "ink", "1801"),
        Thread("#c01020", None, None),
        Thread(None, "buoy", None),
    )


def test_a_dst_that_lists_its_threads_keeps_colours_names_and_numbers() -> None:
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": "#112233", "description": "ink", "catalog": "1801"})
    for i in range(5):
        pattern.add_stitch_absolute(pyembroidery.STITCH, 10 * i, 0)
    pattern.end()
    stream = io.BytesIO()
    pyembroidery.write_dst(pattern, stream, {"extended header": True})
    assert dst.decode(stream.getvalue()).threads == (Thread("#112233", "ink", "1801"),)


def test_only_a_file_with_its_end_is_whole() -> None:
    body = b"\x01\x00\x03" * 5
    assert dst.decode(b"LA:" + b" " * 509 + body + b"\x00\x00\xf3").damaged is None
    assert "no end record" in (dst.decode(b"LA:" + b" " * 509 + body).damaged or "")
    assert exp.decode(b"\x01\x01" * 4).damaged is None
    for cut in (b"\x01", b"\x80", b"\x80\x04", b"\x80\x01"):
        assert "in the middle of a record" in (exp.decode(b"\x01\x01" * 4 + cut).damaged or "")
    assert "unknown command stands at byte 8" in (exp.decode(b"\x01\x01" * 4 + b"\x80\x33").damaged or "")


def test_what_does_not_begin_as_a_dst_is_called_damaged() -> None:
    """Every DST begins with its label, "LA:" (from memory of the format); noise has none."""
    records = b"\x01\x00\x03" * 5 + b"\x00\x00\xf3"
    assert dst.decode(b"LA:crest" + b" " * 504 + records).damaged is None
    damaged = dst.decode(b"\x00" * 512 + records).damaged
    assert damaged is not None
    assert "header" in damaged
