"""A job made definite: every name looked up, every default filled in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analyzer.goods.types import Cloth, Hoop, Needle, ThreadType, Value


@dataclass(frozen=True, slots=True)
class Setup:
    """What the job comes to on one cloth."""

    cloth: Cloth
    care: str
    back: str
    holding: str
    hoop: Hoop
    thread: ThreadType
    needle: Needle
    speed_spm: float
    tolerance_mm: float  #: bare cloth allowed at an outline, mm
    tolerance_given: bool  #: whether the user set it
    colour: str | None  #: of the goods
    limits: Mapping[str, Value]  #: the limits table with the user's own values laid over it
    silenced: tuple[str, ...]
