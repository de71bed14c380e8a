"""What is measured of the stitches as they lie on the cloth, before any mechanics."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.arrays import Bytes, Floats
from analyzer.laid import Grid


@dataclass(frozen=True, slots=True)
class Field:
    """One quantity over a grid: ``values`` (ny, nx) in ``unit``."""

    grid: Grid
    values: Floats
    unit: str


@dataclass(frozen=True, slots=True)
class CoverRaster:
    """How many threads lie on each point: ``threads`` (ny, nx) uint8 on a fine grid."""

    grid: Grid
    threads: Bytes


@dataclass(frozen=True, slots=True)
class RegionCover:
    """Measures of one region by itself."""

    region: int
    area_mm2: float  #: ground that the region takes up: its coverage closed over its own row spacing
    thread_mm_per_mm2: float
    penetrations_per_mm2: float
    coverage: float  #: covered share of that area
    layers_max: (
        int  #: most threads over a point, all regions counted, inside this one's area (99.5th percentile)
    )


@dataclass(frozen=True, slots=True)
class Void:
    """An uncovered place that stitching encloses, or a gap that opens to the outside."""

    area_mm2: float
    at: tuple[float, float]  #: centre of the largest inscribed circle, mm
    radius_mm: float  #: of that circle
    meant: bool  #: probably
    open: bool = False  #: to the outside


@dataclass(frozen=True, slots=True)
class Lace:
    """What holds the stitching together without any cloth."""

    pieces: int  #: parts that do not touch each other
    largest_share: float  #: share of the thread length in the largest part
    crossings: int
    loose_at: tuple[tuple[float, float], ...]  #: a point of each part but the largest, at most ten


@dataclass(frozen=True, slots=True)
class Cover:
    """Density, coverage and voids of the whole design."""

    stitched_mm2: float
    covered_mm2: float
    coverage: float
    thread_width_mm: float
    resolution_mm: float
    voids: tuple[Void, ...]
    regions: tuple[RegionCover, ...]  #: parallel to Regions.items
    density: Field  #: thread mm per mm2, 1 mm cells
    penetrations: Field  #: penetrations per mm2, 1 mm cells
    raster: CoverRaster
    lace: Lace


@dataclass(frozen=True, slots=True)
class Use:
    """Thread and time for one piece; ``colours_thread_m`` is upper thread by colour block."""

    thread_m: float
    bobbin_m: float
    minutes: float
    colours_thread_m: tuple[float, ...]
