"""What a file says and what it does not: lengths, sections, stops, header values, cuts.

The files are written by pyembroidery or by hand, so what is in them is known; layouts by hand are from memory
of the formats, and agree with what pyembroidery 1.5.1 reads.
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pyembroidery
import pytest
from hostile_files import BY_THE_LIBRARY, RECORDS, SAMPLES, every_command, packed_streams

from analyzer.design import Command, Design
from analyzer.errors import UnreadableDesign
from analyzer.formats import known, read


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


# VP3: lengths and sections
# -------------------------

VP3 = every_command("VP3", at=(35, 55))


def blocks(data: bytes) -> list[int]:
    """Return where the colour blocks begin."""
    at, found = -1, []
    while (at := data.find(b"\x00\x05\x00", at + 1)) >= 0:
        found.append(at)
    return found


def with_length(data: bytes, block: int, change: int, *, both: bool = False) -> bytes:
    """Return the file with the length of a block, and of its stitches if asked, changed."""
    edited = bytearray(data)
    fields = [blocks(data)[block] + 3]
    if both:
        fields.append(data.index(b"\x0a\xf6\x00", fields[0]) - 4)
    for at in fields:
        (length,) = struct.unpack_from(">i", data, at)
        struct.pack_into(">i", edited, at, length + change)
    return bytes(edited)


@pytest.fixture
def whole(tmp_path: Path) -> Design:
    return read(put(tmp_path / "whole.vp3", VP3))


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("change", [-9, -3, 5, 100_000, -100_000])
def test_a_wrong_length_of_a_vp3_block_costs_no_stitch(
    tmp_path: Path, whole: Design, change: int, both: bool
) -> None:
    found = read(put(tmp_path / "short.vp3", with_length(VP3, 0, change, both=both)))
    assert np.array_equal(found.penetrations, whole.penetrations)
    assert found.threads == whole.threads
    assert found.damaged is not None
    assert "colour block 1 states a wrong length" in found.damaged
    assert whole.damaged is None  # negative control


def test_the_library_follows_a_wrong_length_away_from_the_stitches(whole: Design) -> None:
    # negative control: why the lengths are not believed
    import io

    pattern = pyembroidery.EmbPattern()
    pyembroidery.Vp3Reader.read(io.BytesIO(with_length(VP3, 0, -9)), pattern, {})
    down = [row for row in pattern.stitches if row[2] & 0xFF == pyembroidery.STITCH]
    assert len(down) != len(whole.penetrations) or max(abs(row[0]) for row in down) > 20_000


def test_a_vp3_whose_next_block_is_lost_is_refused_with_its_reason(tmp_path: Path) -> None:
    lost = with_length(VP3, 0, -9, both=True).replace(b"\x00\x05\x00", b"\x00\x06\x00")
    lost = lost.replace(b"\x00\x06\x00", b"\x00\x05\x00", 1)  # the first one stays
    with pytest.raises(
        UnreadableDesign, match="a colour block of this VP3 file states a wrong length, near byte"
    ):
        read(put(tmp_path / "lost.vp3", lost))


def test_a_vp3_that_is_laid_out_otherwise_is_left_to_the_library(tmp_path: Path, whole: Design) -> None:
    start = VP3.index(b"\x00\x03\x00")
    found = read(put(tmp_path / "other.vp3", VP3[:start] + b"\x00\x33\x00" + VP3[start + 3 :]))
    assert np.allclose(found.penetrations, whole.penetrations)


def test_a_vp3_of_two_sections_is_read_whole(tmp_path: Path, whole: Design) -> None:
    start = VP3.index(b"\x00\x03\x00")
    head, section = bytearray(VP3[:start]), VP3[start:]
    head[-1] = 2
    moved = bytearray(section)
    struct.pack_into(
        ">i", moved, 7, struct.unpack_from(">i", section, 7)[0] + 50_000
    )  # middle 50 mm to the right
    found = read(put(tmp_path / "two.vp3", bytes(head) + section + bytes(moved)))
    count = len(whole.penetrations)
    assert np.allclose(found.penetrations[:count], whole.penetrations)
    assert np.allclose(found.penetrations[count:], whole.penetrations + np.array([50.0, 0.0]))
    assert len(found.threads) == 2 * len(whole.threads)
    assert found.count(Command.COLOUR_CHANGE) == 2 * whole.count(Command.COLOUR_CHANGE) + 1
    assert found.damaged is None
    cut = read(put(tmp_path / "one.vp3", bytes(head) + section))
    assert "2 sections are stated and 1 found" in (cut.damaged or "")
    assert np.allclose(cut.penetrations, whole.penetrations)


def test_a_vp3_block_that_begins_on_an_axis_begins_where_the_file_says(tmp_path: Path) -> None:
    # the library skips the beginning of a block where x or y of it is zero
    edited = bytearray(VP3)
    at = blocks(VP3)[1] + 7
    middle_x, middle_y = struct.unpack_from(">2i", VP3, VP3.index(b"\x00\x03\x00") + 7)
    struct.pack_into(">2i", edited, at, 30_000 - middle_x, -middle_y)  # 30 mm to the right of the origin
    found = read(put(tmp_path / "axis.vp3", bytes(edited)))
    change = int(np.flatnonzero(found.kinds == Command.COLOUR_CHANGE)[0])
    assert found.kinds[change + 1] == Command.JUMP
    assert found.points[change + 1] == pytest.approx([30.0, 0.0])


# stops, colours, trims
# ---------------------


@pytest.mark.parametrize("name", ["JEF", "PES", "PEC", "CSV", "JSON"])
def test_stops_and_colour_changes_are_told_apart(tmp_path: Path, name: str) -> None:
    found = read(put(tmp_path / f"both.{name.lower()}", every_command(name)))
    assert found.count(Command.STOP) == 1
    assert found.count(Command.COLOUR_CHANGE) == 1
    assert len({thread.rgb for thread in found.threads}) == 2


def test_threads_of_a_chart_keep_name_and_number(tmp_path: Path) -> None:
    found = read(put(tmp_path / "chart.pes", every_command("PES", version=6)))
    assert [(t.rgb, t.name, t.catalogue) for t in found.threads] == [
        ("#112233", "no 11", "1122"),
        ("#c01020", "no c0", "c010"),
    ]


@pytest.mark.parametrize("name", ["JEF", "PEC"])
def test_threads_of_a_palette_keep_name_and_number(tmp_path: Path, name: str) -> None:
    found = read(put(tmp_path / f"palette.{name.lower()}", every_command(name)))
    assert all(t.rgb and t.name and t.catalogue for t in found.threads)


# header values
# -------------


def noted(design: Design) -> str:
    return next((note for note in design.notes if note.startswith("The header states")), "")


@pytest.mark.parametrize("name", ["DST", "PES", "PEC", "JEF", "VP3"])
def test_headers_that_agree_are_not_mentioned(tmp_path: Path, name: str) -> None:
    if name != "DST":  # its writer leaves stops out of the count, and they come back as colour changes
        assert noted(read(put(tmp_path / f"true.{name.lower()}", every_command(name)))) == ""
    for path in SAMPLES.glob(f"*.{name.lower()}"):
        assert noted(read(path)) == ""


WRONG = {  # format: place of a stated width and of a count of colours, how they are packed
    "PEC": (8 + 520, "<H", 8 + 48, "<B"),
    "JEF": (36, "<i", 24, "<I"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_size_or_count_in_a_header_is_mentioned(tmp_path: Path, name: str) -> None:
    width_at, width_as, colours_at, colours_as = WRONG[name]
    data = bytearray(every_command(name))
    struct.pack_into(width_as, data, width_at, 9000)
    assert "width" in noted(read(put(tmp_path / f"wide.{name.lower()}", bytes(data))))
    data = bytearray(every_command(name))
    (colours,) = struct.unpack_from(colours_as, data, colours_at)
    struct.pack_into(colours_as, data, colours_at, colours + 4)
    assert "colour changes" in noted(read(put(tmp_path / f"many.{name.lower()}", bytes(data))))


def test_a_packed_file_that_holds_less_than_it_states_is_damaged(tmp_path: Path) -> None:
    whole = packed_streams()
    assert read(put(tmp_path / "whole.hus", whole)).damaged is None
    assert "states 124 commands" in (read(put(tmp_path / "cut.hus", whole[:-40])).damaged or "")


# cuts
# ----


@pytest.mark.parametrize("name", RECORDS)
def test_a_missing_end_record_is_noticed(tmp_path: Path, name: str) -> None:
    assert known()[name].ends
    head, stitch, end = RECORDS[name]
    whole = read(put(tmp_path / f"whole.{name.lower()}", head + stitch * 8 + end))
    cut = read(put(tmp_path / f"cut.{name.lower()}", head + stitch * 8))
    assert whole.damaged is None
    assert "no end record" in (cut.damaged or "")
    assert len(whole.penetrations) == len(cut.penetrations) == 8


CUT = [n for n, form in known().items() if n in BY_THE_LIBRARY and (form.ends or n == "XXX")]


@pytest.mark.parametrize("name", CUT)
def test_every_cut_of_a_written_file_is_noticed(tmp_path: Path, name: str) -> None:
    data = every_command(name)
    whole = read(put(tmp_path / f"whole.{name.lower()}", data))
    assert whole.damaged is None
    sewn = len(whole.penetrations)
    noticed = 0
    for length in range(len(data) // 4, len(data), 3 if len(data) < 1000 else 17):
        try:
            found = read(put(tmp_path / f"cut.{name.lower()}", data[:length]))
        except UnreadableDesign:
            noticed += 1
            continue
        assert found.damaged is not None or len(found.penetrations) == sewn, length
        noticed += found.damaged is not None
    assert noticed > 5


def test_a_file_that_breaks_off_where_the_library_fails_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    data = every_command("XXX")
    whole, cut = read(put(tmp_path / "whole.xxx", data)), read(put(tmp_path / "cut.xxx", data[:341]))
    assert 20 < len(cut.penetrations) < len(whole.penetrations)
    assert np.array_equal(cut.penetrations, whole.penetrations[: len(cut.penetrations)])
    assert "breaks off" in (cut.damaged or "")
