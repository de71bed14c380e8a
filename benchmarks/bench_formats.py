"""Times reading: our decoders beside pyembroidery in one run, what `read` costs in full, and the guard.

Run from the checkout: ``python benchmarks/bench_formats.py [STITCHES]``. Both readers take turns in each
round, so that a busy machine slows both; printed are medians, and whether both found the same needle points.
"""

from __future__ import annotations

import io
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
import pyembroidery

from analyzer.design import Command
from analyzer.formats import guard, read
from analyzer.formats.decoding import decode
from analyzer.formats.limits import DEFAULT

ROUNDS = 9
AIMS = {"DST": 25, "EXP": 20, "DST of jumps and trims": 10}


def walk(stitches: int, hop_every: int = 0) -> pyembroidery.EmbPattern:
    """Return a random walk of short stitches, with a trim and a hop after every ``hop_every`` of them."""
    random = np.random.default_rng(5)
    pattern = pyembroidery.EmbPattern()
    x = y = 0
    for number, (dx, dy) in enumerate(random.integers(-40, 41, (stitches, 2)).tolist()):
        # turned back towards the middle, so that the design stays small
        x, y = x + (-abs(dx) if x > 500 else dx), y + (-abs(dy) if y > 500 else dy)
        if hop_every and number % hop_every == hop_every - 1:
            pattern.add_command(pyembroidery.TRIM)
            x, y = -x // 2, -y // 2
            pattern.add_stitch_absolute(pyembroidery.JUMP, x, y)
        pattern.add_stitch_absolute(pyembroidery.STITCH, x, y)
    for colour in ("#112233", "#c01020"):
        pattern.add_thread({"hex": colour})
    pattern.end()
    return pattern


def in_turn(*works: Callable[[], object]) -> list[float]:
    """Return the median wall time of each of ``works`` in ms, timed one after the other in each round."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(ROUNDS):
        for work, spent in zip(works, times, strict=True):
            begin = time.perf_counter()
            work()
            spent.append(1000.0 * (time.perf_counter() - begin))
    return [median(spent) for spent in times]


def compare(title: str, pattern: pyembroidery.EmbPattern, ending: str, folder: Path) -> None:
    """Print one line: both readers on the same file."""
    path = folder / f"walk.{ending}"
    pyembroidery.write(pattern, str(path))
    data, name = path.read_bytes(), ending.upper()
    reader = getattr(pyembroidery, f"{ending.capitalize()}Reader")

    def theirs() -> pyembroidery.EmbPattern:
        found = pyembroidery.EmbPattern()
        reader.read(io.BytesIO(data), found, {})
        return found

    library, ours, whole = in_turn(theirs, lambda: decode(data, name), lambda: read(path))
    decoded = decode(data, name)
    down = [row[:2] for row in theirs().stitches if row[2] & 0xFF == pyembroidery.STITCH]
    same = np.array_equal(decoded.points[decoded.kinds == Command.STITCH], np.array(down) * (0.1, -0.1) + 0.0)
    aim = AIMS.get(title)
    print(
        f"{title:<24}{len(decoded.kinds):>9,}{library:>11.1f}{ours:>9.2f}{library / ours:>8.0f}x"
        f"{f'{aim}x' if aim else '-':>6}{whole:>11.1f}{library / whole:>8.0f}x   {'yes' if same else 'NO'}"
    )


def time_the_guard(folder: Path) -> None:
    """Print what the separate process costs: its start, and each small file after that."""
    path = folder / "small.xxx"
    pyembroidery.write(walk(300), str(path))
    begin = time.perf_counter()
    read(path)
    first = 1000.0 * (time.perf_counter() - begin)
    warm, decoding = in_turn(lambda: read(path), lambda: guard.read_rows(path.read_bytes(), "XXX", DEFAULT))
    print(
        f"The separate process: {first:.0f} ms for the first file with its start, then {warm:.2f} ms for "
        f"a file of 300 stitches, of which {decoding:.2f} ms in the process and its pipes.\n"
    )


def main() -> None:
    """Print the table."""
    stitches = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as name:
        time_the_guard(Path(name))
    print(
        f"{'medians in ms':<24}{'commands':>9}{'library':>11}{'ours':>9}{'ratio':>9}{'aim':>6}"
        f"{'read, all':>11}{'ratio':>9}   same points"
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plain, hopping = walk(stitches), walk(stitches // 4, hop_every=4)
        compare("DST", plain, "dst", folder)
        compare("EXP", plain, "exp", folder)
        compare("DST of jumps and trims", hopping, "dst", folder)
        compare("EXP of jumps and trims", hopping, "exp", folder)
        for ending in ("pes", "jef", "vp3"):
            compare(ending.upper(), plain, ending, folder)


if __name__ == "__main__":
    main()
