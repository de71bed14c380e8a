"""The course of the sewing: how the cloth lies after so many penetrations, at nominal values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.arrays import Floats, Ints, frozen
from analyzer.goods import Stack
from analyzer.laid import Grid
from analyzer.mechanics.drift import drift
from analyzer.mechanics.respond import sew_nominal
from analyzer.mechanics.sewing import Sewing


@dataclass(frozen=True, slots=True)
class Course:
    """How the cloth moves while the design is sewn.

    ``sewn`` (s,) rises and ends with all penetrations; ``moved`` (s, ny+1, nx+1, 2) mm is the displacement of
    the nodes of ``grid`` after so many of them, since before the first.
    """

    grid: Grid
    sewn: Ints
    moved: Floats
    drift: Floats  #: (m, 2) mm, of each penetration from its own moment to the end
    beyond_range: bool

    def drift_after(self, step: int, points: Floats) -> Floats:
        """Return how far each penetration (m, 2), made at ``points``, has moved after ``step``, mm.

        From its own moment on, the cloth at a point moves by what it has moved after ``step`` less what it
        had moved at that moment; the latter is what it has moved at the end less its drift. Of what is not
        sewn yet the value means nothing.
        """
        return at_points(self.grid, self.moved[step] - self.moved[-1], points) + self.drift


def at_points(grid: Grid, nodal: Floats, points: Floats) -> Floats:
    """Return nodal values (ny+1, nx+1, 2) of ``grid`` at ``points`` (p, 2) mm, bilinearly."""
    where = (points - (grid.x0_mm, grid.y0_mm)) / grid.cell_mm
    cell = np.clip(where.astype(np.int64), 0, (grid.nx - 1, grid.ny - 1))
    x, y = (where - cell).T[:, :, None]
    ix, iy = cell.T
    below = (1.0 - x) * nodal[iy, ix] + x * nodal[iy, ix + 1]
    above = (1.0 - x) * nodal[iy + 1, ix] + x * nodal[iy + 1, ix + 1]
    result: Floats = (1.0 - y) * below + y * above
    return result


def course(sewing: Sewing, stack: Stack, *, most: int = 16) -> Course:
    """Sew the design once at nominal values and keep how the cloth lies after at most ``most`` steps.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    states, forming, beyond = sew_nominal(sewing, stack)
    layout, points = sewing.full, sewing.design.penetrations
    blocks = layout.blocks
    kept = np.unique(np.linspace(1, blocks.count, most).round().astype(np.int64))
    numbers = np.arange(len(points), dtype=np.int32)
    shape = (len(kept), layout.grid.ny + 1, layout.grid.nx + 1, 2)
    return Course(
        grid=layout.grid,
        sewn=frozen(np.searchsorted(blocks.block, kept).astype(np.int32)),
        moved=frozen(states[0, kept].reshape(shape)),
        drift=frozen(drift(layout, states, points, numbers, forming)[0]),
        beyond_range=beyond,
    )
