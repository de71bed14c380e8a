"""Pieces of backing that cover only part of the hoop: a floated sheet has no stiffness outside itself."""

from __future__ import annotations

import numpy as np

from analyzer.arrays import Floats
from analyzer.laid import Grid


def cover(
    grid: Grid, sheet_mm: tuple[float, float] | None, at_mm: tuple[float, float] = (0.0, 0.0)
) -> Floats:
    """Share of each cell (cells,) that a piece of ``sheet_mm`` (width, height) covers.

    Its middle lies ``at_mm`` from the grid's.

    Exact: the product of the overlaps along x and y. None covers everything.
    """
    if sheet_mm is None:
        return np.ones(grid.nx * grid.ny)
    across, up = (
        _overlap(count, grid.cell_mm, side, at)
        for count, side, at in zip((grid.nx, grid.ny), sheet_mm, at_mm, strict=True)
    )
    share: Floats = (up[:, None] * across[None, :]).reshape(-1)
    return share


def _overlap(count: int, cell_mm: float, side_mm: float, at_mm: float) -> Floats:
    """Share of each of ``count`` cells in a row within ``side_mm`` about ``at_mm`` from the row's middle."""
    edges = (np.arange(count + 1) - 0.5 * count) * cell_mm - at_mm
    inside = np.clip(edges, -0.5 * side_mm, 0.5 * side_mm)
    result: Floats = np.diff(inside) / cell_mm
    return result
