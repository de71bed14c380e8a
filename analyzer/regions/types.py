"""Regions: stretches of the stitch sequence that were digitized as one thing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analyzer.arrays import Floats, Ints


class RegionKind(StrEnum):
    """What a region is. ``UNDERLAY`` and ``TRAVEL`` together are the hidden class."""

    RUN = "run"
    SATIN = "satin"
    FILL = "fill"
    UNDERLAY = "underlay"
    TRAVEL = "travel"
    TIE = "tie"


@dataclass(frozen=True, slots=True)
class Region:
    """One region; ``first`` and ``last`` are penetration numbers, inclusive; stitch i ends at i."""

    id: int
    kind: RegionKind
    colour: int
    first: int
    last: int
    stitches: int
    row_spacing_mm: float | None  #: fill and satin: between neighbouring threads, centre to centre
    stitch_length_mm: float  #: median
    width_mm: float | None  #: satin: rail to rail, median
    direction_deg: float | None  #: of the rows (fill) or of the threads (satin), 0 <= d < 180
    passes: int  #: runs: how many times the same line is sewn (2 double, 3 triple)
    covers: tuple[int, ...]  #: ids of earlier regions that mostly lie under this one
    outline_of: tuple[int, ...]  #: ids of regions whose edge this one follows
    bbox_mm: tuple[float, float, float, float]  #: x0, y0, x1, y1


@dataclass(frozen=True, slots=True)
class OutlinePair:
    """An outline and the region that it borders, sampled at k stations about 0.5 mm apart along the outline.

    ``normal`` points out of the bordered region. ``meant_mm`` is the signed distance that the file itself
    leaves: from the border's edge (its penetrations) out to the near side of the outline (the line of a run,
    the near rail of a satin); + bare cloth, - overlap.
    """

    outline: int  #: region id
    borders: int  #: region id
    at: Floats  #: (k, 2) mm, points of the outline
    outline_stitch: Ints  #: (k,) penetration number of the stitch that holds the station
    edge: Floats  #: (k, 2) mm, the border's edge opposite
    edge_stitch: Ints  #: (k,) number of the penetration that makes the edge there
    normal: Floats  #: (k, 2) unit vectors
    meant_mm: Floats  #: (k,)


class UnderlayKind(StrEnum):
    """What underlay is, by where it runs."""

    CENTRE_RUN = "centre-run"  #: along the middle of a column
    EDGE_RUN = "edge-run"  #: along the edge, a little inside
    ZIG_ZAG = "zig-zag"  #: open, from side to side of a column
    CROSS = "cross"  #: open rows under a fill, in one direction
    CROSSED_ROWS = "crossed-rows"  #: open rows in two directions


@dataclass(frozen=True, slots=True)
class Base:
    """What lies under one fill or satin in its own thread."""

    region: int
    kinds: tuple[UnderlayKind, ...]  #: empty: no underlay that does an underlay's work
    by: tuple[int, ...]  #: ids of the hidden regions under it


@dataclass(frozen=True, slots=True)
class Lettering:
    """Satin letters in a line."""

    regions: tuple[int, ...]  #: ids of the columns
    height_mm: float  #: median of the letters, square to the line
    letters: int


@dataclass(frozen=True, slots=True)
class Applique:
    """A placement line, the tack-down and the satin that covers the edge of a piece of cloth."""

    placement: int
    tack_down: tuple[int, ...]
    cover: int
    stop_after_placement: bool  #: the machine halts, so that the piece can be laid
    stop_after_tack_down: bool  #: the machine halts, so that the piece can be cut
    covers: tuple[int, ...] = ()  #: all columns that cover the edge, ``cover`` being the largest


@dataclass(frozen=True, slots=True)
class Regions:
    """All regions of one design, in sewing order of their first stitch.

    ``region_of`` (m,) int32 gives the region id of the stitch that ends at each penetration; one that no
    thread joins to the one before belongs to the region that it begins.
    """

    items: tuple[Region, ...]
    region_of: Ints
    pairs: tuple[OutlinePair, ...]
    bases: tuple[Base, ...] = ()  #: of every fill and satin, in the order of their ids
    lettering: tuple[Lettering, ...] = ()
    appliques: tuple[Applique, ...] = ()
