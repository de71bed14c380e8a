"""The one composition of all rooms: ``check(design, job)``."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.cloth.types import Cover, Use
from analyzer.design import Design
from analyzer.findings.types import Findings
from analyzer.goods.setup import Setup
from analyzer.goods.types import Known, Stack
from analyzer.job import Job
from analyzer.mechanics.types import Response
from analyzer.plan.types import Plan
from analyzer.regions.types import Regions


@dataclass(frozen=True, slots=True)
class Sureness:
    """How far the predictions may be trusted."""

    calibrated: bool
    from_sewouts: int
    known: Known  #: of the least known parameter that matters
    mostly_from: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class OnGoods:
    """What one design does on one goods with one stack: the judged part of a check, or one line of a comparison."""

    setup: Setup
    stack: Stack
    response: Response
    findings: Findings


@dataclass(frozen=True, slots=True)
class Checked:
    """Everything that a check found.

    With goods, ``judged`` and ``plan`` are there and ``comparison`` is empty. Without goods it is the other way
    round: ``comparison`` holds three goods, each with nothing behind it and with its usual backing.
    """

    design: Design
    job: Job
    regions: Regions
    cover: Cover
    use: Use
    measured: Findings  #: findings that need no goods
    judged: OnGoods | None
    plan: Plan | None
    comparison: tuple[OnGoods, ...]
    sureness: Sureness
