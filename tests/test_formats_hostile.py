"""Damaged and random files in every format: a design or one clear error, in bounded time and memory.

The bounds are the tool's own limits, 5 s and 1 GB, and that no design comes out with numbers that are not
finite or with an extent beyond 2 m. The files are made by mutation (tests/hostile_files.py).
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hostile_files import mutated, noise, sound

from analyzer.errors import UnreadableDesign
from analyzer.formats import guard, known, read

EVERYDAY = 2_000
LONG = 100_000
SECONDS, GIGABYTES, METRES = 5.0, 1.0, 2.0
SLACK_S = 60.0  # a machine may be busy; a hang is longer
NOISE_SHARE = 0.2


@dataclass
class Tally:
    """What happened to the files of one format."""

    cases: int = 0
    designs: int = 0
    damaged: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    worker_gb: float = 0.0


def files(name: str, count: int) -> Iterator[bytes]:
    random = int(count * NOISE_SHARE)
    yield from mutated(name, count - random, seed=21)
    begin = sound(name)[0][:16]  # so that noise gets past the signature
    for number, data in enumerate(noise(random, seed=22)):
        yield begin + data if number % 2 else data


def peak_gb(pid: int | None) -> float:
    """Return the most memory that a process has held, in GB; 0 where the system does not tell."""
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return 0.0
    line = next((line for line in status.splitlines() if line.startswith("VmHWM:")), "VmHWM: 0")
    return int(line.split()[1]) / 1e6


def attack(name: str, count: int, folder: Path) -> Tally:
    """Read ``count`` hostile files of a format; every promise is asserted for each of them."""
    tally = Tally()
    path = folder / f"hostile.{name.lower()}"
    for data in files(name, count):
        path.write_bytes(data)
        begun = time.perf_counter()
        try:
            design = read(path)
        except UnreadableDesign as error:
            assert str(error).startswith(path.name), error  # noqa: PT017 - either way is right
            assert "\n" not in str(error)  # noqa: PT017
        else:
            assert np.isfinite(design.points).all()
            assert np.ptp(design.points, axis=0).max() < METRES * 1000
            tally.designs += 1
            tally.damaged += design.damaged is not None
        taken = time.perf_counter() - begun
        assert taken < SECONDS + SLACK_S, (name, taken, data)
        tally.cases += 1
        tally.seconds += taken
        tally.slowest_s = max(tally.slowest_s, taken)
        if tally.cases % 50 == 0:
            tally.worker_gb = max(tally.worker_gb, peak_gb(guard.worker_pid()))
    tally.worker_gb = max(tally.worker_gb, peak_gb(guard.worker_pid()))
    assert tally.worker_gb < GIGABYTES + 0.1
    return tally


@pytest.mark.parametrize("name", known())
def test_hostile_files_give_a_design_or_one_clear_error(tmp_path: Path, name: str) -> None:
    tally = attack(name, -(-EVERYDAY // len(known())), tmp_path)
    assert tally.cases >= EVERYDAY // len(known())


@pytest.mark.long
def test_100_000_hostile_files(tmp_path: Path) -> None:
    tallies = {name: attack(name, -(-LONG // len(known())), tmp_path) for name in known()}
    lines = [
        f"{'format':<8}{'cases':>8}{'designs':>9}{'damaged':>9}"
        f"{'mean ms':>9}{'slowest s':>11}{'worker GB':>11}"
    ]
    lines += [
        f"{name:<8}{t.cases:>8}{t.designs:>9}{t.damaged:>9}{1e3 * t.seconds / t.cases:>9.2f}"
        f"{t.slowest_s:>11.2f}{t.worker_gb:>11.2f}"
        for name, t in tallies.items()
    ]
    total = sum(t.cases for t in tallies.values())
    seconds = sum(t.seconds for t in tallies.values())
    lines.append(
        f"{total:,} cases in {seconds:,.0f} s; this process held at most {peak_gb(os.getpid()):.2f} GB"
    )
    print("\n" + "\n".join(lines))  # noqa: T201 - the table of this run; see it with -s
    assert total >= LONG
    assert any(t.designs for t in tallies.values())
    assert sum(t.designs for t in tallies.values()) < total  # the files do hurt
    if sys.platform == "linux":
        assert peak_gb(os.getpid()) < GIGABYTES


def test_the_attack_notices_a_promise_that_is_broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: object, **__: object) -> None:
        raise IndexError("escaped")

    monkeypatch.setattr("analyzer.formats.reading.decode", breaks)
    with pytest.raises(IndexError, match="escaped"):
        attack("DST", 20, tmp_path)
