"""Which kinds of backing the goods, the care, the back and the design allow.

Each rule is common practice, no source, unless it names one. A rule takes the kinds that are left and says
which go on; one that would leave nothing is passed over, since the own table of the goods knows better what
is put behind such cloth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analyzer.cloth.types import Cover
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.stack import share
from analyzer.goods.types import Backing, StackChoice
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


def is_lace(setup: Setup) -> bool:
    """Whether there is no cloth: free-standing lace."""
    return setup.cloth.family == "none"


def _washed_and_hidden(setup: Setup) -> bool:
    return setup.care in ("washed-often", "industrial") and not back_is_seen(setup) and not is_lace(setup)


def _seen_and_firm(setup: Setup) -> bool:
    return back_is_seen(setup) and not setup.cloth.stretchy


def _held_in_a_ring(setup: Setup) -> bool:
    return setup.cloth.hoopable and setup.holding not in ("floated", "adhesive")


_KIND_RULES = (
    _KindRule("lace", is_lace, lambda kind: kind.removal == "rinsed"),
    _KindRule("dry", lambda setup: not may_be_wetted(setup), lambda kind: kind.removal != "rinsed"),
    _KindRule("heat", lambda setup: setup.cloth.heat == "none", lambda kind: kind.attach != "fused"),
    _KindRule("sticky", _held_in_a_ring, lambda kind: kind.attach != "adhesive"),
    _KindRule("stays_stretchy", lambda setup: setup.cloth.stretchy, lambda kind: kind.permanent),
    _KindRule("stays_washed", _washed_and_hidden, lambda kind: kind.permanent),
    _KindRule("seen", _seen_and_firm, lambda kind: not kind.permanent),
)
_MATTERS = ("lace", "dry", "heat", "stays_stretchy", "stays_washed", "seen")


def allowed(setup: Setup, kinds: tuple[str, ...] | None = None, *, patch: bool = False) -> Allowed:
    """Return which of ``kinds`` (default: the goods' own) the rules leave, and why the others fell.

    A ``patch`` stands by itself, so it wants a firm backing.
    """
    rules: tuple[_KindRule, ...] = _KIND_RULES
    if patch:
        rules += (_KindRule("patch", lambda _: True, lambda kind: not kind.soft),)
    left = setup.cloth.backings if kinds is None else kinds
    reasons = []
    for rule in rules:
        if not rule.applies(setup):
            continue
        kept = tuple(kind for kind in left if rule.keeps(setup.tables.backing(kind)))
        if kept and kept != left:
            left = kept
            reasons.append(say("rule", rule.name))
    return Allowed(left, tuple(reasons))


def broken(setup: Setup, choice: StackChoice) -> tuple[str, ...]:
    """Return the rules that a stack breaks though the goods' own kinds could keep them, as sentences.

    What the goods' own table puts behind them in spite of a rule breaks none.
    """
    kinds = [setup.tables.backing(item.kind) for item in choice.backings]
    left = setup.cloth.backings
    said = []
    for rule in _KIND_RULES:
        if rule.name not in _MATTERS or not rule.applies(setup):
            continue
        kept = tuple(kind for kind in left if rule.keeps(setup.tables.backing(kind)))
        if not kept:
            continue
        left = kept
        if rule.name.startswith("stays"):
            fails = not any(rule.keeps(kind) for kind in kinds)  # what stays may have company
        else:
            fails = not all(rule.keeps(kind) for kind in kinds)
        if fails and kinds:
            said.append(say("rule", rule.name))
    return tuple(said)


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


def is_patch(setup: Setup, regions: Regions) -> bool:
    """Whether the design looks like a patch, on goods of which patches are made.

    That is a fill all round which a closed satin runs, the last dense thing sewn and the outermost.
    """
    dense = [r for r in regions.items if r.kind in (RegionKind.FILL, RegionKind.SATIN)]
    if not setup.cloth.patches or not dense or dense[-1].kind != RegionKind.SATIN:
        return False
    border = dense[-1]
    if not border.outline_of or regions.appliques:
        return False
    x0, y0, x1, y1 = border.bbox_mm
    others = [r.bbox_mm for r in regions.items if r.kind != RegionKind.TIE and r is not border]
    outermost = all(a >= x0 and b >= y0 and c <= x1 and d <= y1 for a, b, c, d in others)
    return outermost and max(x1 - x0, y1 - y0) <= constants("plan")["patch_mm"].value


def stitches_of(regions: Regions) -> int:
    """Return the number of stitches of a design."""
    return sum(region.stitches for region in regions.items)


def has_many_stitches(setup: Setup, regions: Regions) -> bool:
    """Whether the trade distrusts a light backing for the number of stitches, on other than sheer goods."""
    many = stitches_of(regions) >= constants("plan")["many_stitches"].value
    return many and not setup.cloth.sheer and not is_lace(setup)


def least_g_m2(setup: Setup, regions: Regions) -> float:
    """Return the least weight of backing that the trade puts behind lace, a patch or many stitches, g/m2."""
    applies = {
        "lace_least_g_m2": is_lace(setup),
        "patch_g_m2": is_patch(setup, regions),
        "many_stitches_g_m2": has_many_stitches(setup, regions),
    }
    table = constants("plan")
    return max((table[name].value for name, is_so in applies.items() if is_so), default=0.0)


def needs_cover(setup: Setup, choice: StackChoice) -> bool:
    """Whether a soft cover has to be fused over what stays, since it is stiff and lies next to skin."""
    kinds = (setup.tables.backing(item.kind) for item in choice.backings)
    return touches_skin(setup) and any(kind.permanent and not kind.soft for kind in kinds)


def burden_g_m2(setup: Setup, choice: StackChoice) -> float:
    """Return the weight of all backing with the cover that it needs next to skin, g/m2."""
    cover = constants("plan")["cover_g_m2"].value if needs_cover(setup, choice) else 0.0
    return choice.total_g_m2 + cover


def relative_cost(setup: Setup, choice: StackChoice) -> float:
    """Return the cost of all backing, in g/m2 of ordinary cutaway."""
    return sum(
        item.total_g_m2 * setup.tables.backing(item.kind).relative_cost.value for item in choice.backings
    )


def stiffness(setup: Setup, choice: StackChoice) -> float:
    """Return the nominal stiffness of all backing that reaches the goods, kN/m: how strong a stack is."""
    kinds = [(setup.tables.backing(item.kind), item.total_g_m2) for item in choice.backings]
    return sum(
        weight * kind.stiffness_knm_per_g.value * share(kind, setup.holding).value for kind, weight in kinds
    )
