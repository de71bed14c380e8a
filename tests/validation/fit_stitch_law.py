"""Fit the law of one stitch to the stitch-by-stitch model and write it into the table.

Run by hand (some minutes): ``python tests/validation/fit_stitch_law.py``, or with ``--look`` to write
nothing. Only straight fills and columns on isotropic sheets are fitted to. Discs, L shapes, rings, outlines,
neighbours and woven sheets are kept apart: ``test_law_against_stitchwise.py`` holds the law to them.

For every case the sequence is sewn once with the plain force, on the grids and in the blocks that are used;
as all is linear in the force, that tells by which factor each stitch has to pull harder, for what is drawn
together whole and for what of it shows. The formulas of ``law.py`` are fitted to the logarithms of those
factors by least squares, all coefficients at once.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
from law_cases import RADIUS_MM, STIFFNESS_N, Part, assemble, fill, moved, rectangle, satin, sheet, shortening
from scipy.optimize import least_squares

from analyzer.goods.constants import constants
from analyzer.goods.types import Hoop
from analyzer.mechanics import Sewing, prepare, sewing
from analyzer.mechanics.drift import drift, end_displacement
from analyzer.mechanics.law import Pull, StitchClass, compliance
from analyzer.mechanics.sequence import Sewn, Variants, sew
from analyzer.mechanics.stitchwise import Thread, sew_out

TABLE = Path(__file__).parents[2] / "analyzer" / "goods" / "data" / "stitch_law.toml"
HOOP = Hoop("160x160", 160.0, 160.0, "rectangle", "by hand")
FORCE_N = 0.5
SHEETS = (3.0, 7.0, 16.0, 40.0)  # kN/m
#: stitch length, row spacing, width and height of a rectangle, mm
FILLS = (
    (3.5, 0.4, 16, 16),
    (2.5, 0.4, 16, 16),
    (5.0, 0.4, 20, 14),
    (3.5, 0.6, 20, 14),
    (3.5, 0.3, 12, 14),
    (2.0, 0.5, 12, 12),
    (4.0, 0.8, 24, 20),
    (3.5, 0.4, 10, 20),
)
#: width and spacing from thread to thread of a column, mm
COLUMNS = ((1.0, 0.2), (1.5, 0.2), (2.0, 0.2), (3.0, 0.2), (4.0, 0.2), (5.5, 0.2), (8.0, 0.2))
COLUMNS += ((3.0, 0.3), (6.0, 0.3), (2.0, 0.15), (5.0, 0.15))
#: where on the grid a column lies, mm, and how it is turned, degrees
PLACES = ((0.13, 0.17, 0.0), (1.1, 0.8, 0.0), (0.6, 0.9, 35.0))
SLIPPED = 0.2  # share of the pull left at locking, for the shares that do not slip back
#: weight of each layout: only what the fine one gives is shown as it is, the others lend their spread
WEIGHTS = {"full": 1.0, "screen": 0.4, "spread": 0.1}


def variants(membrane: np.ndarray, share: float = 1.0) -> Variants:
    """One sheet without needle holes."""
    pull = Pull(membrane[None], np.array([STIFFNESS_N]), np.array([share]), FORCE_N, RADIUS_MM)
    return Variants(membrane[None, None], np.zeros((1, 1)), pull)


def by_stitch(laid: Sewing, membrane: np.ndarray, share: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Displacement and drift (m, 2) of all penetrations by the stitch-by-stitch model."""
    out = sew_out(
        laid.design.penetrations,
        laid.loaded,
        membrane,
        radius_mm=RADIUS_MM,
        thread=Thread(STIFFNESS_N, FORCE_N),
        lock_share=share,
    )
    return out.displacement, out.drift


def on_grid(laid: Sewing, sewn: Sewn, layout: str) -> tuple[np.ndarray, np.ndarray]:
    """Displacement and drift (m, 2) of all penetrations by the law on one of the layouts."""
    grid, points = getattr(laid, layout), laid.design.penetrations
    numbers = np.arange(len(points), dtype=np.int32)
    return (
        end_displacement(grid, sewn.states, points)[0],
        drift(grid, sewn.states, points, numbers, sewn.forming)[0],
    )


