"""Stitches laid over one grid, block by block: ties, needle holes and loads, ready for the sequence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from analyzer.arrays import Bools, Floats, Ints, frozen
from analyzer.laid import Grid, clip
from analyzer.mechanics.blocks import Blocks
from analyzer.mechanics.lattice import Lattice
from analyzer.mechanics.law import Stitches
from analyzer.mechanics.readings import Readings, Sought, readings


@dataclass(frozen=True, slots=True)
class Layout:
    """One grid over the hoop and what each block of the sequence puts into its cells.

    Block k owns the rows ``start[k]:start[k + 1]`` of ``cell``, ``ties``, ``along`` and ``holes``.
    """

    grid: Grid
    lattice: Lattice
    free: Bools  #: (dofs,) degrees of freedom that the hoop does not hold
    blocks: Blocks
    start: Ints  #: (blocks + 1,)
    cell: Ints  #: (q,) flat cell index
    ties: Floats  #: (q, 3, 3) 1/mm: sum of l/A n(x)n(x)n(x)n in Voigt order; times EA0 it is D
    along: Floats  #: (q, 3) n(x)n of the main thread direction in the cell as a Voigt strain
    holes: Floats  #: (q,) penetrations per mm2
    loads: sparse.csc_matrix  #: (blocks * dofs, n): nodal forces in mN for a pull of 1 N in each stitch
    readings: Readings  #: where the wanted quantities are read

    @property
    def origin_mm(self) -> Floats:
        """Lower left corner of the grid."""
        return np.array([self.grid.x0_mm, self.grid.y0_mm])


def lay_out(
    a: Floats,
    b: Floats,
    ends_at: Ints,
    stitches: Stitches,
    penetrations: Floats,
    blocks: Blocks,
    grid: Grid,
    held: Bools,
    sought: Sought,
) -> Layout:
    """Clip the stitches from ``a`` to ``b`` (n, 2) mm against ``grid`` and gather them by block and cell."""
    lattice = Lattice(grid.nx, grid.ny, grid.cell_mm, grid.cell_mm)
    cells, area = grid.nx * grid.ny, lattice.cell_mm2
    block = blocks.block[ends_at].astype(np.int64)
    pieces = clip(a, b, grid)
    piece_key = block[pieces.stitch] * cells + pieces.cell
    hole_key = blocks.block.astype(np.int64) * cells + _cells(penetrations, grid)
    keys, where = np.unique(np.concatenate([piece_key, hole_key]), return_inverse=True)
    of_piece, of_hole = where[: len(piece_key)], where[len(piece_key) :]

    n = stitches.direction[pieces.stitch]
    thread = np.stack([n[:, 0] ** 2, n[:, 1] ** 2, n[:, 0] * n[:, 1]], axis=1)
    per_area = pieces.length_mm / area
    mean = np.stack([_sum(of_piece, per_area * t, len(keys)) for t in thread.T], axis=1)
    ties = np.zeros((len(keys), 3, 3))
    for i in range(3):
        for j in range(i, 3):
            ties[:, i, j] = ties[:, j, i] = _sum(of_piece, per_area * thread[:, i] * thread[:, j], len(keys))
    angle = 0.5 * np.arctan2(2.0 * mean[:, 2], mean[:, 0] - mean[:, 1])
    c, s = np.cos(angle), np.sin(angle)
    return Layout(
        grid=grid,
        lattice=lattice,
        free=frozen(np.repeat(~held.reshape(-1), 2)),
        blocks=blocks,
        start=frozen(np.searchsorted(keys // cells, np.arange(blocks.count + 1)).astype(np.int32)),
        cell=frozen((keys % cells).astype(np.int32)),
        ties=frozen(ties),
        along=frozen(np.stack([c * c, s * s, 2 * c * s], axis=1)),
        holes=frozen(_sum(of_hole, np.ones(len(of_hole)), len(keys)) / area),
        loads=_loads(a, b, stitches.direction, block, blocks.count, grid, lattice),
        readings=readings(sought, lattice, np.array([grid.x0_mm, grid.y0_mm]), blocks),
    )


def _sum(group: np.ndarray[tuple[int], np.dtype[np.intp]], values: Floats, size: int) -> Floats:
    """Sum ``values`` by ``group``."""
    return np.asarray(np.bincount(group, weights=values, minlength=size), dtype=np.float64)


def _cells(points: Floats, grid: Grid) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Flat index of the cell of each point; points outside count in the nearest cell."""
    at = np.floor((points - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm).astype(np.int64)
    at = np.clip(at, 0, (grid.nx - 1, grid.ny - 1))
    result: np.ndarray[tuple[int], np.dtype[np.int64]] = at[:, 1] * grid.nx + at[:, 0]
    return result


def _loads(
    a: Floats,
    b: Floats,
    direction: Floats,
    block: np.ndarray[tuple[int], np.dtype[np.int64]],
    blocks: int,
    grid: Grid,
    lattice: Lattice,
) -> sparse.csc_matrix:
    """Both ends of every stitch pulled towards each other, shared out bilinearly: the exact virtual work."""
    dofs, n = 2 * lattice.nodes, len(a)
    rows, values = [], []
    for end, sign in ((a, 1000.0), (b, -1000.0)):
        nodes, weights = lattice.weights(end - (grid.x0_mm, grid.y0_mm))
        for component in (0, 1):
            rows.append(block[:, None] * dofs + 2 * nodes + component)
            values.append(sign * weights * direction[:, component, None])
    entries, places = np.concatenate(values, axis=1), np.concatenate(rows, axis=1)
    starts = np.arange(n + 1) * entries.shape[1]
    shape = blocks * dofs, n
    return sparse.csc_matrix((entries.ravel(), places.ravel(), starts), shape=shape)
