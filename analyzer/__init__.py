"""prehoop: whether an embroidery design will stitch true on these goods, and what to put behind it.

::

    from analyzer import Job, check, read

    result = check(read("crest.dst"), Job(goods="jersey"))
    print(result.text())

Names are loaded when they are first used, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analyzer.countered import Countered
    from analyzer.design import Design
    from analyzer.errors import (
        BadBook,
        BadJob,
        BadOrder,
        BadRecords,
        BadTable,
        NotConverged,
        PrehoopError,
        UnknownBacking,
        UnknownGoods,
        UnknownHoop,
        UnknownName,
        UnknownNeedle,
        UnknownThread,
        UnknownTopping,
        UnreadableDesign,
        UnwritableDesign,
    )
    from analyzer.formats import read, write
    from analyzer.job import Calibration, Frame, Job, Limits, Machine
    from analyzer.report import Check, check

__version__ = "0.1.0"

__all__ = [
    "BadBook",
    "BadJob",
    "BadOrder",
    "BadRecords",
    "BadTable",
    "Calibration",
    "Check",
    "Countered",
    "Design",
    "Frame",
    "Job",
    "Limits",
    "Machine",
    "NotConverged",
    "PrehoopError",
    "UnknownBacking",
    "UnknownGoods",
    "UnknownHoop",
    "UnknownName",
    "UnknownNeedle",
    "UnknownThread",
    "UnknownTopping",
    "UnreadableDesign",
    "UnwritableDesign",
    "check",
    "read",
    "write",
]

_HOMES = {
    "Calibration": "analyzer.job",
    "Check": "analyzer.report",
    "Countered": "analyzer.countered",
    "Design": "analyzer.design",
    "Frame": "analyzer.job",
    "Job": "analyzer.job",
    "Limits": "analyzer.job",
    "Machine": "analyzer.job",
    "check": "analyzer.report",
    "read": "analyzer.formats",
    "write": "analyzer.formats",
}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module 'analyzer' has no attribute '{name}'")
    return getattr(import_module(_HOMES.get(name, "analyzer.errors")), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
