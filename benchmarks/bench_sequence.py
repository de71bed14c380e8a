"""Whole sewing sequences, and what respond makes of them, on a design of about 15,000 stitches.

Usage: python benchmarks/bench_sequence.py. Twelve filled discs with outlines and satin bars in a hoop of 130
x 180 mm. For each stack: the sequence in some 156 blocks on a grid of 2 mm, with the steps of conjugate
gradients for each block and the ratio to SuperLU in every block; in few blocks on 4 mm, and how far its gaps
are from the fine ones (rms over rms); then ``respond`` as a check calls it, and what 2,000 draws cost on top
of its runs. Only ratios may be compared between machines.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from analyzer import Job
from analyzer.design import Command, Design
from analyzer.goods import StackChoice, build_stack, draw, hoop, parse_backing, resolve
from analyzer.laid import Grid
from analyzer.mechanics import Sewing, prepare, respond
from analyzer.mechanics.blocks import cut_blocks, front_progress
from analyzer.mechanics.layout import Layout, lay_out
from analyzer.mechanics.respond import SCREEN_TOLERANCE, TOLERANCE, make_variants
from analyzer.mechanics.sequence import Sewn, sew
from analyzer.mechanics.solvers import solve_direct
from analyzer.mechanics.wanted import gap_shift, sought
from analyzer.regions import cut

HOOP = "130x180"
STACKS = (
    ("jersey", "cutaway:85"),
    ("cotton-twill", "cutaway:68"),
    ("cotton-twill", "none"),
    ("jersey", "none"),
)
FINE, COARSE = (2.0, 156), (4.0, 8)
SPACING_MM, STITCH_MM = 0.4, 2.5


def filled_disc(
    middle: tuple[float, float], radius: float, spacing: float = 0.4, stitch: float = 2.5
) -> np.ndarray:
    """Rows along x, staggered by thirds, penetrations (k, 2)."""
    rows = []
    for number, y in enumerate(np.arange(-radius + 0.3, radius - 0.2, SPACING_MM)):
        half = np.sqrt(radius**2 - y**2)
        inner = np.arange(-half + 0.8 + STITCH_MM * (number % 3) / 3, half - 0.8, STITCH_MM)
        x = np.concatenate([[-half], inner, [half]])
        rows.append(np.column_stack([x if number % 2 == 0 else x[::-1], np.full(x.size, y)]))
    return np.concatenate(rows) + middle


def satin_bar(middle: tuple[float, float], width: float, length: float, spacing: float = 0.2) -> np.ndarray:
    """Threads along y, column along x."""
    x = np.arange(0.0, length, spacing)
    y = np.where(np.arange(x.size) % 2 == 0, -width / 2, width / 2)
    return np.column_stack([x - length / 2, y]) + middle


def design_of_discs() -> Design:
    """Four rows of three discs with outlines, and three satin bars between the rows."""
    parts = []
    for y in (-58.0, -19.5, 19.5, 58.0):
        for x in (-38.0, 0.0, 38.0):
            parts.append(filled_disc((x, y), 18.0))
            around = np.linspace(0.0, 2 * np.pi, 60)
            parts.append(18.0 * np.column_stack([np.cos(around), np.sin(around)]) + (x, y))
        if y < 50.0:
            parts.append(satin_bar((0.0, y + 19.3), 2.0, 100.0))
    points = np.concatenate([np.concatenate([part, part[-1:]]) for part in parts])
    kinds = np.concatenate([np.r_[np.full(len(part), Command.STITCH), Command.TRIM] for part in parts])
    return Design.from_commands(points, kinds.astype(np.uint8))


def laid(sewing: Sewing, cell_mm: float, blocks: int) -> Layout:
    """Lay the design out with about so many blocks."""
    progress = front_progress(sewing.design, sewing.regions, sewing.loaded)
    field = sewing.hoop
    nx, ny = round(field.width_mm / cell_mm), round(field.height_mm / cell_mm)
    grid = Grid(-nx * cell_mm / 2 - 0.13, -ny * cell_mm / 2 - 0.17, cell_mm, nx, ny)
    held = np.ones((ny + 1, nx + 1), dtype=np.bool_)
    held[1:-1, 1:-1] = False
    cuts = cut_blocks(progress, sewing.regions, float(progress.sum()) / blocks, blocks)
    wanted = sought(sewing.design, sewing.regions, sewing.columns)
    points = sewing.design.penetrations
    return lay_out(sewing.a, sewing.b, sewing.ends_at, sewing.stitches, points, cuts, grid, held, wanted)


def seconds(run: Callable[[], object]) -> float:
    """Least processor time of three runs."""
    best = np.inf
    for _ in range(3):
        start = time.process_time()
        run()
        best = min(best, time.process_time() - start)
    return best


def superlu_seconds(layout: Layout, sewn: Sewn) -> float:
    """Time of one block's assembly and direct solve, on the cloth as it is in the end."""
    lattice = layout.lattice
    stiffness = np.eye(3) * 1e4 + sewn.ties[None]
    return seconds(
        lambda: solve_direct(
            lattice.matrix(lattice.assemble(stiffness)), sewn.pull_forces.reshape(-1), layout.free
        )
    )


