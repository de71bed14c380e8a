"""What to beware of, where it applies; makers' instructions and local rules go before. Common practice."""

from __future__ import annotations

from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.handling import attach
from analyzer.plan.rules import is_lace, may_be_wetted, touches_skin
from analyzer.plan.topping import wants_topping

_WEARER = ("iron", "wet", "pile_wash", "topping_none", "bleach", "dye", "skin", "child", "makers")
_SMALL_CHILDREN = ("pile-knit",)  # families of which toys and blankets are made


def cautions(setup: Setup, choice: StackChoice) -> tuple[str, ...]:
    """Return what to beware of on these goods with this stack."""
    return tuple(say("caution", name) for name in _applying(setup, choice))


def for_the_wearer(setup: Setup, choice: StackChoice) -> tuple[str, ...]:
    """Return what whoever wears, washes or gives the piece has to know; nothing of the machine."""
    return tuple(say("wearer", name) for name in _applying(setup, choice) if name in _WEARER)


def _applying(setup: Setup, choice: StackChoice) -> list[str]:
    """Return the names of the cautions that apply."""
    cloth = setup.cloth
    glued = attach(setup, choice) == "adhesive"
    own_adhesive = any(setup.tables.backing(item.kind).attach == "adhesive" for item in choice.backings)
    applies = {
        "machine": True,
        "broken": True,
        "spray": glued and not own_adhesive,
        "iron": cloth.heat == "none" and not is_lace(setup),
        "heat_away": choice.topping == "heat-away-film",
        "wet": not may_be_wetted(setup) and not is_lace(setup),
        "magnets": setup.holding == "magnetic",
        "pile_wash": choice.topping is not None and wants_topping(setup) and setup.care != "never-washed",
        "topping_none": choice.topping is None and wants_topping(setup),
        "bleach": setup.care == "industrial" and setup.thread.material != "polyester",
        "hot": cloth.heat != "none" or attach(setup, choice) == "fused",
        "dye": cloth.heat == "cool-iron",
        "skin": touches_skin(setup) and bool(choice.backings),
        "child": touches_skin(setup) or cloth.family in _SMALL_CHILDREN,
        "makers": True,
    }
    return [name for name, is_so in applies.items() if is_so]
