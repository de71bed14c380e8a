"""Times scans into the design book: made files of a realistic spread, measured and screened on three goods.

Run from the checkout: ``python benchmarks/bench_library.py [FILES ...]``. Sizes are drawn so that the median
design has some 3,300 stitches, 95 % fewer than 20,000, and one in five hundred 200,000 (a lognormal spread).
Designs a second are of the wall clock with one worker process; memory is the peak of this process and of the
largest worker. The last but two says how much faster a second scan is.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from bench_regions import build

from analyzer.design import Design
from analyzer.formats import to_bytes, writable_format
from analyzer.library.book import Book
from analyzer.library.scanning import scan
from analyzer.library.types import Asked
from analyzer.library.workers import LocalWorkers

_MEDIAN, _SPREAD, _HUGE = 3_300, 1.1, 200_000  # exp(1.645 * 1.1) * 3,300 is some 20,000
_KINDS = ("mixed", "lettering", "fills")
_ODD = 500  #: of so many files one is huge
_SHAPES = 120  #: different designs that are built; files are these with another first stitch


def designs(count: int) -> list[bytes]:
    """Return so many different designs of the spread."""
    rng = np.random.default_rng(0)
    made = []
    for number in range(count):
        size = int(np.clip(rng.lognormal(np.log(_MEDIAN), _SPREAD), 300, 60_000))
        made.append(_content(build(_KINDS[number % 3], size)))
    return made


def _content(design: Design) -> bytes:
    return to_bytes(design, writable_format(Path("a.exp")), "a.exp")[0]


def write(folder: Path, files: int) -> None:
    """Write so many different stitch files."""
    made = designs(min(files, _SHAPES))
    huge = _content(build("fills", _HUGE)) if files >= _ODD else b""
    for number in range(files):
        content = huge if huge and number % _ODD == _ODD - 1 else made[number % len(made)]
        # other bytes after the end of the design: another file to the book, the same work
        (folder / f"{number:06d}.exp").write_bytes(content + number.to_bytes(4, "little"))


def peaks_mb() -> tuple[float, float]:
    """Return the peaks of memory of this process and of its largest child, MB; nan where not told."""
    try:
        import resource
    except ImportError:
        return float("nan"), float("nan")
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return own / 1024.0, children / 1024.0


def timed(folder: Path, book: Path, asked: Asked) -> float:
    """Scan with one worker and return the seconds."""
    begin = time.perf_counter()
    with Book(book, write=True) as opened:
        workers = LocalWorkers(1)
        scan(folder, opened, asked, workers)
        workers.close()
    return time.perf_counter() - begin


def main() -> None:
    """Print a line for each number of files, measured only and with three goods."""
    sizes = [int(text) for text in sys.argv[1:]] or [200, 800]
    print("files   goods   seconds   designs/s   second scan s   times faster   parent MB   worker MB")
    for goods in ((), ("poplin", "jersey", "terry")):
        for files in sizes:
            with tempfile.TemporaryDirectory() as place:
                folder = Path(place) / "designs"
                folder.mkdir()
                write(folder, files)
                book = Path(place) / "book.sqlite"
                first = timed(folder, book, Asked(goods))
                again = timed(folder, book, Asked(goods))
                own, worker = peaks_mb()
            print(
                f"{files:6,d} {len(goods):6d} {first:10.1f} {files / first:10.1f} {again:14.2f} "
                f"{first / again:14.0f} {own:11.0f} {worker:11.0f}"
            )


if __name__ == "__main__":
    main()
