"""Files that cannot be read: one clear line each, and damage that is noticed.

The lines are the tool's own; what is damaged about each file is made here, so it is known.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest

from analyzer.errors import PrehoopError, UnreadableDesign
from analyzer.formats import ReadLimits, read
from analyzer.formats.decoding import decode

HEADER = b"LA:made here   \rST:      0\r\x1a".ljust(512)
SAMPLES = Path(__file__).parent.parent / "sample_designs"
DESIGNS = sorted(p for p in SAMPLES.iterdir() if p.suffix in (".dst", ".exp", ".pes", ".jef", ".vp3"))


def refusal(path: Path | str, **options: object) -> str:
    with pytest.raises(UnreadableDesign) as caught:
        read(path, **options)  # type: ignore[arg-type]
    assert isinstance(caught.value, (PrehoopError, ValueError))
    message = str(caught.value)
    assert "\n" not in message
    assert "Traceback" not in message
    return message


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


NO_STITCHES = b"LA:x".ljust(512) + b"\0\0\xf3"
BAD = {  # name of the file: its bytes, and what the line must say after the name
    "empty.dst": (b"", "the file is empty"),
    "notes.txt": (b"dear crew", "'.txt' is no known stitch format"),
    "nameless": (b"\x01\x02", "a name without ending is no known"),
    "photo.dst": (b"\x89PNG\r\n\x1a\n", "this is a picture, not a stitch file"),
    "all.pes": (b"PK\x03\x04rest", "this is an archive: unpack it first"),
    "x.pes": (b"no signature here", "not a PES file, it does not begin with '#PES'"),
    "x.hus": (b"no magic number", "not a HUS file, it does not begin with"),
    "x.dst": (NO_STITCHES, "no stitches in this DST file"),
    "x.exp": (b"\x01\x01", "no stitches in this EXP file"),
    "x.json": (b"{", "cannot be read as JSON, its data break off"),
    "x.csv": (b"\xff\xfe\x00", "cannot be read as CSV, its data break off"),
    "x.jef": (b"\x74\x00", "no stitches in this JEF file"),
    "x.xxx": (b"\x74\x00", "cannot be read as XXX, its data break off or contradict each other near byte"),
    "x.vp3": (b"%vsm%\x00\x00", "the VP3 file ends in its header"),
}


@pytest.mark.parametrize("name", BAD)
def test_each_bad_file_gets_its_own_line(tmp_path: Path, name: str) -> None:
    data, says = BAD[name]
    assert refusal(put(tmp_path / name, data)).startswith(f"{name}: {says}")


def test_what_is_no_file_gets_its_own_line(tmp_path: Path) -> None:
    assert refusal(tmp_path / "absent.dst").startswith("absent.dst: there is no such file")
    assert "this is a folder; name a stitch file in it" in refusal(tmp_path)
    assert "cannot be opened" in refusal("nul\0byte.dst")


@pytest.mark.skipif(
    sys.platform == "win32" or getattr(os, "geteuid", lambda: 0)() == 0, reason="root reads all"
)
def test_a_file_without_permission(tmp_path: Path) -> None:
    path = put(tmp_path / "locked.dst", b"LA:")
    path.chmod(0)
    assert "locked.dst: cannot be opened" in refusal(path)


def test_a_design_of_kilometres_is_damaged(tmp_path: Path) -> None:
    leap = put(tmp_path / "leap.exp", b"\x7f\x7f" * 400)  # 400 stitches of 12.7 mm: 5 m
    assert "5.1 m across" in refusal(leap)
    assert read(put(tmp_path / "walk.exp", b"\x7f\x7f" * 100)).size_mm[0] == pytest.approx(99 * 12.7)


def test_numbers_that_are_none_are_damaged(tmp_path: Path) -> None:
    text = "*,0,STITCH,0,0\n*,1,STITCH,nan,10\n*,2,STITCH,20,inf\n"
    assert "without finite size" in refusal(put(tmp_path / "x.csv", text.encode()))


def test_limits_are_checked_before_decoding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    large = put(tmp_path / "large.dst", HEADER + b"\x01\x00\x03\x02\x00\x03" * 20_000)

    def never(*_: object) -> None:
        raise AssertionError("decoded")

    monkeypatch.setattr("analyzer.formats.reading.decode", never)
    assert "more than the limit of 0.0 MB" in refusal(large, limits=ReadLimits(bytes=20_000))
    assert "more commands than the limit of 1,000" in refusal(large, limits=ReadLimits(stitches=1000))
    monkeypatch.undo()
    assert read(large).stitches == 39_999


def test_work_does_not_grow_with_a_long_line_of_jumps() -> None:
    # one stitch, three jumps, over and over: where rows are inserted one by one, calls grow with their number
    calls = []
    for count in (5_000, 40_000):
        body = (b"\x01\x00\x03" + b"\x01\x00\x83" + b"\x02\x00\x83" * 2) * count + b"\x01\x00\x03" * 2
        data = HEADER + body + b"\x00\x00\xf3"
        calls.append(0)

        def count_call(_frame: object, event: str, _argument: object) -> None:
            calls[-1] += event in {"call", "c_call"}

        sys.setprofile(count_call)
        try:
            decoded = decode(data, "DST")
        finally:
            sys.setprofile(None)
        assert decoded.trims_inferred == count
    assert calls[1] < calls[0] + 100


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.name)
def test_a_whole_file_is_sound_and_half_of_it_is_not(tmp_path: Path, path: Path) -> None:
    assert read(path).damaged is None
    data = path.read_bytes()
    half = put(tmp_path / path.name, data[: len(data) // 2 | 1])
    try:
        assert read(half).damaged is not None
    except UnreadableDesign as error:
        assert path.name in str(error)  # noqa: PT017 - either way is right


def test_an_unknown_command_ends_an_exp_file_and_is_named(tmp_path: Path) -> None:
    data = b"\x0a\x00" * 6 + b"\x80\x33\x00\x00" + b"\x0a\x00" * 6
    found = read(put(tmp_path / "odd.exp", data))
    assert found.damaged == "an unknown command stands at byte 12; what follows it was not read"
    assert len(found.penetrations) == 6


def test_mutated_files_give_a_design_or_one_clear_error(tmp_path: Path) -> None:
    random = np.random.default_rng(11)
    refused = 0
    for path in DESIGNS:
        data = np.frombuffer(path.read_bytes(), dtype=np.uint8)
        for _ in range(20):
            changed = data[: random.integers(1, len(data) + 1)].copy()
            at = random.integers(0, len(changed), random.integers(1, 9))
            changed[at] = random.integers(0, 256, at.size, dtype=np.uint8)
            try:
                found = read(put(tmp_path / path.name, changed.tobytes()))
            except UnreadableDesign as error:
                assert "\n" not in str(error)  # noqa: PT017 - either way is right
                refused += 1
            else:
                assert np.isfinite(found.points).all()
                assert max(found.size_mm) < 2000
    assert 0 < refused < 20 * len(DESIGNS)  # the mutations do hurt, and not every one is fatal