@dataclass(frozen=True)
class Sample:
    """One case on one layout: factors that the plain force needs, as logarithms."""

    satin: bool
    length_mm: float
    spacing_mm: float
    cell_mm: float
    askew: float  # sin^2 of twice the angle to the grid
    give_mm: float  # y
    weight: float
    whole: float
    shown_soft: float  # where all movement within a block follows the ties as they form
    shown_even: float  # where it goes evenly
    kept: float  # of the pull that slips back, the share that does not


def samples(part: Part, places: tuple[tuple[float, float, float], ...]) -> list[Sample]:
    """Sew one part on all sheets and layouts."""
    result = []
    for (dx, dy, degrees), eh in product(places, SHEETS):
        turned = moved(part, 0.0, 0.0, degrees)
        sewing._SHIFT_MM = np.array([dx, dy])
        laid = prepare(*assemble([turned]), HOOP)
        membrane = sheet(eh)
        numbers = np.arange(len(laid.design.penetrations), dtype=np.int32)

        def mean(moves: np.ndarray, turned: Part = turned) -> float:
            return float(next(iter(shortening([turned], moves).values())).mean())

        whole, shown = (mean(each) for each in by_stitch(laid, membrane))
        slipped = mean(by_stitch(laid, membrane, SLIPPED)[0])
        plain = replace(laid.stitches, kind=np.full_like(laid.stitches.kind, StitchClass.SHORT))
        for name, weight in WEIGHTS.items():
            layout = getattr(laid, name)
            sewn = sew(layout, plain, variants(membrane), tolerance=1e-3)
            u, mixed = on_grid(laid, sewn, name)
            even = drift(layout, sewn.states, laid.design.penetrations, numbers)[0]
            soft = even + (mixed - even) / constants("stitch_law")["forming_share"].value
            result.append(
                Sample(
                    satin=part.width_mm is not None,
                    length_mm=part.width_mm or part.length_mm,
                    spacing_mm=part.spacing_mm or 0.0,
                    cell_mm=layout.grid.cell_mm,
                    askew=float(np.sin(2.0 * np.radians(degrees)) ** 2),
                    give_mm=float(compliance(membrane[None])[0, 0, 0]) * STIFFNESS_N,
                    weight=weight * (0.5 if eh < 4.0 else 1.0) * (0.5 if part.length_mm < 1.4 else 1.0),
                    whole=float(np.log(whole / mean(u))),
                    shown_soft=float(np.log(shown / mean(soft))),
                    shown_even=float(np.log(shown / mean(even))),
                    kept=(slipped / whole - SLIPPED) / (1.0 - SLIPPED),
                )
            )
    return result


def column(found: list[Sample], name: str) -> np.ndarray:
    return np.array([getattr(one, name) for one in found])


def fill_factor(c: dict[str, float], found: list[Sample]) -> np.ndarray:
    y, length, spacing = (column(found, name) for name in ("give_mm", "length_mm", "spacing_mm"))
    reach = c["fill_reach"] * length / RADIUS_MM * (y / spacing) ** c["fill_spacing_exponent"]
    return 1.0 + c["fill_gain"] * (y / length) ** c["fill_power"] * np.log1p(reach)


def satin_factor(c: dict[str, float], found: list[Sample]) -> np.ndarray:
    y, length, cell, askew = (column(found, n) for n in ("give_mm", "length_mm", "cell_mm", "askew"))
    held = c["satin_cell"] * cell / length * (1.0 - c["satin_askew"] * askew)
    gain = c["satin_gain"] * (y / length) ** c["satin_power"]
    return (1.0 + held) * (1.0 + gain * np.log1p(length / RADIUS_MM))


def shown(c: dict[str, float], found: list[Sample]) -> np.ndarray:
    """Logarithm of the factor needed for what shows, by how much of a block follows its ties."""
    share = c["forming_share"]
    soft, even = (np.exp(-column(found, name)) for name in ("shown_soft", "shown_even"))
    return -np.log(share * soft + (1.0 - share) * even)


