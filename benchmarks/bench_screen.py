"""Measures how far a scan's screen on three goods is from sewing each on the fine grid over all draws.

Run from the checkout: ``python benchmarks/bench_screen.py [DESIGNS]``. Designs are those of
``bench_library.py`` under 12,000 stitches. Printed for each goods: how often the outcome is another than on
the same stack in full, and another than that of check, which searches for a stack of its own; how far
the chance of missing a limit is off; how far each outline's gap is off where it is worst, in mm and over the
range from the 5th to the 95th percentile; the loss of width of columns over theirs; and the wave of puckers.
Medians and 95th percentiles.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field

import numpy as np
from bench_library import designs

from analyzer import cloth, findings, goods, mechanics, pipeline
from analyzer.arrays import Floats
from analyzer.design import Design
from analyzer.findings import Evidence
from analyzer.formats import read_bytes
from analyzer.job import Job
from analyzer.library.screening import Measured, Screened, draws_of_a_screen, screen_verdict, screened
from analyzer.regions import Edges, cut

_GOODS = ("poplin", "jersey", "terry")
_MOST_STITCHES = 12_000


@dataclass
class Off:
    """How far a screen is off on one goods."""

    outcomes: int = 0
    from_check: int = 0
    designs: int = 0
    chance: list[float] = field(default_factory=list)
    gap_mm: list[float] = field(default_factory=list)
    gap_of_range: list[float] = field(default_factory=list)
    column_of_range: list[float] = field(default_factory=list)
    pucker_mm: list[float] = field(default_factory=list)

    def take(self, quick: Screened, full: Screened, checked: str) -> None:
        """Take in one design, and the outcome that check gives."""
        self.designs += 1
        self.from_check += quick.verdict.outcome != checked
        self.outcomes += quick.verdict.outcome != full.verdict.outcome
        self.chance.append(abs(quick.verdict.chance - full.verdict.chance))
        self.pucker_mm.append(abs(quick.verdict.pucker_mm - full.verdict.pucker_mm))
        for one, other in zip(quick.response.gaps, full.response.gaps, strict=True):
            worst = int(np.abs(other.nominal_mm - other.meant_mm).argmax())
            off = abs(one.nominal_mm[worst] - other.nominal_mm[worst])
            self.gap_mm.append(off)
            self.gap_of_range.append(off / _range(other.draws_mm[:, worst]))
        for own, theirs in zip(quick.response.columns, full.response.columns, strict=True):
            self.column_of_range.append(abs(own.nominal_mm - theirs.nominal_mm) / _range(theirs.draws_mm))


def _range(drawn: Floats) -> float:
    low, high = np.percentile(drawn, (5, 95))
    return max(float(high - low), 0.02)


def compare(design: Design, off: dict[str, Off]) -> None:
    """Screen one design, and sew it in full on each goods."""
    regions = cut(design, Edges())
    setups = [goods.resolve(Job(goods=name), name, design.size_mm) for name in _GOODS]
    thread = setups[0].thread.laid_width_mm.value
    cover = cloth.measure(design, regions, thread_width_mm=thread, lace=False)
    use = cloth.use(design, thickness_mm=setups[0].cloth.sewn_thickness_mm, speed_spm=setups[0].speed_spm)
    fine = mechanics.prepare(design, regions, setups[0].hoop)
    of = Measured(design, regions, cover, use)
    for setup, quick in zip(setups, screened(of, setups), strict=True):
        choice = quick.choice
        stack = goods.build_stack(setup, choice)
        response = mechanics.respond(fine, stack, draws_of_a_screen())
        found = findings.judge(Evidence(design, regions, cover, use, setup, stack, response, choice))
        full = Screened(screen_verdict(of, setup, choice, found, response), choice, response)
        checked = pipeline.check(design, Job(goods=setup.cloth.name), changes=False).plan
        off[setup.cloth.name].take(quick, full, checked.outcome if checked else "")


def main() -> None:
    """Print a line for each goods."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    off = {name: Off() for name in _GOODS}
    for content in designs(count):
        design = read_bytes("a.exp", content)
        if design.stitches < _MOST_STITCHES:
            compare(design, off)
    print(
        "goods   designs  other outcome   than check     chance       gap mm       of range     "
        "column/range  pucker mm"
    )
    for name, one in off.items():
        lists = (one.chance, one.gap_mm, one.gap_of_range, one.column_of_range, one.pucker_mm)
        cells = (
            " ".join(f"{value:5.2f}" for value in np.percentile(values or [0.0], (50, 95)))
            for values in lists
        )
        print(f"{name:8s}{one.designs:6d} {one.outcomes:11d} {one.from_check:11d}     " + "  ".join(cells))


if __name__ == "__main__":
    main()
