"""What is written says what the design says: read back, every needle point, cut, colour block and stop.

Reference for the bytes: pyembroidery 1.5.1's own reading of them (its readers, not ours).
"""

from __future__ import annotations

import dataclasses
import errno
import os
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyembroidery
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.design import Command, Design, Thread
from analyzer.errors import BadJob, UnwritableDesign
from analyzer.formats import encoding, known, read, write, writing
from analyzer.formats.decoding import decode

SAMPLES = Path(__file__).parents[1] / "sample_designs"
FILES = sorted(file for file in SAMPLES.iterdir() if file.suffix[1:].upper() in known())
WRITTEN = sorted(name for name, form in known().items() if form.written)
JEF_BLUE, JEF_RED = "#071650", "#b10525"  # of the palette of JEF, as pyembroidery lists it


def sewn(*rows: tuple[float, float, Command], threads: tuple[Thread, ...] = (), form: str = "DST") -> Design:
    points = np.array([row[:2] for row in rows], dtype=float)
    kinds = np.array([row[2] for row in rows], dtype=np.uint8)
    return Design.from_commands(points, kinds, name="pennant.dst", format=form, threads=threads)


def zigzag(count: int = 12, x: float = 0.0) -> list[tuple[float, float, Command]]:
    return [(x + 1.0 * i, 2.0 * (i % 2), Command.STITCH) for i in range(count)]


def same_sewing(design: Design, back: Design) -> bool:
    return (
        len(design.penetrations) == len(back.penetrations)
        and bool(np.allclose(np.rint(design.penetrations * 10) / 10, back.penetrations, atol=1e-6))
        and np.array_equal(design.joined, back.joined)
        and np.array_equal(design.colour, back.colour)
        and design.count(Command.STOP) == back.count(Command.STOP)
    )


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_a_design_written_in_its_own_format_is_the_same(file: Path, tmp_path: Path) -> None:
    design = read(file)
    done = write(design, tmp_path / file.name)
    back = read(tmp_path / file.name)
    assert done.remarks == ()
    assert same_sewing(design, back)
    assert [thread.rgb for thread in back.threads] == [thread.rgb for thread in design.threads]
    assert np.array_equal(back.jumped, design.jumped)
    assert back.notes == design.notes  # nothing that reading would have to remark on


def test_the_comparison_can_fail() -> None:
    """Negative control: one needle point moved, one cut left out, one stop more is seen."""
    design = read(SAMPLES / "lighthouse-patch.pes")
    moved = design.points.copy()
    moved[50, 0] += 0.1
    assert not same_sewing(design, Design.from_commands(moved, design.kinds))
    uncut = np.where(design.kinds == Command.TRIM, Command.JUMP, design.kinds)
    assert not same_sewing(design, Design.from_commands(design.points, uncut))
    form, data = known()["DST"], encoding.encode(design, known()["DST"], {})
    decoded = decode(data, form.name)
    for other in (moved, design.points):
        kinds = design.kinds if other is moved else uncut
        assert writing.differences(design, Design.from_commands(other, kinds), decoded)


steps = st.tuples(st.integers(-260, 260), st.integers(-260, 260))
parts = st.lists(
    st.one_of(
        st.tuples(st.just("sew"), st.lists(steps, min_size=2, max_size=8)),
        st.tuples(
            st.sampled_from(["trim", "jump", "jump and trim", "colour", "stop"]),
            st.lists(steps, min_size=1, max_size=2),
        ),
    ),
    min_size=1,
    max_size=8,
)


