"""The plan: what to put behind the goods and how to sew them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.goods.types import StackChoice


@dataclass(frozen=True, slots=True)
class Rework:
    """One change to the design with its computed effect."""

    what: str
    region: int | None
    amount_mm: float | None
    effect: str
    chance_before: float  #: of missing a limit, on the stack chosen
    chance_after: float
    gap_before_mm: float | None  #: worst bare cloth at an outline
    gap_after_mm: float | None


@dataclass(frozen=True, slots=True)
class Trial:
    """What judging one stack came to; the plan's search sees nothing else of the mechanics."""

    choice: StackChoice
    chance_of_missing: float
    decided_by: str
    faults: tuple[str, ...]  #: names of findings at level fault that the stack decides
    beyond_range: bool


@dataclass(frozen=True, slots=True)
class Alternative:
    """A stack near the chosen one, and why it was not chosen."""

    backing: str
    why_not: str


@dataclass(frozen=True, slots=True)
class ToppingChoice:
    """A topping, and why."""

    kind: str
    why: str


@dataclass(frozen=True, slots=True)
class Steps:
    """What to do, in order."""

    before: tuple[str, ...]
    sewing: tuple[str, ...]
    finishing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that the person at the machine needs."""

    outcome: Literal["hoop-it", "sample-first", "rework"]
    choice: StackChoice
    attach: Literal["hooped", "floated", "adhesive", "fused"]
    topping: ToppingChoice | None
    holding: str
    hoop_mm: tuple[float, float]
    needle: str
    speed_spm: float
    sheet_mm: tuple[float, float]
    steps: Steps
    cautions: tuple[str, ...]
    reasons: tuple[str, ...]
    alternatives: tuple[Alternative, ...]
    rework: tuple[Rework, ...]
