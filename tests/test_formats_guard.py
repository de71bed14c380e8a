"""The separate process that reads by pyembroidery: its limits, its death and renewal, its cost.

Hostile files are made here. The measures are the tool's own limits: seconds, bytes of memory, process ids.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import struct
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pyembroidery
import pytest
from hostile_files import every_command

from analyzer.design import Design
from analyzer.errors import UnreadableDesign
from analyzer.formats import ReadLimits, guard, read, worker

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals and limits of POSIX")


def put(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    return put(tmp_path / "sound.xxx", every_command("XXX"))


class _Bits:
    """Writes numbers of any number of bits, the highest first."""

    def __init__(self) -> None:
        self.text = ""

    def put(self, value: int, count: int) -> None:
        self.text += f"{value:0{count}b}"

    def data(self) -> bytes:
        return int(self.text.ljust(-(-len(self.text) // 8) * 8, "0"), 2).to_bytes(
            -(-len(self.text) // 8), "big"
        )


def bomb() -> bytes:
    """Return a HUS of a few hundred bytes whose table of codes unpacks to hundreds of gigabytes.

    A table has two to the power of its longest code's length places, and each code takes its share of them:
    one code of 28 bits and 510 of a single bit, which no sound table holds, get 510 times 2 ** 27 places.
    """
    bits = _Bits()
    bits.put(0xFFFF, 16)  # tokens in the block
    bits.put(31, 5)  # lengths that have codes
    for index in range(31):
        if index == 3:
            bits.put(0, 2)  # none left out
        bits.put(1 if index in (3, 30) else 0, 3)  # bit 0 is length 3 - 2, bit 1 is length 30 - 2
    bits.put(511, 9)  # characters that have codes
    bits.put(1, 1)
    bits.put(0, 510)
    packed = bits.data()
    head = struct.pack("<III4h", 0x00C8AF5B, 1000, 1, 100, 100, -100, -100)
    start = len(head) + 12 + 8 + 2 + 2
    offsets = struct.pack("<III", start, start + len(packed), start + 2 * len(packed))
    return head + offsets + b"\0" * 8 + b"\0\0" + b"\0\0" + 3 * packed


def test_a_decompression_bomb_is_refused_within_its_limits(tmp_path: Path, sound: Path) -> None:
    data = bomb()
    assert len(data) < 500
    read(sound)
    with pytest.raises(UnreadableDesign, match=r"bomb\.hus: takes more than (5 s|1 GB of memory)") as caught:
        read(put(tmp_path / "bomb.hus", data))
    assert "--read-limit" in str(caught.value)
    assert read(sound).stitches  # the next file is read all the same


def test_more_time_than_allowed_is_said_and_can_be_allowed(tmp_path: Path) -> None:
    path = put(tmp_path / "long.xxx", _walk("XXX", 60_000))
    with pytest.raises(
        UnreadableDesign, match=r"takes more than 0\.001 s to read as XXX.*--read-limit seconds="
    ):
        read(path, limits=ReadLimits(seconds=0.001))
    assert read(path).stitches == 59_999


@pytest.mark.skipif(sys.platform != "linux", reason="the address space is limited on Linux")
def test_more_memory_than_allowed_is_said_and_can_be_allowed(tmp_path: Path) -> None:
    path = put(tmp_path / "long.xxx", _walk("XXX", 60_000))
    with pytest.raises(UnreadableDesign, match=r"takes more than 0\.003 GB.*--read-limit memory="):
        read(path, limits=ReadLimits(memory_bytes=3_000_000))
    assert read(path).stitches == 59_999


@posix
def test_the_watch_ends_a_process_that_grows_where_the_system_does_not() -> None:
    script = (
        "import sys; sys.path.insert(0, sys.argv[1]); import worker\n"
        "watch = worker._MemoryWatch(); watch.limit_bytes = 80_000_000; watch.start(); watch.working.set()\n"
        "grown = []\n"
        "while True: grown.append(bytearray(1_000_000))"
    )
    folder = str(Path(worker.__file__).parent)
    ended = subprocess.run([sys.executable, "-c", script, folder], timeout=60, check=False)
    assert ended.returncode == worker.MEMORY_EXIT


def _walk(name: str, stitches: int) -> bytes:
    from hostile_files import written

    pattern = pyembroidery.EmbPattern()
    for i in range(stitches):
        pattern.add_stitch_absolute(pyembroidery.STITCH, 10 * (i % 50), 20 * (i % 2))
    pattern.add_thread({"hex": "#112233"})
    pattern.end()
    return written(pattern, name)


def test_one_process_reads_file_after_file(sound: Path) -> None:
    read(sound)
    first = guard.worker_pid()
    for _ in range(20):
        read(sound)
    assert first is not None
    assert guard.worker_pid() == first


@posix
def test_a_process_that_was_killed_is_replaced(sound: Path) -> None:
    expected = read(sound)
    first = guard.worker_pid()
    assert first is not None
    os.kill(first, signal.SIGKILL)
    found = read(sound)
    assert np.array_equal(found.points, expected.points)
    assert guard.worker_pid() not in (None, first)


@posix
def test_a_process_that_is_killed_at_work_is_replaced_and_the_file_read(tmp_path: Path, sound: Path) -> None:
    path = put(tmp_path / "long.xxx", _walk("XXX", 200_000))
    read(sound)
    first = guard.worker_pid()
    assert first is not None
    killer = threading.Timer(0.05, os.kill, (first, signal.SIGKILL))
    killer.start()
    assert read(path).stitches == 199_999
    killer.join()
    assert guard.worker_pid() != first


def test_what_the_library_prints_is_no_answer_and_errors_name_the_place(tmp_path: Path) -> None:
    with pytest.raises(UnreadableDesign, match=r"near byte \d+ \(TypeError\)"):
        read(put(tmp_path / "cut.xxx", every_command("XXX")[:200]))


def test_threads_take_turns(sound: Path) -> None:
    expected = read(sound)
    found: list[Design] = []
    threads = [
        threading.Thread(target=lambda: found.extend(read(sound) for _ in range(10))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 40
    assert all(np.array_equal(each.points, expected.points) for each in found)


def _read_and_tell(path: str, answers: multiprocessing.queues.Queue[int]) -> None:
    assert multiprocessing.current_process().daemon
    answers.put(read(path).stitches)


@pytest.mark.parametrize(
    "method", [m for m in ("spawn", "forkserver", "fork") if m in multiprocessing.get_all_start_methods()]
)
def test_daemonic_processes_read_too(sound: Path, method: str) -> None:
    # children of multiprocessing may have no children of that kind; a plain process is none. A forked child
    # must leave its parent's worker alone
    read(sound)
    ours = guard.worker_pid()
    context = multiprocessing.get_context(method)
    answers: multiprocessing.queues.Queue[int] = context.Queue()
    process = context.Process(target=_read_and_tell, args=(str(sound), answers), daemon=True)
    process.start()
    assert answers.get(timeout=60) == read(sound).stitches
    process.join(60)
    assert process.exitcode == 0
    assert guard.worker_pid() == ours


def test_a_script_without_a_main_guard_reads_and_leaves_no_process(sound: Path, tmp_path: Path) -> None:
    script = tmp_path / "plain.py"
    script.write_text(
        "import sys\n"
        "from analyzer.formats import guard, read\n"
        "print(read(sys.argv[1]).stitches, guard.worker_pid())\n",
        encoding="utf-8",
    )
    root = str(Path(worker.__file__).parent.parent.parent)
    ran = subprocess.run(
        [sys.executable, str(script), str(sound)],
        env={**os.environ, "PYTHONPATH": root}, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    stitches, pid = map(int, ran.stdout.split())
    assert stitches == read(sound).stitches
    assert ran.stderr == ""
    if sys.platform == "linux":
        assert not Path(f"/proc/{pid}").exists()


def test_a_thousand_small_files_do_not_start_a_process_each(tmp_path: Path, sound: Path) -> None:
    data = sound.read_bytes()
    paths = [put(tmp_path / f"{number}.xxx", data) for number in range(1000)]
    read(sound)
    first = guard.worker_pid()
    assert sum(read(path).stitches for path in paths) == 1000 * read(sound).stitches
    assert guard.worker_pid() == first
