"""Findings and the verdicts on gaps and pucker."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How much a finding matters; how likely it is stands apart, in ``chance``."""

    NOTE = "note"
    CAUTION = "caution"
    FAULT = "fault"


@dataclass(frozen=True, slots=True)
class Finding:
    """One problem, with place, size, limit, chance, cause and what to try."""

    name: str
    level: Level
    regions: tuple[int, ...]
    at: tuple[float, float] | None
    measured: float | None
    limit: float | None
    unit: str
    chance: float | None  #: None where the thing is measured, not predicted
    because: str
    advice: str  #: "try" in the JSON


@dataclass(frozen=True, slots=True)
class GapSide:
    """One side of a gap, bare cloth or overlap, where it is worst.

    ``meant_mm`` is what the file leaves there and ``limit_mm`` what is allowed there, signed as the gap;
    ``excess`` is how far the nominal gap is over that limit, as a share of the tolerance.
    """

    worst_mm: float  #: nominal
    low_mm: float  #: 5th percentile of the worst gap of each draw
    median_mm: float  #: 50th percentile
    high_mm: float  #: 95th percentile
    at: tuple[float, float]
    meant_mm: float
    limit_mm: float
    excess: float
    chance: float  #: that the limit is passed anywhere along the outline
    over_mm_of_length: float


@dataclass(frozen=True, slots=True)
class JudgedGap:
    """Both sides of the gap between one outline and one border."""

    outline: int
    borders: int
    tolerance_mm: float
    bare: GapSide
    overlap: GapSide


@dataclass(frozen=True, slots=True)
class GapVerdict:
    """A gap along one outline, judged."""

    outline: int
    borders: int
    worst_mm: float  #: nominal, of the largest magnitude beyond what the file means
    low_mm: float
    high_mm: float
    median_mm: float  #: over the draws, like low_mm and high_mm
    at: tuple[float, float]
    over_limit_mm_of_length: float
    chance_bare: float
    chance_overlap: float
    limit_mm: float = 0.0  #: allowed where the gap is worst, signed as the gap


@dataclass(frozen=True, slots=True)
class PuckerVerdict:
    """Pucker, judged; it ranks, it is no seam grade."""

    chance: float
    amplitude_mm: float
    low_mm: float
    high_mm: float
    at: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Margin:
    """How one limit that a stack decides is kept where it is kept worst."""

    name: str  #: of the finding
    nominal: float  #: what is predicted at nominal values, in the unit of the limit
    limit: float
    unit: str
    chance: float  #: that it is passed

    @property
    def room(self) -> float:
        """What is left of the limit at nominal values; negative where it is passed."""
        return self.limit - self.nominal


@dataclass(frozen=True, slots=True)
class Findings:
    """All verdicts on one design and one stack."""

    items: tuple[Finding, ...]
    gaps: tuple[GapVerdict, ...]
    pucker: PuckerVerdict
    tolerance_mm: float
    chance_of_missing: (
        float  #: largest chance that a limit a stack can cure is exceeded (gap, overlap, narrowing, pucker)
    )
    decided_by: str  #: name of the finding that this chance belongs to
    margins: tuple[Margin, ...] = ()  #: of the limits that a stack can cure, likeliest to be passed first
