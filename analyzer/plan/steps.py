"""What to do before, while and after sewing, and what to beware of. Common practice, no source."""

from __future__ import annotations

from analyzer.cloth.types import Cover
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.handling import attach, needle, sheet_mm, speed_spm
from analyzer.plan.rules import may_be_wetted, touches_skin
from analyzer.plan.topping import wants_topping
from analyzer.plan.types import Steps


def _before(setup: Setup, choice: StackChoice, outcome: str) -> list[str]:
    width, height = sheet_mm(setup)
    said = [say("before", "needle", needle=needle(setup))]
    if choice.backings:
        margin = constants("plan")["sheet_margin_mm"].value
        said.append(
            say("before", "sheet", width=f"{width:.0f}", height=f"{height:.0f}", margin=f"{margin:.0f}")
        )
    else:
        said.append(say("before", "none_behind" if outcome == "hoop-it" else "none_given"))
    for item in choice.backings:
        if item.layers > 1:
            turn = max(item.turns_deg) - min(item.turns_deg)
            said.append(say("before", "layers", layers=item.layers, turn=f"{turn:.0f}"))
    said.append(say("before", _holding_step(setup, choice)))
    if choice.topping is not None:
        said.append(say("before", "topping", topping=choice.topping))
    said.append(say("before", "trace"))
    return said


def _holding_step(setup: Setup, choice: StackChoice) -> str:
    if setup.cloth.family == "none":
        return "lace"
    if attach(setup, choice) == "fused":
        return "fused"
    if attach(setup, choice) == "adhesive":
        return "adhesive"
    if setup.holding == "hooped":
        return "hooped" if choice.backings else "hooped_alone"
    return setup.holding.replace("-", "_")


def _sewing(setup: Setup, choice: StackChoice, outcome: str, *, given: bool) -> list[str]:
    first = {"hoop-it": "usual_sample", "sample-first": "sample", "rework": "rework"}[outcome]
    if outcome == "sample-first" and setup.cloth.family == "none":
        first = "sample_lace"
    if outcome == "rework" and given:
        first = "rework_given"
    said = [say("sewing", first)]
    said.append(say("sewing", "speed", speed=f"{speed_spm(setup):.0f}"))
    said.append(say("sewing", "watch"))
    if choice.topping is not None:
        said.append(say("sewing", "topping_under"))
    return said


def _finishing(setup: Setup, choice: StackChoice, cover: Cover) -> list[str]:
    """Snip, topping off, backing off or trimmed, rinse before pressing, press face down."""
    said = [say("finishing", "snip")]
    over = set() if choice.topping is None else {setup.tables.topping(choice.topping).removal}
    said.extend(say("finishing", f"topping_{removal}") for removal in over)
    kinds = [setup.tables.backing(item.kind) for item in choice.backings]
    removals = {kind.removal for kind in kinds}
    table = constants("plan")
    if "trimmed" in removals:
        said.append(say("finishing", "trimmed", trim=f"{table['trim_mm'].value:.0f}"))
        if any(void.radius_mm >= table["open_void_radius_mm"].value for void in cover.voids):
            said.append(say("finishing", "trimmed_open"))
    if "torn" in removals:
        said.append(say("finishing", "torn"))
    if "rinsed" in removals:
        said.append(say("finishing", "rinsed_lace" if setup.cloth.family == "none" else "rinsed"))
    if touches_skin(setup) and any(kind.permanent and not kind.soft for kind in kinds):
        said.append(say("finishing", "cover"))
    if setup.cloth.heat != "none" and "rinsed" in removals | over:
        said.append(say("finishing", "rinse_first"))
    if setup.cloth.family == "none":
        return said
    press = {"hot-iron": "press", "cool-iron": "press_cool", "none": "no_press"}[setup.cloth.heat]
    said.append(say("finishing", press))
    return said


def steps(setup: Setup, choice: StackChoice, cover: Cover, *, outcome: str, given: bool = False) -> Steps:
    """Return everything to do, in order; ``given`` says that the user named the stack."""
    return Steps(
        before=tuple(_before(setup, choice, outcome)),
        sewing=tuple(_sewing(setup, choice, outcome, given=given)),
        finishing=tuple(_finishing(setup, choice, cover)),
    )


def cautions(setup: Setup, choice: StackChoice) -> tuple[str, ...]:
    """Return what to beware of, where it applies; makers' instructions and local rules go before."""
    cloth = setup.cloth
    adhesive = attach(setup, choice) == "adhesive"
    own_adhesive = any(setup.tables.backing(item.kind).attach == "adhesive" for item in choice.backings)
    applies = {
        "machine": True,
        "broken": True,
        "spray": adhesive and not own_adhesive,
        "iron": cloth.heat == "none" and cloth.family != "none",
        "heat_away": choice.topping == "heat-away-film",
        "wet": not may_be_wetted(setup) and cloth.family != "none",
        "magnets": setup.holding == "magnetic",
        "pile_wash": choice.topping is not None and wants_topping(setup) and setup.care != "never-washed",
        "topping_none": choice.topping is None and wants_topping(setup),
        "hot": cloth.heat != "none" or attach(setup, choice) == "fused",
        "dye": cloth.heat == "cool-iron",
        "skin": touches_skin(setup) and bool(choice.backings),
        "child": touches_skin(setup),
        "makers": True,
    }
    return tuple(say("caution", name) for name, is_so in applies.items() if is_so)