def fit(fills: list[Sample], columns: list[Sample]) -> dict[str, float]:
    """Return all coefficients."""
    first = {
        "fill_gain": 0.74,
        "fill_power": 0.81,
        "fill_reach": 0.68,
        "fill_spacing_exponent": -0.2,
        "satin_gain": 0.54,
        "satin_power": 0.76,
        "satin_cell": 0.19,
        "satin_askew": 0.87,
        "satin_visible": 1.0,
        "satin_visible_exponent": 0.39,
        "forming_share": 0.7,
    }

    def misses(values: np.ndarray) -> np.ndarray:
        c = dict(zip(first, values, strict=True))
        parts = []
        for found, factor in ((fills, fill_factor), (columns, satin_factor)):
            amp, weight = np.log(factor(c, found)), column(found, "weight")
            pitch = 2.0 * column(found, "spacing_mm") / RADIUS_MM
            more = np.log(c["satin_visible"]) + c["satin_visible_exponent"] * np.log(pitch)
            visible = more if factor is satin_factor else 0.0
            parts += [1.4 * weight * (amp - column(found, "whole"))]
            parts += [weight * (amp + visible - shown(c, found))]
        return np.concatenate(parts)

    done = least_squares(misses, list(first.values()))
    c = {name: float(value) for name, value in zip(first, done.x, strict=True)}
    for kind, found, factor in (("fill", fills, fill_factor), ("satin", columns, satin_factor)):
        amp = factor(c, found)
        extra, kept = (amp - 1.0) / amp, column(found, "kept")
        below = kept < 0.8  # where the largest share does not yet hold
        c[f"{kind}_rigid"] = float(np.sum(extra[below] * kept[below]) / np.sum(extra[below] ** 2))
    return c


def report(c: dict[str, float], fills: list[Sample], columns: list[Sample]) -> str:
    """Root mean square of what is left, on each layout."""
    lines = [f"{name} = {value:.4g}" for name, value in c.items()]
    for kind, found, factor in (("fill", fills, fill_factor), ("satin", columns, satin_factor)):
        amp, cells = np.log(factor(c, found)), column(found, "weight")
        pitch = 2.0 * column(found, "spacing_mm") / RADIUS_MM
        visible = (
            np.log(c["satin_visible"] * pitch ** c["satin_visible_exponent"]) if kind == "satin" else 0.0
        )
        for i, name in enumerate(WEIGHTS):
            own = slice(i, None, len(WEIGHTS))
            whole = (amp - column(found, "whole"))[own]
            seen = (amp + visible - shown(c, found))[own]
            rms = [100.0 * np.sqrt(np.mean(each[cells[own] > 0] ** 2)) for each in (whole, seen)]
            lines.append(f"{kind}, {name}: rms {rms[0]:.1f} % of the whole, {rms[1]:.1f} % of what shows")
    return "\n".join(lines)


def write(c: dict[str, float]) -> None:
    """Put the coefficients into the table, each with 15 % on both sides."""
    text = TABLE.read_text(encoding="utf-8")
    for name, value in c.items():
        low, high = sorted((0.85 * value, 1.15 * value))
        entry = rf"(\[{name}\]\nvalue = ).*(\nlow = ).*(\nhigh = ).*"
        text, count = re.subn(entry, rf"\g<1>{value:.4g}\g<2>{low:.4g}\g<3>{high:.4g}", text)
        if count != 1:
            raise LookupError(f"{TABLE.name} has {count} entries named {name}")
    TABLE.write_text(text, encoding="utf-8", newline="\n")


def main() -> None:
    fills, columns = [], []
    for number, (length, spacing, width, height) in enumerate(FILLS):
        part = fill(rectangle(width, height, spacing, length), spacing, length)
        fills += samples(part, ((0.9, 1.2, 20.0),) if number % 2 else ((0.13, 0.17, 0.0),))
    for width, spacing in COLUMNS:
        columns += samples(satin(width, 16.0, spacing), PLACES)
    found = fit(fills, columns)
    sys.stdout.write(report(found, fills, columns) + "\n")
    if "--look" not in sys.argv:
        write(found)


if __name__ == "__main__":
    main()
