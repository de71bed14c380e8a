"""Which kinds of backing the goods, the care and the back allow.

Each rule is common practice, no source. A rule takes the kinds that are left and says which go on;
one that would leave nothing is passed over, since the own table of the goods knows better what is put
behind such cloth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analyzer.cloth.types import Cover
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import Backing
from analyzer.plan.advice import say
from analyzer.regions.types import RegionKind, Regions


@dataclass(frozen=True, slots=True)
class Allowed:
    """Kinds of backing that may be used, usual first, and why others may not."""

    kinds: tuple[str, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _KindRule:
    """``applies`` says whether the rule is asked on these goods, ``keeps`` which kinds pass it."""

    name: str
    applies: Callable[[Setup], bool]
    keeps: Callable[[Backing], bool]


def may_be_wetted(setup: Setup) -> bool:
    """Whether water may be used to take something off."""
    return setup.cloth.water in ("wash", "gentle-wash") and setup.care != "dry-cleaned"


def back_is_seen(setup: Setup) -> bool:
    """Whether the back of the work shows in use."""
    return "seen" in setup.back


def touches_skin(setup: Setup) -> bool:
    """Whether the back of the work lies next to skin."""
    return "skin" in setup.back


def _is_lace(setup: Setup) -> bool:
    return setup.cloth.family == "none"


def _washed_and_hidden(setup: Setup) -> bool:
    return setup.care in ("washed-often", "industrial") and not back_is_seen(setup) and not _is_lace(setup)


def _seen_and_firm(setup: Setup) -> bool:
    return back_is_seen(setup) and not setup.cloth.stretchy


def _held_in_a_ring(setup: Setup) -> bool:
    return setup.cloth.hoopable and setup.holding not in ("floated", "adhesive")


_KIND_RULES = (
    _KindRule("lace", _is_lace, lambda kind: kind.removal == "rinsed"),
    _KindRule("dry", lambda setup: not may_be_wetted(setup), lambda kind: kind.removal != "rinsed"),
    _KindRule("heat", lambda setup: setup.cloth.heat == "none", lambda kind: kind.attach != "fused"),
    _KindRule("sticky", _held_in_a_ring, lambda kind: kind.attach != "adhesive"),
    _KindRule("stays_stretchy", lambda setup: setup.cloth.stretchy, lambda kind: kind.permanent),
    _KindRule("stays_washed", _washed_and_hidden, lambda kind: kind.permanent),
    _KindRule("seen", _seen_and_firm, lambda kind: not kind.permanent),
)


def allowed(setup: Setup, kinds: tuple[str, ...] | None = None) -> Allowed:
    """Return which of ``kinds`` (default: the goods' own) the rules leave, and why the others fell."""
    left = setup.cloth.backings if kinds is None else kinds
    reasons = []
    for rule in _KIND_RULES:
        if not rule.applies(setup):
            continue
        kept = tuple(kind for kind in left if rule.keeps(setup.tables.backing(kind)))
        if kept and kept != left:
            left = kept
            reasons.append(say("rule", rule.name))
    return Allowed(left, tuple(reasons))


def is_light(regions: Regions, cover: Cover) -> bool:
    """Whether there is so little fill and satin that firm cloth may carry it alone."""
    areas = {item.region: item.area_mm2 for item in cover.regions}
    dense = [r.id for r in regions.items if r.kind in (RegionKind.FILL, RegionKind.SATIN)]
    return sum(areas.get(i, 0.0) for i in dense) <= constants("plan")["light_fill_mm2"].value


def none_is_sensible(setup: Setup, regions: Regions, cover: Cover) -> bool:
    """Whether nothing at all behind the goods is worth trying: light stitching on firm, heavy goods."""
    firm = (
        setup.cloth.family in ("woven", "leather", "coated")
        and not setup.cloth.stretchy
        and not setup.cloth.sheer
    )
    heavy = setup.cloth.weight_g_m2.value >= constants("plan")["firm_goods_g_m2"].value
    return firm and heavy and is_light(regions, cover)
