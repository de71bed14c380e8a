"""Places that hold too much of something, for thread-pile-up and needle-crowding."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter

from analyzer.arrays import Bools, Floats
from analyzer.cloth.types import Field
from analyzer.findings.evidence import Evidence, regions_of

WINDOW_MM = 3.0  #: side of the square over which density is averaged, so that a tie alone does not count


def averaged(field: Field) -> Floats:
    """Return ``field`` (ny, nx) averaged over squares of 3 by 3 mm; nothing lies outside the grid."""
    size = max(1, round(WINDOW_MM / field.grid.cell_mm))
    result: Floats = uniform_filter(field.values.astype(np.float64), size=size, mode="constant")
    return result


def places_mm(field: Field, mask: Bools) -> Floats:
    """Return the middles (n, 2) mm of the cells where ``mask`` (ny, nx) holds."""
    rows, columns = np.nonzero(mask)
    grid = field.grid
    return np.column_stack(
        [grid.x0_mm + (columns + 0.5) * grid.cell_mm, grid.y0_mm + (rows + 0.5) * grid.cell_mm]
    )


def regions_in(evidence: Evidence, field: Field, mask: Bools) -> tuple[int, ...]:
    """Return the ids of the regions, ties left out, with a penetration in a cell of ``mask`` (ny, nx)."""
    grid = field.grid
    cells = np.floor((evidence.design.penetrations - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(
        np.int64
    )
    columns, rows = cells.T
    inside = (columns >= 0) & (columns < grid.nx) & (rows >= 0) & (rows < grid.ny)
    chosen = np.zeros(len(cells), dtype=np.bool_)
    chosen[inside] = mask[rows[inside], columns[inside]]
    return regions_of(evidence, chosen)
