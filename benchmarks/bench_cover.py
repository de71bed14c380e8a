"""Times the coverage raster and the whole measuring against shapely's union, in one run, and compares areas.

Run from the checkout: ``python benchmarks/bench_cover.py [STITCHES]``. Prints medians of several runs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from statistics import median

import numpy as np
import shapely

from analyzer.cloth import measure
from analyzer.cloth.ground import fine_grid
from analyzer.design import Command, Design
from analyzer.laid import Grid, clip, lay
from analyzer.regions import Region, RegionKind, Regions

WIDTH_MM = 0.3
SPACING_MM = 0.4


def fill(stitches: int, turn_deg: float = 33.0, row_mm: float = 60.0, stitch_mm: float = 3.5) -> np.ndarray:
    """Return the penetrations of a tilted fill on the 0.1 mm lattice, (stitches + 1, 2) mm."""
    points: list[tuple[float, float]] = []
    row = 0
    while len(points) <= stitches:
        x = np.arange(0.0, row_mm + 1e-9, stitch_mm) + (row % 3) * stitch_mm / 3
        x = np.concatenate([[0.0], x[(x > 0) & (x < row_mm)], [row_mm]])
        points += [(float(v), row * SPACING_MM) for v in x[:: 1 if row % 2 == 0 else -1]]
        row += 1
    angle = np.deg2rad(turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.round(np.array(points[: stitches + 1]) @ turn, 1)


def timed(work: Callable[[], object], runs: int = 7) -> tuple[float, object]:
    """Return the median wall time of ``work`` in ms, and its last result."""
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        result = work()
        times.append(1000.0 * (time.perf_counter() - begin))
    return median(times), result


def main() -> None:
    """Print one line for each of the things timed."""
    stitches = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    points = fill(stitches)
    a, b = points[:-1], points[1:]
    low, high = points.min(axis=0), points.max(axis=0)

    def union() -> shapely.Geometry:
        lines = shapely.linestrings(np.stack([a, b], axis=1))
        return shapely.union_all(shapely.buffer(lines, WIDTH_MM / 2, quad_segs=8))

    reference_ms, shape = timed(union, runs=3)
    print(f"{stitches} stitches, {np.hypot(*(b - a).T).sum() / 1000:.1f} m of thread")
    print(f"shapely buffer and union   {reference_ms:8.1f} ms   {shape.area:10.2f} mm2")
    for pitch in (0.0914, 0.0464):
        grid = fine_grid(low, high, WIDTH_MM, pitch)
        for ends in ("round", "butt"):
            taken_ms, threads = timed(lambda grid=grid, ends=ends: lay(a, b, WIDTH_MM, grid, ends=ends))
            area = np.count_nonzero(threads) * pitch**2
            times, error = reference_ms / taken_ms, 100 * (area / shape.area - 1)
            print(
                f"lay, {pitch} mm, {ends:5}       {taken_ms:8.1f} ms   {area:10.2f} mm2"
                f"   area {error:+.3f} %   {times:.0f} times as fast"
            )
    size = np.ceil(high - low).astype(int) + 1
    cells = Grid(float(low[0]) - 0.13, float(low[1]) - 0.17, 1.0, *size.tolist())
    taken_ms, pieces = timed(lambda: clip(a, b, cells))
    print(f"clip, 1 mm cells           {taken_ms:8.1f} ms   {len(pieces.cell)} pieces")
    design = Design.from_commands(points, np.full(len(points), Command.STITCH))
    region = Region(
        0, RegionKind.FILL, 0, 0, stitches, stitches, SPACING_MM, 3.5, None, 33.0, 1, (), (), (*low, *high)
    )
    regions = Regions((region,), np.zeros(len(points), dtype=np.int32), ())
    taken_ms, cover = timed(lambda: measure(design, regions, thread_width_mm=WIDTH_MM))
    error = 100 * (cover.covered_mm2 / shape.area - 1)
    print(
        f"cloth.measure, everything  {taken_ms:8.1f} ms   {cover.covered_mm2:10.2f} mm2   area {error:+.3f} %"
    )


if __name__ == "__main__":
    main()
