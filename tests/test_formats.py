"""What reading promises: millimetres, y up, long moves whole, trims and colours as the file has them.

Reference: pyembroidery 1.5.1, which reads the same bytes row by row, and records written out by hand.
"""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pyembroidery
import pytest

from analyzer.design import Command, Design
from analyzer.formats import ReadLimits, known, read

HEADER = b"LA:by hand         \rST:      3\rCO:  0\r+X:    0\r-X:    0\r+Y:    0\r-Y:    0\r\x1a".ljust(512)
END = b"\x00\x00\xf3"


def pattern(
    rows: list[tuple[int, int, int]], threads: tuple[dict[str, str], ...] = ()
) -> pyembroidery.EmbPattern:
    made = pyembroidery.EmbPattern()
    for thread in threads:
        made.add_thread(thread)
    for x, y, command in rows:
        made.add_stitch_absolute(command, x, y)
    made.end()
    return made


def written(path: Path, rows: list[tuple[int, int, int]], **settings: object) -> Design:
    threads = ({"hex": "#112233", "description": "ink"}, {"hex": "#c01020", "description": "buoy"})
    pyembroidery.write(pattern(rows, threads), str(path), settings)
    return read(path)


ZIGZAG = [(10 * i, 20 * (i % 2), pyembroidery.STITCH) for i in range(12)]


def test_dst_records_written_by_hand_come_out_in_millimetres_with_y_up(tmp_path: Path) -> None:
    # the ternary bits of a DST record, from memory of the format: byte 0 bit 0 is x + 1, bit 7 y + 1 (up),
    # bit 2 x + 9; byte 2 bit 2 is x + 81, bit 5 is y + 81; the two lowest bits of byte 2 are always set
    body = bytes([0x01, 0, 0x03]) + bytes([0x80, 0, 0x03]) + bytes([0x04, 0, 0x27])
    (tmp_path / "hand.dst").write_bytes(HEADER + body + END)
    found = read(tmp_path / "hand.dst")
    assert found.penetrations == pytest.approx(np.array([[0.1, 0.0], [0.1, 0.1], [9.1, 8.2]]))


@pytest.mark.parametrize("extension", ["dst", "exp", "jef", "pes"])
def test_a_30_mm_move_counts_once(tmp_path: Path, extension: str) -> None:
    rows = [*ZIGZAG, (410, 20, pyembroidery.STITCH), (420, 20, pyembroidery.STITCH)]
    found = written(tmp_path / f"long.{extension}", rows)
    assert len(found.penetrations) == len(rows)
    assert found.lengths_mm[len(ZIGZAG)] == pytest.approx(30.0)
    assert found.lengths_mm.max() == pytest.approx(30.0)
    if extension == "dst":  # a long stitch is no jump that a machine might cut at
        assert not any("trims" in note for note in found.notes)


def test_jef_has_no_trims_of_its_own_and_none_is_invented(tmp_path: Path) -> None:
    rows = [
        *ZIGZAG,
        (500, 0, pyembroidery.JUMP),
        (510, 0, pyembroidery.STITCH),
        (520, 0, pyembroidery.STITCH),
    ]
    found = written(tmp_path / "moves.jef", rows)
    assert found.count(Command.TRIM) == 0
    assert any("states no trims" in note for note in found.notes)
    # negative control: the library, left to its defaults, does invent one for the same file
    assert pyembroidery.read(str(tmp_path / "moves.jef")).count_stitch_commands(pyembroidery.TRIM) == 1


def test_zero_net_jumps_are_real_moves_and_stay(tmp_path: Path) -> None:
    rows = [
        *ZIGZAG,
        (150, 20, pyembroidery.JUMP),
        (110, 20, pyembroidery.JUMP),
        (120, 0, pyembroidery.STITCH),
    ]
    found = written(tmp_path / "hop.dst", rows)
    assert found.count(Command.JUMP) == 2
    clipped = pyembroidery.read(str(tmp_path / "hop.dst"))  # negative control
    assert clipped.count_stitch_commands(pyembroidery.JUMP) == 0


def test_a_dst_trim_is_taken_from_three_jumps_and_said_so(tmp_path: Path) -> None:
    rows = [
        *ZIGZAG,
        (110, 20, pyembroidery.TRIM),
        (150, 0, pyembroidery.STITCH),
        (160, 0, pyembroidery.STITCH),
    ]
    found = written(tmp_path / "cut.dst", rows)
    assert found.count(Command.TRIM) == 1
    assert found.stitches == len(found.penetrations) - 2
    assert "DST states no trims: 1 taken from runs of jumps." in found.notes