def generated_design(generated: list[tuple[str, list[tuple[int, int]]]]) -> Design:
    """Sew, cut, jump, change and stop as generated; two colours in turn."""
    rows: list[tuple[int, int, Command]] = [(0, 0, Command.STITCH), (9, 4, Command.STITCH)]
    x, y = 9, 4
    for what, moves in generated:
        if what in ("trim", "jump and trim"):
            rows.append((x, y, Command.TRIM))
        if what == "colour":
            rows.append((x, y, Command.COLOUR_CHANGE))
        if what == "stop":
            rows.append((x, y, Command.STOP))
        for dx, dy in moves:
            x, y = x + dx, y + dy
            rows.append((x, y, Command.JUMP if "jump" in what else Command.STITCH))
        rows += [(x, y, Command.STITCH), (x + 3, y - 2, Command.STITCH)]
        x, y = x + 3, y - 2
    points = np.array([row[:2] for row in rows]) * 0.1
    kinds = np.array([row[2] for row in rows], dtype=np.uint8)
    blocks = int(np.count_nonzero(kinds == Command.COLOUR_CHANGE)) + 1
    threads = tuple(Thread((JEF_BLUE, JEF_RED)[i % 2], ("blue", "red")[i % 2]) for i in range(blocks))
    return Design.from_commands(points, kinds, format="PES", threads=threads)


@pytest.mark.parametrize("name", WRITTEN)
@settings(max_examples=15, deadline=None)
@given(generated=parts)
def test_whatever_is_written_is_read_back_and_the_rest_is_refused(
    name: str, generated: list[tuple[str, list[tuple[int, int]]]]
) -> None:
    design = generated_design(generated)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"generated.{name.lower()}"
        try:
            write(design, file)
        except UnwritableDesign:
            assert not file.exists()
            assert not plainly_held(design, name)
            return
        assert same_sewing(design, read(file))
        theirs = pyembroidery.read(str(file))  # may invent trims, but no needle points
        down = [(x / 10, -y / 10) for x, y, c in theirs.stitches if c & 0xFF == pyembroidery.STITCH]
        if name != "VP3":  # its reader takes the place of a block from a header of whole millimetres
            assert np.array(down) == pytest.approx(design.penetrations, abs=0.051)


def plainly_held(design: Design, name: str) -> bool:
    """Say whether a format surely holds a design: one without what the tables say that it lacks."""
    holds = known()[name]
    stops, trims = design.count(Command.STOP), design.count(Command.TRIM)
    jumps = bool(design.jumped.any()) or design.lengths_mm.max() > 12.0
    needs_stops, needs_trims = stops > 0 and name != "PEC", trims > 0 and not holds.trims
    return not (needs_stops or (needs_trims and name != "DST") or (jumps and name == "DST"))


def test_places_between_the_tenths_are_rounded(tmp_path: Path) -> None:
    design = sewn(*[(x + 0.037, y - 0.021, kind) for x, y, kind in zigzag()])
    back = read(write(design, tmp_path / "pennant.dst").path)
    assert np.abs(back.penetrations - design.penetrations).max() <= 0.05
    assert np.abs(back.penetrations * 10 - np.rint(back.penetrations * 10)).max() < 1e-9


@pytest.mark.parametrize("name", ["DST", "EXP", "JEF", "PES", "VP3"])
def test_a_stitch_longer_than_a_record_is_written_in_steps_and_sewn_once(name: str, tmp_path: Path) -> None:
    threads = (Thread(JEF_BLUE, "blue"),)
    design = sewn(*zigzag(), (35.0, 2.0, Command.STITCH), (36.0, 0.0, Command.STITCH), threads=threads)
    done = write(design, tmp_path / f"long.{name.lower()}")
    back = read(done.path)
    assert len(back.penetrations) == len(design.penetrations)
    assert back.lengths_mm.max() == pytest.approx(24.0)
    assert any("in steps" in remark for remark in done.remarks) == (name in ("DST", "EXP", "JEF"))


def test_a_jump_without_a_cut_stays_uncut_in_pes(tmp_path: Path) -> None:
    """Pyembroidery's writer cuts at every jump; its reader then tells a trim from a jump by the flags."""
    rows = [*zigzag(), (20.0, 3.0, Command.JUMP), *zigzag(x=20.0), (32.0, 0.0, Command.TRIM), *zigzag(x=50.0)]
    done = write(sewn(*rows, threads=(Thread(JEF_BLUE),)), tmp_path / "jumps.pes")
    theirs = pyembroidery.read(str(done.path))
    assert theirs.count_stitch_commands(pyembroidery.TRIM) == 1
    assert theirs.count_stitch_commands(pyembroidery.JUMP) >= 2
    assert read(done.path).count(Command.TRIM) == 1


