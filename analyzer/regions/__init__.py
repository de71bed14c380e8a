"""Cutting the bare stitch sequence into regions: what each stretch is, what it covers, what it outlines.

:func:`cut` takes a design and returns its :class:`Regions`. Everything is found from the geometry of the
stitches alone: files hold no objects, and often no trims or colours either.
"""

from analyzer.regions.cutting import cut
from analyzer.regions.shapes import Edges
from analyzer.regions.types import (
    Applique,
    Base,
    Lettering,
    OutlinePair,
    Region,
    RegionKind,
    Regions,
    UnderlayKind,
)

__all__ = [
    "Applique",
    "Base",
    "Edges",
    "Lettering",
    "OutlinePair",
    "Region",
    "RegionKind",
    "Regions",
    "UnderlayKind",
    "cut",
]
