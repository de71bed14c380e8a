"""A uniform grid of square cells. Arrays over it are indexed [row along y, column along x]."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Grid:
    """``ny`` by ``nx`` square cells of side ``cell_mm``; the lower left corner is ``(x0_mm, y0_mm)``."""

    x0_mm: float
    y0_mm: float
    cell_mm: float
    nx: int
    ny: int

    @property
    def shape(self) -> tuple[int, int]:
        """``(ny, nx)``."""
        return self.ny, self.nx

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """``(x0, x1, y0, y1)``, in the order that pictures want it."""
        return (
            self.x0_mm,
            self.x0_mm + self.nx * self.cell_mm,
            self.y0_mm,
            self.y0_mm + self.ny * self.cell_mm,
        )