def test_threads_keep_their_colours_and_are_not_invented(tmp_path: Path) -> None:
    red = Thread("#b3282d", "harbour red", "4711")
    design = sewn(*zigzag(), threads=(red,))
    assert read(write(design, tmp_path / "a.pes").path).threads == (red,)
    assert read(write(design, tmp_path / "a.vp3").path).threads[0].rgb == red.rgb
    assert "palette" in write(design, tmp_path / "a.jef").remarks[0]
    assert "holds no thread colours" in write(design, tmp_path / "a.exp").remarks[0]
    for name in ("pes", "jef", "vp3", "pec", "xxx"):
        with pytest.raises(UnwritableDesign, match=r"not invented, so write it as DST$"):
            write(sewn(*zigzag(), form="none"), tmp_path / f"none.{name}")


@pytest.mark.parametrize("name", WRITTEN)
def test_a_thread_without_a_name_gets_none(name: str, tmp_path: Path) -> None:
    """Every writer is given threads with a colour and no name; what says "None" is no name of a thread."""
    form = known()[name]
    design = sewn(*zigzag(), threads=(Thread(JEF_BLUE),), form=name)
    path = tmp_path / f"blue.{form.extensions[0]}"
    write(design, path)
    assert b"None" not in path.read_bytes()
    assert "None" not in {thread.name for thread in read(path).threads}


def test_the_word_none_that_others_write_for_a_missing_name_is_read_as_none() -> None:
    header = b"LA:card            \rTC:#1f4e79,None,None\rTC:#b10525,Nonesuch red,12\r\x1a".ljust(512)
    threads = decode(header + bytes((0, 0, 3, 0, 0, 0xF3)), "DST").threads
    assert threads == (Thread("#1f4e79"), Thread("#b10525", "Nonesuch red", "12"))


def test_names_of_threads_in_any_script_do_no_harm(tmp_path: Path) -> None:
    """Pyembroidery counts letters where VP3 and PES count bytes."""
    design = sewn(*zigzag(), threads=(Thread("#b3282d", "Möwenweiß 灯台"),))
    for name in ("vp3", "pes"):
        done = write(design, tmp_path / f"a.{name}")
        assert read(done.path).threads[0].rgb == "#b3282d"
        assert "names of threads" in done.remarks[0]


def test_stops_need_a_format_that_tells_them(tmp_path: Path) -> None:
    rows = [*zigzag(), (11.0, 2.0, Command.STOP), *zigzag(x=12.0)]
    design = sewn(*rows, threads=(Thread(JEF_BLUE, "blue"),), form="PES")
    for name in ("pes", "pec", "jef"):
        assert read(write(design, tmp_path / f"a.{name}").path).count(Command.STOP) == 1
    for name in ("dst", "exp", "vp3", "xxx"):
        with pytest.raises(UnwritableDesign, match=r"stops would change .* write it as PES, as it came"):
            write(design, tmp_path / f"a.{name}")


def test_sequins_only_go_where_they_are_held(tmp_path: Path) -> None:
    rows = [*zigzag(), (12.0, 0.0, Command.SEQUIN), (14.0, 0.0, Command.SEQUIN), *zigzag(x=15.0)]
    assert read(write(sewn(*rows), tmp_path / "a.dst").path).count(Command.SEQUIN) == 2
    with pytest.raises(UnwritableDesign, match="sequins"):
        write(sewn(*rows), tmp_path / "a.exp")


def test_same_design_same_bytes(tmp_path: Path) -> None:
    design = read(SAMPLES / "lighthouse-patch.pes")
    for name in WRITTEN:
        if name == "JEF":
            design = read(SAMPLES / "signal-flags.jef")
        one, two = (write(design, tmp_path / f"{i}.{name.lower()}").path.read_bytes() for i in (1, 2))
        assert one == two


