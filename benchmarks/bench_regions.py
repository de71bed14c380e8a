"""Times the cutting into regions from 15,000 to a million stitches, each size in a fresh process.

Run from the checkout: ``python benchmarks/bench_regions.py [KIND ...] [--profile]``. The kinds of design are
``lettering`` (short columns, many regions), ``fills`` (six fills that grow with the design) and ``mixed``
(both, at the sizes of everyday designs). Times are of one thread's CPU, the least of several runs.
"""

from __future__ import annotations

import cProfile
import os
import pstats
import subprocess
import sys
import time
from collections.abc import Iterator

import numpy as np

from analyzer.design import Command, Design
from analyzer.regions import cut

SIZES = (15_000, 50_000, 150_000, 1_000_000)
ROW_MM, STITCH_MM, THREAD_MM = 0.4, 3.5, 0.2
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class Cloth:
    """Collects penetrations and commands in sewing order."""

    def __init__(self) -> None:
        self.points: list[np.ndarray] = []
        self.kinds: list[np.ndarray] = []
        self.count = 0

    def sew(self, path: np.ndarray) -> None:
        """Sew on from where the needle is."""
        self.points.append(path)
        self.kinds.append(np.full(len(path), Command.STITCH))
        self.count += len(path)

    def begin(self, command: Command, at: np.ndarray, towards: np.ndarray) -> None:
        """Halt or cut, then begin anew with a tie."""
        self.points.append(at[None])
        self.kinds.append(np.array([command]))
        unit = (towards - at) / max(float(np.hypot(*(towards - at))), 1e-9)
        self.sew(at + np.array([0.0, 0.8, 0.0, 0.8, 0.0])[:, None] * unit)

    def design(self) -> Design:
        """Return what was sewn, on the lattice of 0.1 mm."""
        return Design.from_commands(np.round(np.concatenate(self.points), 1), np.concatenate(self.kinds))


def divided(path: np.ndarray, step: float) -> np.ndarray:
    """Return points along a path no further apart than ``step``."""
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.linspace(0.0, way[-1], max(2, round(way[-1] / step)) + 1)
    return np.stack([np.interp(at, way, path[:, 0]), np.interp(at, way, path[:, 1])], axis=1)


def column(path: np.ndarray, width: float, spacing: float = THREAD_MM) -> np.ndarray:
    """Return the threads of a column along a path, from side to side."""
    points = divided(path, spacing)
    along = np.gradient(points, axis=0)
    along /= np.hypot(*along.T)[:, None]
    side = np.where(np.arange(len(points)) % 2, 0.5, -0.5)[:, None] * width
    return points + side * np.stack([-along[:, 1], along[:, 0]], axis=1)


def rows(low: np.ndarray, high: np.ndarray, y: np.ndarray, stitch: float) -> np.ndarray:
    """Return staggered rows from x ``low`` to ``high`` (r,) at heights ``y`` (r,), to and fro."""
    found = []
    for k, (a, b, at) in enumerate(zip(low.tolist(), high.tolist(), y.tolist(), strict=True)):
        x = np.arange(np.ceil((a + 0.5) / stitch - k % 4 / 4), (b - 0.5) / stitch - k % 4 / 4) + k % 4 / 4
        x = np.concatenate([[a], x * stitch, [b]])
        found.append(np.stack([x[:: -1 if k % 2 else 1], np.full(len(x), at)], axis=1))
    return np.concatenate(found)


def blob(cloth: Cloth, centre: np.ndarray, size: float, turn_deg: float) -> None:
    """Sew a fill with wavy sides on its underlay, then in another thread a border, a line and a detail."""
    turn = np.deg2rad(turn_deg)
    back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])

    def sides(y: np.ndarray, inset: float) -> tuple[np.ndarray, np.ndarray]:
        wave = 0.06 * size * np.sin(14.0 * y / size)
        return -0.5 * size + inset + wave, 0.42 * size - inset - 0.7 * wave[::-1]

    def place(points: np.ndarray) -> np.ndarray:
        return points @ back + centre

    y = np.arange(-0.5 * size, 0.5 * size, ROW_MM)
    left, right = sides(y, 0.0)
    edge = np.concatenate([np.stack([left, y], axis=1), np.stack([right, y], axis=1)[::-1]])
    edge = np.concatenate([edge, edge[:1]])
    inner = np.arange(-0.5 * size + 1.0, 0.5 * size - 1.0, 2.5)
    parts = [divided(0.97 * edge, 2.5), rows(*sides(inner, 1.0), inner, 4.0), rows(left, right, y, STITCH_MM)]
    cloth.begin(Command.COLOUR_CHANGE, *place(parts[0][:2]))
    for part in parts:
        cloth.sew(place(part))
    around = place(edge)
    cloth.begin(Command.COLOUR_CHANGE, *around[:2])
    cloth.sew(divided(around, 2.2))
    cloth.sew(column(around, 0.8 * 2.5, 0.9))
    cloth.sew(column(around, 2.5))
    detail = place(np.array([[-0.2, 0.3], [0.1, 0.1], [-0.1, -0.1], [0.2, -0.3]]) * size)
    cloth.begin(Command.TRIM, *detail[:2])
    cloth.sew(divided(detail, 2.0))
    cloth.sew(divided(detail, 2.0)[-2::-1])


