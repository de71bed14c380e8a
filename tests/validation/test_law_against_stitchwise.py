"""The law of one stitch on its grid, held to the stitch-by-stitch model on shapes that it was not fitted to.

Compared are what is drawn together, whole and since each stitch's own moment, at every row end and along
every column, and what drift adds to the gap at every station. The stitch-by-stitch model sews an unbounded
sheet; the hoop here is large enough that its rim takes 1-2 % off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from fit_stitch_law import by_stitch, on_grid, variants
from law_cases import RADIUS_MM, assemble, gaps, shortening
from law_shapes import SHAPES, STACKS

from analyzer.goods.types import Hoop
from analyzer.mechanics import Sewing, prepare
from analyzer.mechanics.law import StitchClass
from analyzer.mechanics.sequence import sew
from analyzer.mechanics.wanted import visible_share

HOOP = Hoop("200x200", 200.0, 200.0, "rectangle", "by hand")
SMALL_MM = 0.02  # what is smaller than this is not compared by ratio


@dataclass(frozen=True)
class Match:
    """One quantity: means over its places, and both values where the reference has its largest."""

    mean_mm: tuple[float, float]
    worst_mm: tuple[float, float]

    def within(self, mean: float, worst: float) -> bool:
        """Whether the law is as close as these shares of the reference."""
        (a, b), (c, d) = self.mean_mm, self.worst_mm
        return abs(b - a) <= max(mean * a, 0.5 * SMALL_MM) and abs(d - c) <= max(worst * c, SMALL_MM)

    def __str__(self) -> str:
        (a, b), (c, d) = self.mean_mm, self.worst_mm
        return f"mean {a:.3f} mm {100 * (b / a - 1):+.0f} %, worst {c:.3f} mm {100 * (d / c - 1):+.0f} %"


@cache
def laid_out(shape: str) -> tuple[Sewing, list]:
    parts, pairs = SHAPES[shape]()
    return prepare(*assemble(parts, pairs), HOOP), parts


def quantities(shape: str, moves: tuple[np.ndarray, np.ndarray], *, grid: bool) -> dict[str, np.ndarray]:
    """Everything that is compared, by name, each place by place.

    What shows of a satin on a ``grid`` is corrected for its pitch, as the loss of width of a column is.
    """
    laid, parts = laid_out(shape)
    whole, shown = (shortening(parts, each) for each in moves)
    found = {f"{name}, whole": values for name, values in whole.items()}
    for name, values in shown.items():
        part = parts[int(name.split()[0])]
        pitch = 2.0 * (part.spacing_mm or 0.0)
        factor = visible_share(pitch, RADIUS_MM) if grid and part.width_mm is not None else 1.0
        found[f"{name}, shown"] = factor * values
    return found | gaps(laid.regions, moves[1])


def compared(shape: str, stack: str, layout: str = "full") -> dict[str, Match]:
    laid, _ = laid_out(shape)
    membrane = STACKS[stack]
    reference = quantities(shape, by_stitch(laid, membrane), grid=False)
    sewn = sew(getattr(laid, layout), laid.stitches, variants(membrane), tolerance=1e-3)
    law = quantities(shape, on_grid(laid, sewn, layout), grid=True)
    result = {}
    for name, exact in reference.items():
        at = int(np.abs(exact).argmax())
        sign = np.sign(exact[at])
        result[name] = Match(
            (float(np.abs(exact).mean()), float(np.abs(law[name]).mean())),
            (float(sign * exact[at]), float(sign * law[name][at])),
        )
    return result


EVERY_DAY = (
    ("disc, rows at 30 degrees", "woven"),
    ("L of 20 mm", "12 kN/m"),
    ("satin 2.5 mm", "12 kN/m"),
    ("satin 7 mm", "woven"),
    ("square ring of rows", "12 kN/m"),
    ("disc, run last", "30 kN/m"),
    ("run, then square", "4 kN/m"),
    ("square, satin border", "12 kN/m"),
    ("fill against fill at row ends", "woven"),
)


def allowed(name: str) -> tuple[float, float]:
    """15 % on the mean and 25 % at the worst place, but for two things that cells of 2 mm do not resolve.

    What shows of a satin is largest on the first two millimetres of a column, and where columns meet at a
    corner; a gap is the difference of two drifts.
    """
    if name.endswith("satin, shown"):
        return 0.15, 0.5
    return (0.25, 0.3) if name.startswith("gap") else (0.15, 0.25)


@pytest.mark.parametrize(("shape", "stack"), EVERY_DAY)
def test_the_law_is_close(shape: str, stack: str) -> None:
    for name, match in compared(shape, stack).items():
        assert match.within(*allowed(name)), f"{name}: {match}"


@pytest.mark.long
@pytest.mark.parametrize("stack", STACKS)
@pytest.mark.parametrize("shape", SHAPES)
def test_the_law_is_close_on_every_shape(shape: str, stack: str) -> None:
    """The same; half as far again on the softest stack and on woven cloth, further where columns meet."""
    for name, match in compared(shape, stack).items():
        mean, worst = allowed(name)
        if stack in ("4 kN/m", "woven"):
            mean, worst = 1.5 * mean, 1.5 * worst
        if shape == "square ring of satin":
            worst = 1.0
        assert match.within(mean, worst), f"{name}: {match}"


@pytest.mark.long
@pytest.mark.parametrize("shape", SHAPES)
def test_the_coarse_layouts_are_not_far_off(shape: str) -> None:
    """Within 30 % on the mean: these screen, or lend the fine layout's nominal values their spread.

    The worst places of a satin, where a column begins, come out up to 2.8 times as large.
    """
    for layout in ("screen", "spread"):
        for name, match in compared(shape, "12 kN/m", layout).items():
            assert match.within(0.3, 1.8), f"{layout}, {name}: {match}"


def test_the_comparison_can_fail() -> None:
    """Negative control: the plain force F, without what the law adds to it, draws too little."""
    laid, _ = laid_out("disc, radius 8")
    membrane = STACKS["12 kN/m"]
    reference = quantities("disc, radius 8", by_stitch(laid, membrane), grid=False)["0 fill, shown"]
    plain = replace(laid.stitches, kind=np.full_like(laid.stitches.kind, StitchClass.SHORT))
    sewn = sew(laid.full, plain, variants(membrane), tolerance=1e-3)
    law = quantities("disc, radius 8", on_grid(laid, sewn, "full"), grid=True)["0 fill, shown"]
    match = Match((reference.mean(), law.mean()), (reference.max(), law[reference.argmax()]))
    assert not match.within(0.15, 0.25)
    assert law.mean() < 0.8 * reference.mean()