def test_nothing_is_written_over_unasked(tmp_path: Path) -> None:
    file = tmp_path / "there.dst"
    file.write_bytes(b"mine")
    with pytest.raises(BadJob, match="--force"):
        write(sewn(*zigzag()), file)
    assert file.read_bytes() == b"mine"
    write(sewn(*zigzag()), file, force=True)
    assert len(read(file).penetrations) == 12
    assert [one.name for one in tmp_path.iterdir()] == ["there.dst"]  # no half-written file beside it


def test_the_original_is_never_written_over(tmp_path: Path) -> None:
    original = tmp_path / "crest.dst"
    shutil.copy(SAMPLES / "crest-outline-last.dst", original)
    content = original.read_bytes()
    design = read(original)
    (tmp_path / "sub").mkdir()
    others = [original, tmp_path / "sub" / ".." / "crest.dst"]
    hard = tmp_path / "hard.dst"
    os.link(original, hard)
    others.append(hard)
    if sys.platform != "win32":
        (tmp_path / "soft.dst").symlink_to(original)
        others.append(tmp_path / "soft.dst")
    for other in others:
        with pytest.raises(BadJob, match="the original, which is never written over"):
            write(design, other, force=True, original=original)
        assert original.read_bytes() == content
    write(design, tmp_path / "copy.dst", original=original)  # negative control: another file is fine


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("no-such-folder/a.dst", "there is no folder"),
        ("folder.dst", "this is a folder"),
        ("a.hus", "HUS is not written; name a file that ends in .dst, .exp"),
        ("a.txt", "its ending is not written"),
        ("a", "its ending is not written"),
    ],
)
def test_places_that_do_not_serve_are_told(place: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "folder.dst").mkdir()
    with pytest.raises(UnwritableDesign) as told:
        write(sewn(*zigzag()), tmp_path / place)
    assert said in str(told.value)
    assert "\n" not in str(told.value)


def test_a_full_disk_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "there.dst"
    file.write_bytes(b"mine")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UnwritableDesign, match="no space left on device"):
        write(sewn(*zigzag()), file, force=True)
    assert file.read_bytes() == b"mine"
    assert [one.name for one in tmp_path.iterdir()] == ["there.dst"]


@pytest.mark.skipif(sys.platform == "win32" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(UnwritableDesign, match="permission denied"):
        write(sewn(*zigzag()), tmp_path / "a.dst")
    tmp_path.chmod(0o700)


def test_a_writer_that_fails_is_no_traceback(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> bytes:
        raise IndexError("list index out of range")

    monkeypatch.setattr(writing, "encode", fails)
    with pytest.raises(UnwritableDesign, match=r"DST cannot hold this design: list index out of range"):
        write(sewn(*zigzag()), tmp_path / "a.dst")
    monkeypatch.undo()
    many = [
        row
        for block in range(300)
        for row in ([*zigzag(2, x=block), (block + 1.0, 2.0, Command.COLOUR_CHANGE)])
    ]
    threads = tuple(Thread(f"#{i:06x}") for i in range(300))
    with pytest.raises(UnwritableDesign, match="PEC cannot hold this design"):
        write(sewn(*many, threads=threads), tmp_path / "many.pec")
    assert list(tmp_path.iterdir()) == []


def test_a_list_of_threads_too_long_for_the_header_is_left_out(tmp_path: Path) -> None:
    many = [
        row
        for block in range(40)
        for row in ([*zigzag(2, x=block), (block + 1.0, 2.0, Command.COLOUR_CHANGE)])
    ]
    threads = tuple(Thread(f"#{7 * i:06x}", f"thread number {i}") for i in range(40))
    design = sewn(*many, threads=threads)
    done = write(design, tmp_path / "many.dst")
    assert "holds no thread colours" in done.remarks[0]
    assert len(read(done.path).penetrations) == 80
    few = dataclasses.replace(design, points=design.points[:5], kinds=design.kinds[:5])
    few = Design.from_commands(few.points, few.kinds, threads=threads[:2])
    assert read(write(few, tmp_path / "few.dst").path).threads[0].rgb == threads[0].rgb
