"""Conjugate gradients against SuperLU on the same membranes, in one run.

Usage: python benchmarks/bench_membrane.py. Prints, for each hoop, cell and sheet, the seconds for building
and solving (best of three) and their ratio. Only the ratio may be compared between machines.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from analyzer.mechanics import Membrane

CASES = ((100.0, 100.0, 2.0), (100.0, 100.0, 1.0), (130.0, 180.0, 2.0), (200.0, 300.0, 1.0))
SHEET = 1000.0 * np.array([[13.0, 4.0, 0.0], [4.0, 11.0, 0.0], [0.0, 0.0, 3.5]])


def sheet_with_fill(nx: int, ny: int, turned: bool) -> tuple[np.ndarray, np.ndarray]:
    """Backed cloth, dense fill over the middle third: stiffness (ny, nx, 3, 3), stress (ny, nx, 3)."""
    n = np.array([0.5, 0.5, 0.5]) if turned else np.array([1.0, 0.0, 0.0])
    stiffness = np.broadcast_to(SHEET, (ny, nx, 3, 3)).copy()
    stress = np.zeros((ny, nx, 3))
    middle = np.s_[ny // 3 : 2 * ny // 3, nx // 3 : 2 * nx // 3]
    stiffness[middle] += 200e3 * np.outer(n, n)  # 2.5 mm per mm2 of thread of 80 N
    stress[middle] = 1600.0 * n
    return stiffness, stress


def seconds(case: tuple[float, float, float], turned: bool, solver: str, tolerance: float) -> float:
    """Best time of three for building and solving one membrane."""
    width, height, cell = case
    stiffness, stress = sheet_with_fill(round(width / cell), round(height / cell), turned)
    best = np.inf
    for _ in range(3):
        start = time.perf_counter()
        Membrane(width, height, cell, stiffness, solver=solver, tolerance=tolerance).solve(stress)
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    """Run all cases."""
    write = sys.stdout.write
    write("   hoop mm  cell    fill  SuperLU s  CG 1e-3 s  ratio  CG 1e-8 s\n")
    for case in CASES:
        for turned in (False, True):
            direct = seconds(case, turned, "direct", 0.0)
            quick, exact = (seconds(case, turned, "cg", tolerance) for tolerance in (1e-3, 1e-8))
            name = "45 deg" if turned else "along x"
            write(
                f"{case[0]:>5.0f}x{case[1]:<4.0f} {case[2]:>5.1f} {name:>7} {direct:>10.3f} {quick:>10.3f}"
                f" {direct / quick:>6.1f} {exact:>10.3f}\n"
            )


if __name__ == "__main__":
    main()
