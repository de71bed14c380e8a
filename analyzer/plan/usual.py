"""The stacks by which designs are compared before anything is searched: a usual one, and a strong one."""

from __future__ import annotations

from analyzer.cloth import Cover
from analyzer.goods import Setup, StackChoice, constants
from analyzer.plan.candidates import candidates
from analyzer.regions import Regions


def usual_stacks(
    setup: Setup, regions: Regions, cover: Cover, topping: str | None
) -> tuple[StackChoice, StackChoice]:
    """Return one layer of the first kind of backing that the goods name and the rules allow; the most of it.

    Of its weights that nearest to medium weight. Only where the design is too heavy for any single layer
    there are two; nothing at all only where nothing may be laid behind. The most is the heaviest stack of
    the same kind that would be tried.
    """
    medium = constants("plan")["medium_backing_g_m2"].value
    named = setup.cloth.backings

    def key(stack: StackChoice) -> tuple[int, int, float]:
        kind = stack.backings[0].kind
        place = named.index(kind) if kind in named else len(named)
        return stack.layers, place, abs(stack.total_g_m2 - medium)

    tried = candidates(setup, None, regions, cover, topping)
    usual = min((stack for stack in tried if stack.backings), key=key, default=tried[0])
    alike = [stack for stack in tried if _kinds(stack) == _kinds(usual)]
    return usual, max(alike, key=lambda stack: (stack.total_g_m2, -stack.layers))


def usual_stack(setup: Setup, regions: Regions, cover: Cover, topping: str | None) -> StackChoice:
    """Return the usual one of :func:`usual_stacks`."""
    return usual_stacks(setup, regions, cover, topping)[0]


def _kinds(stack: StackChoice) -> set[str]:
    return {backing.kind for backing in stack.backings}
