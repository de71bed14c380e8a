"""The one kernel that lays thread on a grid: used for density, coverage and stiffness alike."""

from analyzer.laid.grid import Grid

__all__ = ["Grid"]
