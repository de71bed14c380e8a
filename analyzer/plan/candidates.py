"""The stacks worth trying, simplest and lightest first."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from analyzer.cloth.types import Cover
from analyzer.goods import Tables, parse_backing
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import BackingChoice, StackChoice
from analyzer.plan.rules import (
    allowed,
    burden_g_m2,
    is_patch,
    least_g_m2,
    none_is_sensible,
    relative_cost,
    touches_skin,
)
from analyzer.regions.types import Regions

CAP_KINDS = ("tearaway",)
TORN_BESIDE = "tearaway"  #: what is laid under a backing that stays, and torn off
TURN_DEG = 90.0  #: of every second layer, which evens out a backing's two directions
TURNS_DEG = (TURN_DEG, 45.0)  #: of a single sheet: its stiff direction across the design, or half-way


def layered(kind: str, g_m2: float, layers: int, topping: str | None) -> StackChoice:
    """Return so many layers of one backing, every second one turned."""
    turns = tuple(TURN_DEG * (i % 2) for i in range(layers))
    return StackChoice((BackingChoice(kind, g_m2, layers, turns),), topping)


def turned(choice: StackChoice, turn_deg: float = TURN_DEG) -> StackChoice:
    """Return a single layer with its sheet turned, across or half-way; other stacks as they are."""
    if choice.layers != 1:
        return choice
    return replace(choice, backings=(replace(choice.backings[0], turns_deg=(turn_deg,)),))


def in_order(setup: Setup, choices: list[StackChoice], kinds: tuple[str, ...]) -> tuple[StackChoice, ...]:
    """Sort: laid before stuck or fused, and one kind before two, since that is more work; then by weight.

    Weight counts the cover that goes next to skin.

    Goods that are held by adhesive lie on what has its own, before what has to be sprayed. Of equal weights:
    fewer layers, then soft ones next to skin, then the cheaper, then the more usual kind.
    """
    easiest = "adhesive" if setup.holding == "adhesive" else "laid"

    def key(choice: StackChoice) -> tuple[bool, bool, float, int, bool, float, int]:
        if not choice.backings:
            return False, False, 0.0, 0, False, 0.0, 0
        kind = setup.tables.backing(choice.backings[0].kind)
        return (
            kind.attach != easiest,
            len({backing.kind for backing in choice.backings}) > 1,
            burden_g_m2(setup, choice),
            choice.layers,
            touches_skin(setup) and not kind.soft,
            relative_cost(setup, choice),
            kinds.index(kind.kind),
        )

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


def _mixed(tables: Tables, kind: str, weights: tuple[float, ...], topping: str | None) -> list[StackChoice]:
    """Return two layers of different weights of one kind, the second turned: a stock holds few weights."""
    if tables.backing(kind).attach != "laid":
        return []
    return [
        StackChoice((BackingChoice(kind, a, 1, (0.0,)), BackingChoice(kind, b, 1, (TURN_DEG,))), topping)
        for a, b in combinations(weights, 2)
        if a + b > max(weights)
    ]


def _joined(setup: Setup, kinds: tuple[str, ...], topping: str | None) -> list[StackChoice]:
    """Return one layer that stays with one that is torn away, its stiff direction across.

    What stays holds the stitches in the wash, what is torn off holds the cloth while it is sewn (common
    practice, no source). Only where the backing has to stay: elsewhere what tears off does by itself.
    """
    staying = [kind for kind in kinds if _laid(setup, kind) and setup.tables.backing(kind).permanent]
    if not staying or len(staying) < sum(_laid(setup, kind) for kind in kinds):
        return []
    most = constants("plan")["beside_most_g_m2"].value
    return [
        StackChoice(
            (
                BackingChoice(kind, min(setup.tables.backing(kind).weights_g_m2), 1, (0.0,)),
                BackingChoice(TORN_BESIDE, weight, 1, (TURN_DEG,)),
            ),
            topping,
        )
        for kind in staying
        for weight in setup.tables.backing(TORN_BESIDE).weights_g_m2
        if weight <= most
    ]


def _laid(setup: Setup, kind: str) -> bool:
    return setup.tables.backing(kind).attach == "laid"


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


def piece_of(setup: Setup, regions: Regions) -> str | None:
    """Return the cloth of the piece that an applique lays over the goods: the job's, or the goods' own."""
    if not regions.appliques or setup.cloth.family == "none":
        return None
    return (setup.piece or setup.cloth).name


def piece_box_mm(regions: Regions) -> tuple[float, float, float, float] | None:
    """Return where pieces of appliques lie, x0, y0, x1, y1 from the middle of the design, None where none."""
    by_id = {region.id: region for region in regions.items}
    boxes = [by_id[each.placement].bbox_mm for each in regions.appliques if each.placement in by_id]
    if not boxes:
        return None
    sewn = [region.bbox_mm for region in regions.items]
    x, y = ((min(box[k] for box in sewn) + max(box[k + 2] for box in sewn)) / 2 for k in (0, 1))
    return (
        min(box[0] for box in boxes) - x,
        min(box[1] for box in boxes) - y,
        max(box[2] for box in boxes) - x,
        max(box[3] for box in boxes) - y,
    )


def candidates(
    setup: Setup, stock: tuple[str, ...] | None, regions: Regions, cover: Cover, topping: str | None
) -> tuple[StackChoice, ...]:
    """Return the stacks to try, lightest first: usual weights, one and two layers, of the kinds allowed.

    With ``stock`` (each "KIND:WEIGHT") only what is there is used; where none of it is among the goods' own
    kinds, all of it. On a cap frame the buckram holds, so tearaway (common practice, no source), but under
    lace, which has no cloth.
    """
    on_cloth = setup.cloth.family != "none"
    usual = CAP_KINDS if setup.holding == "cap-frame" and on_cloth else setup.cloth.backings
    if stock is None:
        weights = {kind: setup.tables.backing(kind).weights_g_m2 for kind in usual}
    else:
        weights = _stock_weights(setup.tables, stock)
        usual = tuple(kind for kind in usual if kind in weights) or tuple(weights)
    cap = setup.holding == "cap-frame"
    kinds = usual if cap else allowed(setup, usual, patch=is_patch(setup, regions)).kinds
    choices = [step for kind in kinds for step in _ladder(setup.tables, kind, weights[kind], topping)]
    if stock is None and not cap:
        choices += _joined(setup, kinds, topping)
    if stock is not None:
        choices += [step for kind in kinds for step in _mixed(setup.tables, kind, weights[kind], topping)]
    least = least_g_m2(setup, regions)
    heavy = [step for step in choices if step.total_g_m2 >= least]
    choices = _not_heavier_than_the_goods(setup, heavy or choices[-1:])
    if not choices or (not cap and none_is_sensible(setup, regions, cover)):
        choices.append(StackChoice((), topping))
    piece = piece_of(setup, regions)
    box = piece_box_mm(regions) if piece is not None else None
    return in_order(setup, [replace(choice, piece=piece, piece_box_mm=box) for choice in choices], kinds)
