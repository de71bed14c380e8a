"""The stacks worth trying, simplest and lightest first."""

from __future__ import annotations

from analyzer.cloth.types import Cover
from analyzer.goods import Tables, parse_backing
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import BackingChoice, StackChoice
from analyzer.plan.rules import allowed, none_is_sensible
from analyzer.regions.types import Regions

CAP_KINDS = ("tearaway",)
TURN_DEG = 90.0  #: of every second layer, which evens out a backing's two directions


def layered(kind: str, g_m2: float, layers: int, topping: str | None) -> StackChoice:
    """Return so many layers of one backing, every second one turned."""
    turns = tuple(TURN_DEG * (i % 2) for i in range(layers))
    return StackChoice((BackingChoice(kind, g_m2, layers, turns),), topping)


def in_order(tables: Tables, choices: list[StackChoice], kinds: tuple[str, ...]) -> tuple[StackChoice, ...]:
    """Sort: laid before stuck or fused, which is more work; by weight, layers, softness, usual kind."""

    def key(choice: StackChoice) -> tuple[bool, float, int, bool, int]:
        if not choice.backings:
            return False, 0.0, 0, False, 0
        kind = tables.backing(choice.backings[0].kind)
        laid = kind.attach == "laid"
        return not laid, choice.total_g_m2, choice.layers, not kind.soft, kinds.index(kind.kind)

    return tuple(sorted(choices, key=key))


def _ladder(tables: Tables, kind: str, weights: tuple[float, ...], topping: str | None) -> list[StackChoice]:
    """Return one kind's steps: single layers, then doubled ones that are heavier than any single layer.

    What sticks or is fused is not doubled.
    """
    steps = [layered(kind, weight, 1, topping) for weight in weights]
    most = int(constants("plan")["layers_max"].value) if tables.backing(kind).attach == "laid" else 1
    for layers in range(2, most + 1):
        steps += [layered(kind, w, layers, topping) for w in weights if w * layers > max(weights)]
    return steps


def _stock_weights(tables: Tables, stock: tuple[str, ...]) -> dict[str, tuple[float, ...]]:
    weights: dict[str, set[float]] = {}
    for item in parse_backing(stock, tables):
        weights.setdefault(item.kind, set()).add(item.g_m2)
    return {kind: tuple(sorted(values)) for kind, values in weights.items()}


def _not_heavier_than_the_goods(setup: Setup, choices: list[StackChoice]) -> list[StackChoice]:
    """Leave out what stays and outweighs the goods, unless nothing else is left.

    Common practice, no source: backing should not outweigh the goods.
    """
    most = setup.limits["backing_over_goods"].value * setup.cloth.weight_g_m2.value

    def kept_g_m2(choice: StackChoice) -> float:
        return sum(item.total_g_m2 for item in choice.backings if setup.tables.backing(item.kind).permanent)

    lighter = [choice for choice in choices if kept_g_m2(choice) <= most]
    return lighter or sorted(choices, key=kept_g_m2)[:1]


def candidates(
    setup: Setup, stock: tuple[str, ...] | None, regions: Regions, cover: Cover, topping: str | None
) -> tuple[StackChoice, ...]:
    """Return the stacks to try, lightest first: usual weights, one and two layers, of the kinds allowed.

    With ``stock`` (each "KIND:WEIGHT") only what is there is used; where none of it is among the goods' own
    kinds, all of it. On a cap frame the buckram holds, so tearaway (common practice, no source).
    """
    usual = CAP_KINDS if setup.holding == "cap-frame" else setup.cloth.backings
    if stock is None:
        weights = {kind: setup.tables.backing(kind).weights_g_m2 for kind in usual}
    else:
        weights = _stock_weights(setup.tables, stock)
        usual = tuple(kind for kind in usual if kind in weights) or tuple(weights)
    kinds = usual if setup.holding == "cap-frame" else allowed(setup, usual).kinds
    choices = [step for kind in kinds for step in _ladder(setup.tables, kind, weights[kind], topping)]
    if setup.cloth.family == "none":
        least = constants("plan")["lace_least_g_m2"].value
        choices = [step for step in choices if step.total_g_m2 >= least] or choices[-1:]
    choices = _not_heavier_than_the_goods(setup, choices)
    if not choices or (setup.holding != "cap-frame" and none_is_sensible(setup, regions, cover)):
        choices.append(StackChoice((), topping))
    return in_order(setup.tables, choices, kinds)
