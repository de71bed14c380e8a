"""A job: everything that ``check`` needs besides the file. None means: the goods' or the table's own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True, slots=True)
class Limits:
    """The user's own limits, by the names of the limits table, and the findings that stay silent."""

    values: tuple[tuple[str, float], ...] = ()
    silenced: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Learned:
    """The spread of one uncertain parameter as sew-outs left it, in its own unit or as a factor."""

    parameter: str  #: a name of goods.PARAMETERS
    of: str | None  #: the cloth or kind of backing that it holds for; None: whatever is stitched on
    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """What measured sew-outs have taught: spreads (median, low, high) that replace the table's.

    ``pull_n`` is the pull while a stitch is drawn tight, N; ``play_mm`` the play at each edge, mm.
    ``learned`` are spreads of any parameter, and ``correlation`` how their scores hang together: a sew-out
    tells products (pull over stiffness) far better than it tells either.
    """

    sewouts: int
    pull_n: tuple[float, float, float] | None = None
    play_mm: tuple[float, float, float] | None = None
    learned: tuple[Learned, ...] = ()
    correlation: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame of a machine: its sewing field."""

    name: str
    width_mm: float
    height_mm: float
    shape: str = "rectangle"  #: "rectangle" or "oval"


@dataclass(frozen=True, slots=True)
class Machine:
    """The user's machine."""

    name: str
    needles: int  #: colours that are threaded at a time
    speed_spm: float
    frames: tuple[Frame, ...] = ()
    heads: int = 1
    foot_clearance_mm: float | None = None  #: left free round the design; None: the table's own


@dataclass(frozen=True, slots=True)
class OwnMaterials:
    """The user's own goods and backings, as the TOML text that holds them."""

    text: str
    source: str  #: the file's name, for messages


@dataclass(frozen=True, slots=True)
class Job:
    """One design's circumstances. ``goods=None`` measures and compares, and gives no outcome."""

    goods: str | None = None
    care: str | None = None  #: one of choices.CARES
    back: str | None = None  #: one of choices.BACKS
    holding: str = "hooped"  #: one of choices.HOLDINGS
    hoop: str | None = None  #: "130x180", "o120x120" or a name of the hoops table
    thread: str | None = None
    needle: str | None = None
    speed_spm: float | None = None
    tolerance_mm: float | None = None  #: bare cloth allowed at an outline
    colour: str | None = None  #: of the goods, "#rrggbb"
    backing: str | tuple[str, ...] | None = None  #: "cutaway:85x2" or "none": judge this, choose nothing
    topping: str | None = None  #: a name of the toppings table or "none"
    applique: str | None = None  #: cloth of an applique's piece; None: the goods' own
    stock: tuple[str, ...] | None = None  #: backings at hand, each "KIND:WEIGHT": choose only from these
    machine: Machine | None = None
    own: tuple[OwnMaterials, ...] = ()  #: goods and backings of the user's own, beside the tables
    limits: Limits | None = None
    calibration: Calibration | None = None
    seed: int = 0


def changed(job: Job, **changes: Any) -> Job:
    """Return a job with some of its settings changed.

    What sew-outs have taught holds for one machine and thread: with another of either it is left out.
    """
    other = replace(job, **changes)
    if (other.thread, other.machine) != (job.thread, job.machine):
        return replace(other, calibration=None)
    return other
