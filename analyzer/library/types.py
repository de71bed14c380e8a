"""What the design book knows of one file and of one design."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Status = Literal["read", "damaged", "unreadable"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a scan computes of every design, besides measuring it."""

    goods: tuple[str, ...]
    care: str | None = None
    full: bool = False  #: the whole plan on each goods, not a screen of it
    own: tuple[tuple[str, str], ...] = ()  #: text and source of the user's own materials

    @property
    def key(self) -> str:
        """What verdicts of this kind are told apart by, beside the goods."""
        return f"{'full' if self.full else 'screen'}|{self.care or ''}|{hash_of(self.own)}"


def hash_of(own: tuple[tuple[str, str], ...]) -> str:
    """Return a short name for the user's own materials, empty where there are none."""
    import hashlib

    return hashlib.sha256(repr(own).encode()).hexdigest()[:12] if own else ""


@dataclass(frozen=True, slots=True)
class Noted:
    """One finding, as the design book keeps it."""

    goods: str  #: empty for those of the file itself
    name: str
    level: str
    measured: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one design does on one goods."""

    goods: str
    outcome: str
    chance: float  #: of missing a limit with that stack
    decided_by: str
    worst_gap_mm: float | None
    gap_low_mm: float | None
    gap_high_mm: float | None
    pucker_mm: float
    stack: str  #: that it was judged on, in words
    enough: bool  #: whether that stack holds
    backing: str  #: kinds of that stack's backing, that next to the goods first, empty: none
    backing_g_m2: float  #: all of it together
    layers: int  #: of backing
    noted: tuple[Noted, ...]


@dataclass(frozen=True, slots=True)
class Measures:
    """What is measured of one design; lengths mm, thread m."""

    format: str
    stitches: int
    colours: int
    jumps: int
    trims: int
    stops: int
    width_mm: float
    height_mm: float
    thread_m: float
    bobbin_m: float
    minutes: float
    stitched_mm2: float
    coverage: float
    density_max: float  #: thread mm on a mm2 at the densest place
    regions: int
    fills: int
    satins: int
    runs: int
    lettering_mm: float | None  #: height of the smallest letters
    appliques: int
    voids: int
    threads: tuple[tuple[str | None, str | None, int], ...]  #: rgb, name, stitches of each colour block
    thumb: bytes
    sketch: bytes
    noted: tuple[Noted, ...]


@dataclass(frozen=True, slots=True)
class Record:
    """All that one design came to."""

    sha256: str
    size: int  #: of the file, bytes
    status: Status
    reason: str | None  #: why it is damaged or unreadable
    measures: Measures | None
    verdicts: tuple[Verdict, ...] = ()
