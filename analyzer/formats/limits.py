"""How much a file may ask for."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ReadLimits:
    """What reading one file may take; raise a limit for the rare design that is larger.

    The largest of some 950 real files held 193,241 stitches in under one megabyte. ``extent_mm`` is beyond
    the field of any single embroidery head: a wider design is damaged. ``seconds`` and ``memory_bytes`` hold
    for the separate process that reads the formats without a decoder of our own; the time on every system,
    the memory on Linux and macOS. On Windows only ``bytes``, ``stitches`` and ``seconds`` stand between a
    hostile file and the memory. The decoders of our own need no such guard: both grow in step with the file.
    """

    bytes: int = 16_000_000
    stitches: int = 500_000
    extent_mm: float = 2000.0
    seconds: float = 5.0
    memory_bytes: int = 1_000_000_000


DEFAULT = ReadLimits()


def raised(
    *,
    megabytes: float = DEFAULT.bytes / 1e6,
    stitches: float = DEFAULT.stitches,
    metres: float = DEFAULT.extent_mm / 1e3,
    seconds: float = DEFAULT.seconds,
    memory: float = DEFAULT.memory_bytes / 1e6,
) -> ReadLimits:
    """Return limits of the sizes given, ``memory`` in megabytes; the names are those of ``--read-limit``."""
    return ReadLimits(
        bytes=round(megabytes * 1e6),
        stitches=round(stitches),
        extent_mm=metres * 1e3,
        seconds=seconds,
        memory_bytes=round(memory * 1e6),
    )
