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
class WeakLink:
    """The fewest threads by which one place of a piece hangs on its middle."""

    at: tuple[float, float]  #: middle of those threads, mm
    threads: int
    parted_share: float  #: share of the piece's thread that their loss parts from the rest


@dataclass(frozen=True, slots=True)
class Lace:
    """What holds the stitching together without any cloth; no pieces where that was not looked at."""

    pieces: int  #: parts that do not touch each other
    largest_share: float  #: share of the thread length in the largest part
    crossings: int
    loose_at: tuple[tuple[float, float], ...]  #: a point of each part but the largest, at most ten
    weak_links: tuple[WeakLink, ...] = ()  #: of the largest part, weakest first, at most ten


@dataclass(frozen=True, slots=True)
class Perforation:
    """A row of holes so close to each other that the cloth may tear along it."""

    at: tuple[float, float]  #: a hole in it, mm
    length_mm: float
    per_mm: float  #: holes on a millimetre of it


@dataclass(frozen=True, slots=True)
class Needling:
    """What the needle does to cloth and thread."""

    holes: int  #: places where it goes through, each once however often it is used
    near_share: float  #: share of them that are crowded: many others lie within a blade's width
    perforations: tuple[Perforation, ...]  #: longest first, at most twenty
    thread_ends: int  #: two for each thread between cuts
    ends_untied: int  #: of these, without a tie


NOTHING = Needling(0, 0.0, (), 0, 0)
"""No needle has gone through anything."""


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
    looks_like_lace: bool = False  #: from the file alone: much of it is meshes between threads
    layers_most: int = 0  #: most threads over a point (99.9th percentile of what is covered)
    needling: Needling = NOTHING


@dataclass(frozen=True, slots=True)
class Use:
    """Thread and time for one piece; the tuples go by colour block, ``colours_thread_m`` is upper thread."""

    thread_m: float
    bobbin_m: float
    minutes: float
    colours_thread_m: tuple[float, ...]
    colours_bobbin_m: tuple[float, ...] = ()
    colours_minutes: tuple[float, ...] = ()
