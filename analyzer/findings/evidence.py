"""What a finding may look at, and what a finding is made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from analyzer.arrays import Bools
from analyzer.cloth.types import Cover, Use
from analyzer.design import Design
from analyzer.findings.types import Finding, JudgedGap
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import Stack, StackChoice, Value
from analyzer.mechanics.types import Response
from analyzer.regions.types import Region, RegionKind, Regions

Needs: TypeAlias = Literal["file", "goods", "stack", "response"]
Cure: TypeAlias = Literal["stack", "file", "job"]


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything known about one design, and about one stack once there is one.

    ``setup`` is None while no goods are named; ``stack``, ``choice`` and ``response`` are None while nothing
    has been computed on them. ``gaps`` are judged once, by ``judge``.
    """

    design: Design
    regions: Regions
    cover: Cover
    use: Use
    setup: Setup | None = None
    stack: Stack | None = None
    response: Response | None = None
    choice: StackChoice | None = None
    gaps: tuple[JudgedGap, ...] = ()

    @property
    def limits(self) -> Mapping[str, Value]:
        """The limits table, with the user's own values where there are any."""
        return constants("limits") if self.setup is None else self.setup.limits

    def limit(self, name: str) -> float:
        """Return the limit called ``name``, in the unit that its name ends with."""
        return self.limits[name].value

    def offers(self, needs: Needs) -> bool:
        """Say whether there is what a finding with these needs looks at."""
        if needs == "file":
            return True
        if self.setup is None:
            return False
        if needs == "goods":
            return True
        if needs == "stack":
            return self.stack is not None and self.choice is not None
        return self.response is not None

    @property
    def has_pile(self) -> bool:
        """Whether the cloth has pile high enough to hide an edge."""
        pile = None if self.setup is None else self.setup.cloth.pile_mm
        return pile is not None and pile.value > self.limit("nap_mm")

    @property
    def is_lace(self) -> bool:
        """Whether this is free-standing lace: goods say so, and without goods the looks of the file."""
        if self.setup is None:
            return self.cover.looks_like_lace
        return self.setup.cloth.family == "none"

    @property
    def washed_often(self) -> bool:
        """Whether the goods are washed often or in an industrial laundry."""
        return self.setup is not None and self.setup.care in ("washed-often", "industrial")

    def of_kind(self, *kinds: RegionKind) -> tuple[Region, ...]:
        """Return the regions of these kinds, in sewing order."""
        return tuple(region for region in self.regions.items if region.kind in kinds)


def middle(region: Region) -> tuple[float, float]:
    """Return the middle of a region's box, mm."""
    x0, y0, x1, y1 = region.bbox_mm
    return (x0 + x1) / 2, (y0 + y1) / 2


def regions_near(evidence: Evidence, point: tuple[float, float], reach_mm: float) -> tuple[int, ...]:
    """Return the ids of the regions with a penetration within ``reach_mm`` of ``point``, ties left out."""
    distance = np.hypot(*(evidence.design.penetrations - point).T)
    return regions_of(evidence, distance <= reach_mm)


def regions_of(evidence: Evidence, chosen: Bools) -> tuple[int, ...]:
    """Return the ids of the regions that the chosen penetrations (m,) belong to, ties left out."""
    ties = {region.id for region in evidence.of_kind(RegionKind.TIE)}
    return tuple(int(i) for i in np.unique(evidence.regions.region_of[chosen]) if int(i) not in ties)


@dataclass(frozen=True, slots=True)
class Rule:
    """One kind of finding: its name, what it needs, what could cure it, how it looks, and its page.

    ``cure`` is "stack" where other backing can help, "file" where only the design can change, "job" where
    it is the hoop, the topping or another setting. ``look`` returns None when all is well.
    """

    name: str
    needs: Needs
    cure: Cure
    look: Callable[[Evidence], Finding | None]
    page: str
