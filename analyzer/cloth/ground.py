"""The fine raster under a design, and the ground that a set of threads takes up on it."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from analyzer.arrays import Bools, Floats
from analyzer.laid import Grid, lay

#: The raster's origin lies off the penetrations' lattice by these parts of a pixel, so that rows do not all
#: fall on pixel centres at once.
_FRACTION = (0.382, 0.236)
_MOST_PIXELS = 20_000_000  #: 400 by 400 mm at the usual pitch


def fine_grid(low: Floats, high: Floats, margin_mm: float, pitch_mm: float) -> Grid:
    """Return a grid over the box ``low`` to ``high``, (2,) mm each, and ``margin_mm`` around it.

    It is tied to the box, so that moving a design moves its raster along. The pitch is coarsened where the
    grid would hold more than twenty million pixels.
    """
    width, height = (high - low) + 2.0 * margin_mm
    pitch = max(pitch_mm, math.sqrt(width * height / _MOST_PIXELS))
    return Grid(
        x0_mm=float(low[0] - margin_mm - _FRACTION[0] * pitch),
        y0_mm=float(low[1] - margin_mm - _FRACTION[1] * pitch),
        cell_mm=pitch,
        nx=math.ceil(width / pitch) + 1,
        ny=math.ceil(height / pitch) + 1,
    )


def window(grid: Grid, low: Floats, high: Floats, margin_mm: float) -> tuple[slice, slice, Grid]:
    """Return the rows, the columns and the part of ``grid`` that hold the box and ``margin_mm`` around it."""
    origin = np.array([grid.x0_mm, grid.y0_mm])
    size = np.array([grid.nx, grid.ny])
    first = np.clip(np.floor((low - margin_mm - origin) / grid.cell_mm), 0, size - 1).astype(int)
    last = np.clip(np.ceil((high + margin_mm - origin) / grid.cell_mm), first + 1, size).astype(int)
    corner = origin + first * grid.cell_mm
    part = Grid(float(corner[0]), float(corner[1]), grid.cell_mm, *(last - first).tolist())
    return slice(first[1], last[1]), slice(first[0], last[0]), part


def closed(a: Floats, b: Floats, width_mm: float, radius_mm: float, grid: Grid) -> tuple[Bools, Bools]:
    """Return what threads cover and the ground that they take up, (ny, nx) each.

    The ground is the morphological closing of the threads by a disc. Threads grown by a disc are wider
    threads; what is then taken back are the points within the radius of bare pixels, which are laid as dots.
    Bare pixels stand up to a pixel off the edge, so the radius is taken half a pixel longer; at the outer
    edge the threads themselves decide.
    """
    covered = lay(a, b, width_mm, grid) > 0
    if radius_mm <= 0.0:
        return covered, covered
    grown = lay(a, b, width_mm + 2.0 * radius_mm, grid) > 0
    rows, columns = np.nonzero(rim(grown))
    dots = centres(grid, rows, columns)
    taken_back = lay(dots, dots, 2.0 * radius_mm + grid.cell_mm, grid) > 0
    return covered, covered | (grown & ~taken_back)


def rim(mask: Bools) -> Bools:
    """Return the pixels outside ``mask`` (ny, nx) that share a side with one inside."""
    beside = np.zeros_like(mask)
    beside[1:] |= mask[:-1]
    beside[:-1] |= mask[1:]
    beside[:, 1:] |= mask[:, :-1]
    beside[:, :-1] |= mask[:, 1:]
    return beside & ~mask


def centres(grid: Grid, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> Floats:
    """Return the centres of pixels, (k, 2) mm."""
    x = grid.x0_mm + (columns + 0.5) * grid.cell_mm
    y = grid.y0_mm + (rows + 0.5) * grid.cell_mm
    return np.stack([x, y], axis=1)
