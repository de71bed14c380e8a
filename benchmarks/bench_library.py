"""Times scans into the design book: made files of a realistic spread, measured and screened on three goods.

Run from the checkout: ``python benchmarks/bench_library.py [--median N] [--goods NAMES] FILES ...``. Sizes
are drawn so that the median design has some 3,300 stitches (``--median`` for another), 95 % fewer than six
times that, and one in five hundred 200,000 (a lognormal spread). One worker process does the work. For every
part of a run, a tenth of it or a thousand files, a line says how many designs it did in a second of the clock
and in a second of the worker's own processor time, the writer's processor time for each, and the memory that
both then held. The last line says how long a second scan takes.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from bench_regions import build

from analyzer.design import Design
from analyzer.formats import to_bytes, writable_format
from analyzer.library.book import Book
from analyzer.library.scanning import Tally, scan
from analyzer.library.types import Asked
from analyzer.library.workers import LocalWorkers

_MEDIAN, _SPREAD, _HUGE = 3_300, 1.1, 200_000  # exp(1.645 * 1.1) is some 6
_KINDS = ("mixed", "lettering", "fills")
_LEAST = 400
_ODD = 500  #: of so many files one is huge
_SHAPES = 120  #: different designs that are built; files are these with another first stitch
_THREE = "poplin,jersey,terry"


def designs(count: int, median: int = _MEDIAN) -> list[bytes]:
    """Return so many different designs of the spread."""
    rng = np.random.default_rng(0)
    kinds = _KINDS if median > 1_000 else ("lettering",)  # the others cannot be small
    least = min(_LEAST, median / 2)
    made = []
    for number in range(count):
        size = int(np.clip(rng.lognormal(np.log(median), _SPREAD), least, 60_000))
        made.append(_content(build(kinds[number % len(kinds)], size)))
    return made


def _content(design: Design) -> bytes:
    return to_bytes(design, writable_format(Path("a.exp")), "a.exp")[0]


def write(folder: Path, files: int, median: int) -> None:
    """Write so many different stitch files."""
    made = designs(min(files, _SHAPES), median)
    huge = _content(build("fills", _HUGE)) if files >= _ODD and median == _MEDIAN else b""
    for number in range(files):
        content = huge if huge and number % _ODD == _ODD - 1 else made[number % len(made)]
        # other bytes after the end of the design: another file to the book, the same work
        (folder / f"{number:06d}.exp").write_bytes(content + number.to_bytes(4, "little"))


def held_mb(process: int | None) -> float:
    """Return the memory that a process holds, MB; nan where the system does not tell."""
    try:
        pages = int(Path(f"/proc/{process or 'self'}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, ValueError):
        return float("nan")
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def worked_s(process: int | None) -> float:
    """Return the processor time that a process has taken, s; nan where the system does not tell."""
    try:
        told = Path(f"/proc/{process or 'self'}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


@dataclass
class Course:
    """Prints how a scan goes, part by part."""

    part: int
    done: int = 0
    clock_s: float = field(default_factory=time.perf_counter)
    worker_s: float = 0.0
    writer_s: float = field(default_factory=lambda: worked_s(None))

    def __call__(self, tally: Tally) -> None:
        """Print a line when a part is done."""
        if tally.looked_at < self.done + self.part:
            return
        worker = next((child.pid for child in multiprocessing.active_children()), None)
        clock_s, worker_s, writer_s = time.perf_counter(), worked_s(worker), worked_s(None)
        count = tally.looked_at - self.done
        print(
            f"{tally.looked_at:7,d} {count / (clock_s - self.clock_s):10.1f} "
            f"{count / (worker_s - self.worker_s):12.1f} {1e3 * (writer_s - self.writer_s) / count:12.2f} "
            f"{held_mb(None):10.0f} {held_mb(worker):10.0f}",
            flush=True,
        )
        self.done, self.clock_s, self.worker_s, self.writer_s = tally.looked_at, clock_s, worker_s, writer_s


def timed(folder: Path, book: Path, asked: Asked, part: int) -> float:
    """Scan with one worker and return the seconds."""
    begin = time.perf_counter()
    with Book(book, write=True) as opened:
        workers = LocalWorkers(1)
        scan(folder, opened, asked, workers, Course(part))
        workers.close()
    return time.perf_counter() - begin


def main() -> None:
    """Print the course of a run for each number of files, measured only and with three goods."""
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="*", type=int, default=[200, 800])
    parser.add_argument("--median", type=int, default=_MEDIAN)
    parser.add_argument("--goods", action="append", help="names with commas, or an empty text for none")
    given = parser.parse_args()
    for names in given.goods if given.goods is not None else ("", _THREE):
        goods = tuple(name for name in names.split(",") if name)
        for files in given.files:
            with tempfile.TemporaryDirectory() as place:
                folder, book = Path(place) / "designs", Path(place) / "book.sqlite"
                folder.mkdir()
                write(folder, files, given.median)
                print(f"{files:,} files, median {given.median:,} stitches, goods: {names or 'none'}")
                print("   done  a second  a worker's s  writer ms  writer MB  worker MB", flush=True)
                part = max(20, min(1000, files // 10))
                first = timed(folder, book, Asked(goods), part)
                again = timed(folder, book, Asked(goods), part)
                size = book.stat().st_size
            print(
                f"all in {first:.1f} s, {files / first:.1f} a second; again in {again:.2f} s, "
                f"{first / again:.0f} times faster; {size / files / 1e3:.1f} kB a design in the book\n",
                flush=True,
            )


if __name__ == "__main__":
    main()
