"""Conjugate gradients against SuperLU on the same membranes, in one run; memory of a large hoop.

Usage: python benchmarks/bench_membrane.py. Prints, for each hoop, cell and sheet, the processor seconds for
building and solving with fresh forces (best of three) and their ratio, to a relative error that is measured
against SuperLU's displacements; then, where the system tells it, the peak memory of a fresh process that
solves a hoop of 360 x 360 mm at 1 mm. Only ratios may be compared between machines.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from analyzer.mechanics import Membrane

CASES = ((100.0, 100.0, 2.0), (100.0, 100.0, 1.0), (130.0, 180.0, 2.0), (200.0, 300.0, 1.0))
SHEET = 1000.0 * np.array([[13.0, 4.0, 0.0], [4.0, 11.0, 0.0], [0.0, 0.0, 3.5]])
SPRINGS = 3e5  # N/m2
#: a tolerance in the energy norm that keeps displacements within 1e-3 of the largest one
TOLERANCE = {"clamped": 1e-3, "free": 2e-4, "springs": 1e-3}


def sheet_with_fill(nx: int, ny: int, fill: str) -> tuple[np.ndarray, np.ndarray]:
    """Backed cloth, dense fill over the middle third: stiffness (ny, nx, 3, 3), stress (ny, nx, 3)."""
    n = np.array([0.5, 0.5, 0.5]) if fill == "45 deg" else np.array([1.0, 0.0, 0.0])
    stiffness = np.broadcast_to(SHEET, (ny, nx, 3, 3)).copy()
    stress = np.zeros((ny, nx, 3))
    middle = np.s_[ny // 3 : 2 * ny // 3, nx // 3 : 2 * nx // 3]
    if fill != "none":
        stiffness[middle] += 200e3 * np.outer(n, n)  # 2.5 mm per mm2 of thread of 80 N
    stress[middle] = 1600.0 * n
    return stiffness, stress


def solved(
    case: tuple[float, float, float], fill: str, rim: str, solver: str, times: int
) -> tuple[float, np.ndarray]:
    """Best time for building and solving one membrane, and its displacement."""
    width, height, cell = case
    stiffness, stress = sheet_with_fill(round(width / cell), round(height / cell), fill)
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        membrane = Membrane(
            width,
            height,
            cell,
            stiffness,
            rim=SPRINGS if rim == "springs" else rim,
            solver=solver,
            tolerance=TOLERANCE[rim],
        )
        u = membrane.solve(stress)
        best = min(best, time.process_time() - start)
    return best, u


def memory(rim: str) -> str:
    """Peak memory of a fresh process for a hoop of 360 x 360 mm at 1 mm."""
    done = subprocess.run([sys.executable, __file__, rim], check=True, capture_output=True, text=True)
    return done.stdout.strip()


def large_hoop(rim: str) -> None:
    """Solve the large hoop and print this process's peak memory."""
    solved((360.0, 360.0, 1.0), "45 deg", rim, "cg", 1)
    status = Path("/proc/self/status")  # ru_maxrss would count the parent's memory too
    peak = [line for line in status.read_text().splitlines() if "VmHWM" in line] if status.exists() else []
    print(f"{int(peak[0].split()[1]) / 1024.0:.0f} MB" if peak else "not told by this system")


def main() -> None:
    """Run all cases."""
    print("   hoop mm  cell    fill      rim  SuperLU s     CG s  ratio  error")
    for case in CASES:
        for fill, rim in (
            ("none", "clamped"),
            ("along x", "clamped"),
            ("45 deg", "clamped"),
            ("45 deg", "free"),
            ("45 deg", "springs"),
        ):
            direct, exact = solved(case, fill, rim, "direct", 1 if case[0] > 150 else 3)
            quick, u = solved(case, fill, rim, "cg", 3)
            error = np.abs(u - exact).max() / np.abs(exact).max()
            print(
                f"{case[0]:>5.0f}x{case[1]:<4.0f} {case[2]:>5.1f} {fill:>7} {rim:>8} {direct:>10.3f}"
                f" {quick:>8.4f} {direct / quick:>6.1f} {error:>6.0e}",
                flush=True,
            )
    for rim in ("clamped", "free", "springs"):
        print(f"360 x 360 mm at 1 mm, {rim}: peak memory of a fresh process {memory(rim)}")


if __name__ == "__main__":
    large_hoop(sys.argv[1]) if len(sys.argv) > 1 else main()