def letter(cloth: Cloth, at: np.ndarray, number: int) -> None:
    """Sew one of three letters: columns of 1.6 mm on centre runs, tied and cut."""
    t = np.linspace(0.3, 2 * np.pi - 0.3, 40)
    bow = np.stack([4.0 + 3.4 * np.cos(t), 5.0 + 4.4 * np.sin(t)], axis=1)
    strokes = [
        [[(0, 0), (0, 10)], [(0, 9.2), (6, 9.2)], [(0, 5), (5, 5)], [(0, 0.8), (6, 0.8)]],
        [[(0, 0), (3, 10)], [(3, 10), (6, 0)], [(1, 3.5), (5, 3.5)]],
        [bow],
    ][number % 3]
    lines = [np.asarray(stroke, dtype=float) + at for stroke in strokes]
    cloth.begin(Command.TRIM, *lines[0][:2])
    for line in lines:
        cloth.sew(divided(line, 2.0))
        cloth.sew(column(line[::-1], 1.6))


def build(kind: str, stitches: int) -> Design:
    """Return a design of about so many stitches."""
    cloth = Cloth()
    if kind == "fills":
        # Rows, underlay and border: about 0.75 stitches to a mm2 and 11 to a mm of edge.
        size = float(np.roots([6 * 0.70, 6 * 28.0, -stitches]).max())
        for k in range(6):
            blob(cloth, 1.3 * size * np.array([k % 3, k // 3], dtype=float), size, 20.0 * k)
        return cloth.design()
    for k, at in enumerate(places(40.0 if kind == "mixed" else 12.0, stitches)):
        if cloth.count >= stitches:
            break
        if kind == "mixed" and k % 4 == 0:
            blob(cloth, at, 26.0, 25.0 * k)
        elif kind == "mixed":
            for each in range(6):
                letter(cloth, at + np.array([11.0 * (each % 3) - 16.0, 14.0 * (each // 3) - 12.0]), each)
        else:
            letter(cloth, at, k)
    return cloth.design()


def places(pitch: float, stitches: int) -> Iterator[np.ndarray]:
    """Yield places of a square grid line by line, for a design of so many stitches."""
    wide = max(3, round(np.sqrt(stitches * 0.55) / pitch * 1.4))
    k = 0
    while True:
        yield pitch * np.array([k % wide, -(k // wide) * 1.2])
        k += 1


def peak_mb() -> float:
    """Return the most memory that this process has held, MB; nan where the system does not tell."""
    try:
        import resource
    except ImportError:
        return float("nan")
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measure(kind: str, stitches: int, profile: bool) -> None:
    """Print what cutting one design takes: penetrations, regions, pairs, seconds, MB before and after."""
    cut(build(kind, 2_000))  # loads what is loaded late
    design = build(kind, stitches)
    before = peak_mb()
    times = []
    for _ in range(5 if stitches < 100_000 else 1):
        begin = time.process_time()
        regions = cut(design)
        times.append(time.process_time() - begin)
    print(len(design.penetrations), len(regions.items), len(regions.pairs), min(times), before, peak_mb())
    if profile:
        with cProfile.Profile() as watch:
            cut(design)
        pstats.Stats(watch).sort_stats("tottime").print_stats(30)


def main() -> None:
    """Measure each kind and size in a process of its own and print a line for each."""
    words = sys.argv[1:]
    if words[:1] == ["--one"]:
        measure(words[1], int(words[2]), "--profile" in words)
        return
    kinds = [word for word in words if word in ("lettering", "fills", "mixed")]
    environment = os.environ | dict.fromkeys(THREADS, "1")
    print(f"{'':10}{'stitches':>10}{'regions':>9}{'pairs':>7}{'s CPU':>8}{'stitches/s':>12}", end="")
    print(f"{'peak MB':>9}{'  (before)':10}  time a stitch against the smallest")
    for kind in kinds or ("lettering", "fills", "mixed"):
        smallest = None
        for stitches in SIZES:
            command = [sys.executable, __file__, "--one", kind, str(stitches), *words[len(kinds) :]]
            done = subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
            line, *rest = done.stdout.splitlines()
            count, regions, pairs, seconds, before, peak = (float(word) for word in line.split())
            smallest = smallest or seconds / count
            print(
                f"{kind:10}{count:10,.0f}{regions:9.0f}{pairs:7.0f}{seconds:8.3f}{count / seconds:12,.0f}"
                f"{peak:9.0f}  ({before:.0f}){'':4}{seconds / count / smallest:8.2f}",
                flush=True,
            )
            print(*rest, sep="\n", end="\n" if rest else "")


if __name__ == "__main__":
    main()
