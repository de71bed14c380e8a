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


def timed(
    work: Callable[[], object], runs: int = 7, clock: Callable[[], float] = time.perf_counter
) -> tuple[float, object]:
    """Return the median time of ``work`` in ms by the ``clock``, and its last result."""
    times = []
    for _ in range(runs):
        begin = clock()
        result = work()
        times.append(1000.0 * (clock() - begin))
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
    print()
    for pieces_of_work in (1, 4):
        design, regions = blocks(pieces_of_work)
        for lace in (False, True):
            if lace and pieces_of_work > 1:
                continue
            taken_ms, _ = timed(
                lambda design=design, regions=regions, lace=lace: measure(
                    design, regions, thread_width_mm=WIDTH_MM, lace=lace
                ),
                runs=5 if pieces_of_work == 1 else 1,
                clock=time.process_time,
            )
            print(
                f"cloth.measure, {design.stitches:9,} stitches, {len(regions.items):5} regions, "
                f"network of lace {'too' if lace else 'not'}: {taken_ms:8.0f} ms CPU, "
                f"{1000 * taken_ms / design.stitches:.1f} us each"
            )
    print(f"largest memory of this process {peak_mb():.0f} MB")


def blocks(number: int) -> tuple[Design, Regions]:
    """Return so many blocks of about 15,000 stitches, 30 regions each: fills, columns on them, runs round."""
    points: list[np.ndarray] = []
    kinds: list[np.ndarray] = []
    items: list[Region] = []
    count = 0
    block = fill(9_000, row_mm=72.0, stitch_mm=3.0)
    x = np.repeat(np.arange(0.0, 40.0, 0.4), 2)
    column = np.stack([x, np.tile([0.0, 4.0], len(x) // 2)], axis=1)
    line = np.stack([np.arange(0.0, 70.0, 2.5), np.zeros(28)], axis=1)
    parts = [(block, RegionKind.FILL, SPACING_MM)]
    parts += [(np.round(column + np.array([k, 4.5 * k]), 1), RegionKind.SATIN, 0.2) for k in range(25)]
    parts += [(line + np.array([0.0, 30.0 * k]), RegionKind.RUN, None) for k in range(4)]
    for piece in range(number):
        shift = np.array([130.0 * (piece % 9), 130.0 * (piece // 9)])
        for part, kind, spacing in parts:
            sewn = part + shift
            points += [sewn[:1], sewn]
            kinds += [np.array([Command.TRIM]), np.full(len(sewn), Command.STITCH)]
            box = (*sewn.min(axis=0), *sewn.max(axis=0))
            first, last = count, count + len(sewn) - 1
            items.append(
                Region(
                    len(items), kind, 0, first, last, len(sewn) - 1, spacing, 3.0, None, None, 1, (), (), box
                )
            )
            count = last + 1
    region_of = np.repeat(np.arange(len(items)), [item.last - item.first + 1 for item in items])
    design = Design.from_commands(np.concatenate(points), np.concatenate(kinds))
    return design, Regions(tuple(items), region_of.astype(np.int32), ())


def peak_mb() -> float:
    """Return the most memory that this process has held, MB; nan where the system does not tell."""
    try:
        import resource
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


if __name__ == "__main__":
    main()