@pytest.mark.parametrize("extension", ["exp", "pes", "vp3", "xxx", "u01"])
def test_trims_that_the_file_states_are_kept(tmp_path: Path, extension: str) -> None:
    rows = [
        *ZIGZAG,
        (110, 20, pyembroidery.TRIM),
        (150, 0, pyembroidery.STITCH),
        (160, 0, pyembroidery.STITCH),
    ]
    found = written(tmp_path / f"cut.{extension}", rows)
    assert found.count(Command.TRIM) >= 1
    cut = np.flatnonzero(~found.joined)
    assert np.min(np.hypot(*(found.penetrations[cut] - found.penetrations[0] - (15.0, 0)).T)) < 0.05


TWO_COLOURS = [
    *ZIGZAG,
    (110, 20, pyembroidery.COLOR_CHANGE),
    *((x + 150, y, command) for x, y, command in ZIGZAG),
]


@pytest.mark.parametrize("extension", ["dst", "exp"])
def test_no_colours_are_invented_where_the_format_holds_none(tmp_path: Path, extension: str) -> None:
    found = written(tmp_path / f"two.{extension}", TWO_COLOURS)
    assert [dataclasses.astuple(thread) for thread in found.threads] == [(None, None, None)] * 2
    assert "The file holds no thread colours." in found.notes


@pytest.mark.parametrize("extension", ["pes", "vp3", "xxx", "csv", "json", "tbf"])
def test_colours_are_those_of_the_file_block_by_block(tmp_path: Path, extension: str) -> None:
    found = written(tmp_path / f"two.{extension}", TWO_COLOURS, version=6.0)
    assert [thread.rgb for thread in found.threads] == ["#112233", "#c01020"]
    assert set(found.colour.tolist()) == {0, 1}


def test_names_and_numbers_of_threads_are_kept_where_the_file_has_them(tmp_path: Path) -> None:
    found = written(tmp_path / "two.vp3", TWO_COLOURS)
    assert [thread.name for thread in found.threads] == ["ink", "buoy"]


def test_random_colours_of_the_library_are_not_passed_on() -> None:
    # the library's JPX reader draws its colours by lot
    from analyzer.formats.decoding import _threads

    drawn: list[str | None] = ["#123456", "JPX index 3", None]
    assert _threads([drawn], "JPX", [])[0].rgb is None
    assert _threads([drawn], "PES", [])[0].rgb is not None  # negative control


@pytest.mark.parametrize("extension", ["u01", "tbf"])
def test_needle_settings_become_colour_changes_only_where_the_needle_changes(
    tmp_path: Path, extension: str
) -> None:
    found = written(tmp_path / f"two.{extension}", TWO_COLOURS)
    assert found.count(Command.COLOUR_CHANGE) == 1
    assert len(found.threads) == 2


def test_a_stop_is_kept_where_the_format_has_one(tmp_path: Path) -> None:
    rows = [*ZIGZAG, (110, 20, pyembroidery.STOP), *((x + 150, y, c) for x, y, c in ZIGZAG)]
    found = written(tmp_path / "stop.pes", rows)
    assert found.count(Command.STOP) == 1
    assert found.count(Command.COLOUR_CHANGE) == 0


def test_sequins_of_a_dst_are_kept_and_are_no_penetrations(tmp_path: Path) -> None:
    # record types from memory of the format: 0x43 switches sequin mode, and then 0x83 lets one fall
    body = b"\x01\x00\x03" * 4 + b"\x00\x00\x43" + b"\x01\x00\x83" * 2 + b"\x00\x00\x43" + b"\x01\x00\x03" * 2
    (tmp_path / "sequins.dst").write_bytes(HEADER + body + END)
    found = read(tmp_path / "sequins.dst")
    assert found.count(Command.SEQUIN) == 2
    assert len(found.penetrations) == 6


