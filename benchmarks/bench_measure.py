"""Times what is measured of a design on the cloth, and thread and time, from 14,000 to 1,000,000 stitches.

The first table is of everything together, cutting into regions included, on the mixed designs of
``bench_regions.py``, without and with the network of lace; the second of the measuring alone. Every line
runs in a fresh process, so that its peak of memory is its own. The last column is the time per stitch over
that of the first size: one where the cost is linear. Designs of more than some 600 by 600 mm are measured on
a coarser raster, which the table tells.

Run from the checkout: ``python benchmarks/bench_measure.py [STITCHES ...]``, or with ``--all-only`` for the
first table. Times are of the processor, on one thread.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from bench_cover import WIDTH_MM, blocks, peak_mb
from bench_regions import THREADS, build

from analyzer.cloth import measure, use
from analyzer.design import Design
from analyzer.regions import cut

_BLOCK = 14_083  #: stitches of one block
_SIZES = (_BLOCK, 4 * _BLOCK, 18 * _BLOCK, 71 * _BLOCK)
_WHOLE = (15_000, 1_000_000)


def one(stitches: int, lace: bool) -> None:
    """Print one line of figures, of a process of its own."""
    design, regions = blocks(max(1, round(stitches / _BLOCK)))
    before = peak_mb()
    runs = 5 if len(regions.items) < 100 else 1
    measured, used = [], []
    for _ in range(runs):
        begin = time.process_time()
        cover = measure(design, regions, thread_width_mm=WIDTH_MM, lace=lace)
        middle = time.process_time()
        use(design, thickness_mm=0.8, speed_spm=800)
        measured.append(middle - begin)
        used.append(time.process_time() - middle)
    print(design.stitches, min(measured), min(used), before, peak_mb(), cover.resolution_mm)


def everything(stitches: int, lace: bool) -> None:
    """Print what cutting, measuring and use of a mixed design take, of a process of its own."""
    work(build("mixed", 2_000), lace)  # loads what is loaded late
    design = build("mixed", stitches)
    before = peak_mb()
    times = [work(design, lace) for _ in range(5 if stitches < 100_000 else 1)]
    print(design.stitches, *min(times, key=sum), before, peak_mb())


def work(design: Design, lace: bool) -> tuple[float, float, float]:
    """Cut, measure and tell the use; return the seconds of each."""
    at = [time.process_time()]
    regions = cut(design)
    at.append(time.process_time())
    measure(design, regions, thread_width_mm=WIDTH_MM, lace=lace)
    at.append(time.process_time())
    use(design, thickness_mm=0.8, speed_spm=800)
    at.append(time.process_time())
    return at[1] - at[0], at[2] - at[1], at[3] - at[2]


def asked(*words: object) -> list[float]:
    """Return the figures that a fresh process of this script prints."""
    command = [sys.executable, str(Path(__file__)), *map(str, words)]
    environment = os.environ | dict.fromkeys(THREADS, "1")
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=environment)
    return [float(text) for text in done.stdout.split()]


def main() -> None:
    """Print a line for each size, without and with the network of lace."""
    print("stitches   network    cut s  measure s   use s   all s   before MB   peak MB   s per stitch")
    for lace in ("plain", "lace"):
        first = 0.0
        for size in _WHOLE:
            stitches, *times, before, peak = asked("--everything", size, lace)
            first = first or sum(times) / stitches
            cut_s, measure_s, use_s = times
            print(
                f"{stitches:9,.0f}   {'too' if lace == 'lace' else 'not':7} {cut_s:8.3f} {measure_s:10.3f} "
                f"{use_s:7.3f} {sum(times):7.3f} {before:11.0f} {peak:9.0f} "
                f"{sum(times) / stitches / first:12.2f}",
                flush=True,
            )
    if "--all-only" in sys.argv:
        return
    sizes = [int(text) for text in sys.argv[1:]] or list(_SIZES)
    print(
        "stitches   network  measure s   use s   before MB   peak MB   pitch mm   s per stitch to the first"
    )
    for lace in (False, True):
        first = 0.0
        for size in sizes:
            stitches, seconds, used, before, peak, pitch = asked("--one", size, "lace" if lace else "plain")
            first = first or seconds / stitches
            print(
                f"{stitches:9,.0f}   {'too' if lace else 'not':7} {seconds:9.2f} {used:8.3f} {before:10.0f} "
                f"{peak:9.0f} {pitch:10.3f} {seconds / stitches / first:14.2f}"
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(int(sys.argv[2]), sys.argv[3] == "lace")
    elif sys.argv[1:2] == ["--everything"]:
        everything(int(sys.argv[2]), sys.argv[3] == "lace")
    else:
        main()
