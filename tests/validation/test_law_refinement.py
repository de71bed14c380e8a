"""How far blocks of the sequence and cells of the grid decide what comes out."""

from __future__ import annotations

import numpy as np
import pytest
from fit_stitch_law import on_grid, variants
from law_cases import assemble, gaps, satin, sheet, shortening
from law_shapes import SHAPES

from analyzer.goods.types import Hoop
from analyzer.mechanics import prepare, sewing
from analyzer.mechanics.sequence import sew

HOOP = Hoop("100x100", 100.0, 100.0, "rectangle", "by hand")
STEPS_MM = (2.5, 1.5, 1.0)  # front progress of one block
CELLS_MM = (4.0, 2.0, 1.0)


def means(monkeypatch: pytest.MonkeyPatch, shape: str, cell_mm: float, step_mm: float) -> dict[str, float]:
    """Mean visible shortening of the first part and mean gap, mm, on backed cloth."""
    monkeypatch.setattr(sewing, "FULL_CELL_MM", cell_mm)
    monkeypatch.setattr(sewing, "FULL_STEP_MM", step_mm)
    monkeypatch.setattr(sewing, "FULL_CELLS", 100_000)
    monkeypatch.setattr(sewing, "FULL_BLOCKS", 400)
    parts, pairs = ([satin(4.0, 20.0)], ()) if shape == "satin 4 mm" else SHAPES[shape]()
    laid = prepare(*assemble(parts, pairs), HOOP)
    membrane = sheet(12.0)
    sewn = sew(laid.full, laid.stitches, variants(membrane), tolerance=1e-3)
    whole, drift = on_grid(laid, sewn, "full")
    found = {
        "whole": float(np.abs(next(iter(shortening(parts, whole).values()))).mean()),
        "shown": float(np.abs(next(iter(shortening(parts, drift).values()))).mean()),
    }
    for values in gaps(laid.regions, drift).values():
        found["gap"] = float(np.abs(values).mean())
    return found


@pytest.mark.parametrize("shape", ["disc, run last", "satin 4 mm"])
def test_blocks_of_1_to_2_5_mm_agree(monkeypatch, shape):
    """Within 12 % of each other; blocks of 8 mm, two or three in all, within 30 %."""
    found = [means(monkeypatch, shape, 2.0, step) for step in STEPS_MM]
    long = means(monkeypatch, shape, 2.0, 8.0)
    for name in found[0]:
        values = [each[name] for each in found]
        assert max(values) < 1.12 * min(values), name
        assert long[name] == pytest.approx(values[-1], rel=0.3), name


@pytest.mark.long
@pytest.mark.parametrize("shape", ["disc, run last", "satin 4 mm"])
def test_cells_of_4_2_and_1_mm_agree(monkeypatch, shape):
    """Within 20 % of each other: the law's own spreading over a cell is in the coefficients."""
    found = [means(monkeypatch, shape, cell, 2.0) for cell in CELLS_MM]
    for name in found[0]:
        values = [each[name] for each in found]
        assert max(values) < 1.2 * min(values), name