def test_content_counts_more_than_the_name(tmp_path: Path) -> None:
    as_named = written(tmp_path / "true.pes", ZIGZAG)
    misnamed = tmp_path / "false.dst"
    misnamed.write_bytes((tmp_path / "true.pes").read_bytes())
    found = read(misnamed)
    assert found.format == "PES"
    assert np.array_equal(found.penetrations, as_named.penetrations)
    assert found.notes[0] == "The name says DST, the content is PES: read as PES."
    nameless = tmp_path / "design"
    nameless.write_bytes(misnamed.read_bytes())
    assert read(nameless).notes[0] == "The name says no known format, the content is PES: read as PES."
    assert "name says" not in "".join(as_named.notes)  # negative control


def test_a_wrong_dst_header_is_named_and_the_measured_values_are_used(tmp_path: Path) -> None:
    sound = written(tmp_path / "sound.dst", TWO_COLOURS)
    assert not any("header" in note for note in sound.notes)  # negative control
    data = (tmp_path / "sound.dst").read_bytes()
    wrong = re.sub(rb"ST:.{7}\rCO:.{3}\r\+X:.{5}", rb"ST:   9025\rCO:  7\r+X:  999", data, count=1)
    assert len(wrong) == len(data)
    (tmp_path / "wrong.dst").write_bytes(wrong)
    found = read(tmp_path / "wrong.dst")
    (note,) = (note for note in found.notes if "header" in note)
    assert note == (
        "The header states 9025 stitches (found 24), 7 colour changes (found 1), width 99.9 mm (found 26.0); "
        "what was found in the stitches is used."
    )
    assert found.size_mm == sound.size_mm


def test_file_names_outside_ascii_and_capital_endings_work(tmp_path: Path) -> None:
    written(tmp_path / "plain.dst", ZIGZAG)
    odd = tmp_path / "Möwe ⛵.DST"
    odd.write_bytes((tmp_path / "plain.dst").read_bytes())
    assert read(str(odd)).name == "Möwe ⛵.DST"


def test_same_file_same_design(tmp_path: Path) -> None:
    first, second = written(tmp_path / "a.pes", TWO_COLOURS), read(tmp_path / "a.pes")
    for field in dataclasses.fields(Design):
        assert np.array_equal(getattr(first, field.name), getattr(second, field.name)), field.name
    assert len(first.sha256) == 64


def test_a_higher_limit_lets_a_larger_design_pass(tmp_path: Path) -> None:
    written(tmp_path / "a.exp", ZIGZAG)
    assert read(tmp_path / "a.exp", limits=ReadLimits(bytes=40, stitches=13)).stitches == 11


def test_the_table_says_what_each_written_format_keeps(tmp_path: Path) -> None:
    rows = [*TWO_COLOURS[:-4], (250, 0, pyembroidery.TRIM), *((x + 330, y, c) for x, y, c in ZIGZAG)]
    for name, form in known().items():
        if not form.written or name in (
            "PMV",
            "GCODE",
            "U01",
        ):  # a decorative stitch; a plotter's moves; needles only
            continue
        found = written(tmp_path / f"kept.{name.lower()}", rows)
        by_jumps = any("taken from runs of jumps" in note for note in found.notes)
        assert (found.count(Command.TRIM) > 0) == (form.trims or by_jumps), name
        assert any(thread.rgb for thread in found.threads) == form.colours, name


def test_each_format_says_how_it_is_laid_out() -> None:
    assert [form.name for form in known().values() if form.about == "a stitch format"] == []
    assert {form.name for form in known().values()} >= {
        "DST",
        "EXP",
        "PES",
        "PEC",
        "JEF",
        "VP3",
        "HUS",
        "XXX",
        "U01",
    }


def test_the_table_follows_the_readers_of_the_library() -> None:
    # what a reader hands on can be seen in its source: out.trim(), out.stop() and a thread list of its own
    from inspect import getsource

    for entry in pyembroidery.supported_formats():
        form = known().get(entry["extension"].upper())
        if form is None or form.name in ("CSV", "JSON"):  # hold whatever was written to them
            continue
        source = getsource(entry["reader"])
        source += getsource(pyembroidery.PecReader) if "read_pec" in source and form.name != "PEC" else ""
        source += getsource(pyembroidery.DszReader) if "z_stitch_encoding_read" in source else ""
        assert form.trims == ("out.trim(" in source), form.name
        assert form.stops == ("out.stop(" in source or "duplicate_color_as_stop" in source), form.name
        lists_threads = "add_thread" in source or "threadlist" in source
        assert form.colours == (lists_threads and form.name not in ("DST", "JPX")), form.name