def gaps(sewing: Sewing, layout: Layout, sewn: Sewn) -> np.ndarray:
    """Shift at all stations, mm."""
    return np.concatenate(
        [
            gap_shift(layout, sewn.states, sewing.design, pair, sewn.forming)[0]
            for pair in sewing.regions.pairs
        ]
    )


HEAD = "goods         backing     fine s  steps  x SuperLU  coarse ms  gaps off  full s  screen s  draws s"


def line(sewing: Sewing, fine: Layout, coarse: Layout, goods: str, backing: str) -> str:
    """Measure one stack."""
    setup = resolve(Job(goods=goods, hoop=HOOP), goods, sewing.design.size_mm)
    stack = build_stack(setup, StackChoice(parse_backing(backing), None))
    one = make_variants(stack, {}, 1)
    layouts, tolerances = (fine, coarse), (TOLERANCE, SCREEN_TOLERANCE)
    runs = [
        partial(sew, layout, sewing.stitches, one, tolerance=tolerance)
        for layout, tolerance in zip(layouts, tolerances, strict=True)
    ]
    answers = [run() for run in runs]
    took = [seconds(run) for run in runs]
    exact, rough = (gaps(sewing, *pair) for pair in zip(layouts, answers, strict=True))
    off = np.sqrt(np.mean((rough - exact) ** 2) / np.mean(exact**2))
    blocks = fine.blocks.count
    direct = superlu_seconds(fine, answers[0]) * blocks
    many, few = draw(2000, 1), draw(4, 1)
    full, screen, without = (
        seconds(partial(respond, sewing, stack, draws, detail=detail))
        for draws, detail in ((many, "full"), (many, "screen"), (few, "screen"))
    )
    return (
        f"{goods:<13} {backing:<11} {took[0]:>6.2f} {answers[0].iterations / blocks:>6.1f}"
        f" {direct / took[0]:>10.1f} {1e3 * took[1]:>10.0f} {off:>9.0%} {full:>7.2f} {screen:>9.2f}"
        f" {screen - without:>8.2f}"
    )


def main() -> None:
    """Run all stacks."""
    design = design_of_discs()
    sewing = prepare(design, cut(design), hoop(HOOP))
    fine, coarse = laid(sewing, *FINE), laid(sewing, *COARSE)
    print(f"{len(sewing.a)} stitches, {len(sewing.regions.pairs)} outline pairs; processor seconds")
    print(f"fine: {fine.blocks.count} blocks at 2 mm; coarse: {coarse.blocks.count} blocks at 4 mm")
    print(HEAD)
    for goods, backing in STACKS:
        print(line(sewing, fine, coarse, goods, backing), flush=True)


if __name__ == "__main__":
    main()
