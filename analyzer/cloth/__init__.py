"""Measures of the stitches as they lie on the cloth, and what sewing them uses.

:func:`measure` gives density, coverage, layers, voids and the lace network; :func:`use` gives thread and
time; :func:`on_cloth` tells which stitches lie on the cloth and which are floats. Nothing moves here.
"""

from analyzer.cloth.measure import RESOLUTION_MM, measure
from analyzer.cloth.threads import on_cloth
from analyzer.cloth.types import (
    Cover,
    CoverRaster,
    Field,
    Lace,
    Needling,
    Perforation,
    RegionCover,
    Use,
    Void,
    WeakLink,
)
from analyzer.cloth.use import lockstitch, use

__all__ = [
    "RESOLUTION_MM",
    "Cover",
    "CoverRaster",
    "Field",
    "Lace",
    "Needling",
    "Perforation",
    "RegionCover",
    "Use",
    "Void",
    "WeakLink",
    "lockstitch",
    "measure",
    "on_cloth",
    "use",
]
