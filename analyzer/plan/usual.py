"""The stack that is usual on a goods, for comparing designs before anything is searched."""

from __future__ import annotations

from analyzer.cloth import Cover
from analyzer.goods import Setup, StackChoice, constants
from analyzer.plan.candidates import candidates
from analyzer.regions import Regions


def usual_stack(setup: Setup, regions: Regions, cover: Cover, topping: str | None) -> StackChoice:
    """Return one layer, nearest to medium weight, of a backing that the goods allow."""
    medium = constants("plan")["medium_backing_g_m2"].value
    return min(
        (stack for stack in candidates(setup, None, regions, cover, topping) if stack.layers == 1),
        key=lambda stack: abs(stack.total_g_m2 - medium),
    )
