"""The one kernel that lays thread on a grid: used for density, coverage and stiffness alike.

:func:`clip` cuts stitches exactly at the lines of a grid (thread length in each cell); :func:`lay` counts the
threads of a given width over each point of a fine grid (coverage and layers). Both know arrays only.
"""

from analyzer.laid.clip import Clipped, clip
from analyzer.laid.grid import Grid
from analyzer.laid.lay import lay, lay_apart, lay_twice

__all__ = ["Clipped", "Grid", "clip", "lay", "lay_apart", "lay_twice"]
