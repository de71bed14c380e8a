"""The plan: what to put behind the goods and how to sew them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.findings import Margin
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
    margins: tuple[Margin, ...] = ()  #: of every limit that a stack decides, likeliest to be passed first


@dataclass(frozen=True, slots=True)
class Alternative:
    """A stack near the chosen one, why it was not chosen, and its numbers."""

    backing: str
    why_not: str
    g_m2: float
    layers: int
    relative_cost: float | None  #: over that of the chosen stack; None where that costs nothing
    chance: float  #: of missing a limit, on the coarse grid of the search
    decided_by: Margin | None


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
class Conclusion:
    """What a plan comes to, as whole sentences for the lines read first; empty where there is none."""

    why: str = ""  #: what leaves it in doubt that no finding says: a rule of the trade, a cap
    misses: str = ""  #: how likely a limit is missed after all
    do: str = ""  #: what to do about it, where a stack decides; empty where findings give their own advice


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
    decided_by: (
        Margin | None
    )  #: the limit that the chosen stack is likeliest to miss; None where none is computed
    buy: str | None  #: what to buy where nothing in the stock will do
    stacks_tried: int
    alternatives: tuple[Alternative, ...]
    rework: tuple[Rework, ...]
    conclusion: Conclusion = Conclusion()
