"""Limits of reading that the user can raise, and what stands in for a file: devices and pipes."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hostile_files import SAMPLES

from analyzer.commands.entry import run
from analyzer.errors import UnreadableDesign
from analyzer.formats import ReadLimits, raised, read

DESIGN = SAMPLES / "rope-wreath.exp"


def test_each_limit_is_raised_by_its_name() -> None:
    assert raised() == ReadLimits()
    assert raised(megabytes=32, stitches=1e6, metres=3, seconds=60, memory=4000) == ReadLimits(
        bytes=32_000_000, stitches=1_000_000, extent_mm=3000.0, seconds=60, memory_bytes=4_000_000_000
    )


@pytest.mark.parametrize(
    ("limits", "hint"),
    [
        (ReadLimits(stitches=100), "--read-limit stitches="),
        (ReadLimits(bytes=100), "--read-limit megabytes="),
        (ReadLimits(extent_mm=5.0), "--read-limit metres="),
    ],
)
def test_a_refusal_says_how_to_raise_the_limit_and_that_helps(limits: ReadLimits, hint: str) -> None:
    with pytest.raises(UnreadableDesign) as caught:
        read(DESIGN, limits=limits)
    at = str(caught.value).index(hint)
    name, value = str(caught.value)[at:].split()[1].split("=")
    assert read(DESIGN, limits=raised(**{name: float(value)})).stitches > 3000


def test_the_command_line_takes_limits(capfd: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(DESIGN), "--read-limit", "stitches=100"]) == 2
    assert "--read-limit stitches=" in capfd.readouterr().err
    # the check itself would take seconds: what is raised passes, and the next limit is met
    assert (
        run(["check", str(DESIGN), "--read-limit", "stitches=4000", "--read-limit", "megabytes=0.001"]) == 2
    )
    assert "--read-limit megabytes=" in capfd.readouterr().err
    for wrong in ("stitches", "stitches=many", "stitches=-4", "stitches=inf", "colours=9"):
        assert run(["check", str(DESIGN), "--read-limit", wrong]) == 2
        assert "--read-limit" in capfd.readouterr().err


@pytest.mark.skipif(sys.platform == "win32", reason="pipes with names, and devices, of POSIX")
def test_a_device_or_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.dst"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(UnreadableDesign, match="a device or a pipe"):
            read(path)
