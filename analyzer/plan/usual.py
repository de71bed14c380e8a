"""The stack that is usual on a goods, for comparing designs before anything is searched."""

from __future__ import annotations

from analyzer.cloth import Cover
from analyzer.goods import Setup, StackChoice, constants
from analyzer.plan.candidates import candidates
from analyzer.regions import Regions


def usual_stack(setup: Setup, regions: Regions, cover: Cover, topping: str | None) -> StackChoice:
    """Return one layer of the first kind of backing that the goods name and the rules allow.

    Of its weights that nearest to medium weight. Only where the design is too heavy for any single layer
    there are two; nothing at all only where nothing may be laid behind.
    """
    medium = constants("plan")["medium_backing_g_m2"].value
    named = setup.cloth.backings

    def key(stack: StackChoice) -> tuple[int, int, float]:
        kind = stack.backings[0].kind
        place = named.index(kind) if kind in named else len(named)
        return stack.layers, place, abs(stack.total_g_m2 - medium)

    tried = candidates(setup, None, regions, cover, topping)
    return min((stack for stack in tried if stack.backings), key=key, default=tried[0])
