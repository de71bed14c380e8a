"""What the mechanics hands on."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analyzer.arrays import Floats
from analyzer.laid import Grid


@dataclass(frozen=True, slots=True)
class PullIn:
    """Nominal movement of the cloth under the whole design."""

    max_mm: float  #: largest displacement of stitched cloth since before stitching
    visible_mm: float  #: largest drift of a stitch since its own moment
    at: tuple[float, float]  #: where the largest visible drift is
    along_mm: float  #: shortening of the stitched extent along the main stitch direction, both sides together
    across_mm: float  #: the same across it (negative: it spreads)
    reach_mm: float  #: how far from the stitching the cloth still moves by a tenth of max_mm
    strain_p95: float  #: 95th percentile over stitched cells of the strain averaged over a few mm
    beyond_range: bool


@dataclass(frozen=True, slots=True)
class GapDraws:
    """One outline against one border, at k stations: as meant, nominal, and over n draws."""

    outline: int
    borders: int
    at: Floats  #: (k, 2) mm
    normal: Floats  #: (k, 2)
    station_mm: float  #: distance between stations
    meant_mm: Floats  #: (k,)
    nominal_mm: Floats  #: (k,)
    draws_mm: Floats  #: (n, k)


@dataclass(frozen=True, slots=True)
class ColumnDraws:
    """Loss of width of one satin column, play included, over n draws."""

    region: int
    width_mm: float  #: in the file
    nominal_mm: float
    draws_mm: Floats  #: (n,)


@dataclass(frozen=True, slots=True)
class PuckerDraws:
    """Amplitude of the wave that must take up the excess cloth, after unhooping, over n draws."""

    nominal_mm: float
    draws_mm: Floats  #: (n,)
    at: tuple[float, float]
    slack_n_per_m: float = 0.0  #: compression beside the stitching beyond the hooping tension, while hooped


@dataclass(frozen=True, slots=True)
class Unhooped:
    """How the sewn places move when the work is unhooped and finished, nominally; shift and turn left out."""

    moved_mm: float  #: largest move of a place against the others
    at: tuple[float, float]
    along_mm: float  #: shortening of the stitched extent along the main stitch direction
    across_mm: float  #: the same across it (negative: it spreads)


@dataclass(frozen=True, slots=True)
class Response:
    """How one stack answers one design's stitching."""

    grid: Grid  #: cells of the nominal solve
    displacement: Floats  #: (ny+1, nx+1, 2) mm at its nodes, at the end, hooped
    drift: Floats  #: (m, 2) mm, of each penetration from its own moment to the end
    strain: Floats  #: (ny, nx) largest principal contraction of each cell, positive number
    pull_in: PullIn
    gaps: tuple[GapDraws, ...]
    columns: tuple[ColumnDraws, ...]
    pucker: PuckerDraws
    mostly_from: tuple[str, ...]  #: parameters that the worst gap depends on most, first first
    solves: int  #: whole sequences solved
    unhooped: Unhooped | None = None  #: None where it is not computed: lace that does not hold together
    common: Floats = field(
        default_factory=lambda: np.ones(1)
    )  #: (n,) draws of gaps and columns together, over nominal
