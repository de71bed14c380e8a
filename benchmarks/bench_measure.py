"""Times what is measured of a design on the cloth, and thread and time, from 14,000 to 1,000,000 stitches.

Every size runs in a fresh process, so that its peak of memory is its own. The last column is the time per
stitch over that of the first size: one where the cost is linear. Designs of more than some 600 by 600 mm are
measured on a coarser raster, which the table tells.

Run from the checkout: ``python benchmarks/bench_measure.py [STITCHES ...]``. Times are of the processor, on
one thread where OMP_NUM_THREADS=1.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from bench_cover import WIDTH_MM, blocks, peak_mb

from analyzer.cloth import measure, use

_BLOCK = 14_083  #: stitches of one block
_SIZES = (_BLOCK, 4 * _BLOCK, 18 * _BLOCK, 71 * _BLOCK)


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


def main() -> None:
    """Print a line for each size, without and with the network of lace."""
    sizes = [int(text) for text in sys.argv[1:]] or list(_SIZES)
    print(
        "stitches   network  measure s   use s   before MB   peak MB   pitch mm   s per stitch to the first"
    )
    for lace in (False, True):
        first = 0.0
        for size in sizes:
            command = [sys.executable, str(Path(__file__)), "--one", str(size), "lace" if lace else "plain"]
            line = subprocess.run(command, capture_output=True, text=True, check=True).stdout
            stitches, seconds, used, before, peak, pitch = (float(text) for text in line.split())
            first = first or seconds / stitches
            print(
                f"{stitches:9,.0f}   {'too' if lace else 'not':7} {seconds:9.2f} {used:8.3f} {before:10.0f} "
                f"{peak:9.0f} {pitch:10.3f} {seconds / stitches / first:14.2f}"
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(int(sys.argv[2]), sys.argv[3] == "lace")
    else:
        main()
