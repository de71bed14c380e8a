"""What to do before, while and after sewing. Common practice, no source."""

from __future__ import annotations

from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.candidates import TURN_DEG
from analyzer.plan.facts import Facts
from analyzer.plan.handling import needle, sheet_mm, speed_spm
from analyzer.plan.rules import back_is_seen, is_lace, is_patch, needs_cover
from analyzer.plan.types import Steps

_LAID_ON = ("floated", "adhesive")  #: holdings in which the goods lie on what the ring holds


def _before(setup: Setup, facts: Facts, choice: StackChoice, outcome: str) -> list[str]:
    said = [say("before", "prewash")] if _wants_prewash(setup, facts) else []
    said.append(say("before", "needle", needle=needle(setup, facts.regions)))
    thread = setup.thread
    said.append(say("before", "thread", thread=thread.title, tex=f"{thread.tex.value:.0f}"))
    if thread.material == "metallic":
        said.append(say("before", "metallic"))
    if back_is_seen(setup):
        said.append(say("before", "bobbin_lace" if is_lace(setup) else "bobbin"))
    said += _backing_steps(setup, choice, outcome)
    said.extend(setup.cloth.tips)
    if setup.holding_asked != setup.holding:
        said.append(say("before", "not_in_a_ring"))
    said.extend(say("before", name) for name in _holding_steps(setup, choice))
    if choice.topping is not None:
        said.append(say("before", "topping", topping=choice.topping))
    if facts.regions.appliques:
        said.append(say("before", "piece"))
    said.append(say("before", "trace"))
    return said


def _wants_prewash(setup: Setup, facts: Facts) -> bool:
    """Whether the goods are washed first: where much is sewn on what shrinks, or where they are boiled."""
    if facts.has("shrinks-in-wash"):
        return True
    more = setup.cloth.shrink_percent.value - setup.thread.shrink_percent.value
    boiled = setup.care == "industrial" and setup.cloth.water == "wash"
    return boiled and more >= constants("plan")["prewash_percent"].value


def _backing_steps(setup: Setup, choice: StackChoice, outcome: str) -> list[str]:
    if not choice.backings:
        return [say("before", "none_behind" if outcome == "hoop-it" else "none_given")]
    width, height = sheet_mm(setup)
    table = constants("plan")
    margin = f"{table['sheet_margin_mm'].value:.0f}"
    said = [say("before", "sheet", width=f"{width:.0f}", height=f"{height:.0f}", margin=margin)]
    if min(width, height) >= table["sheet_wide_mm"].value:
        said.append(say("before", "sheet_overlap", overlap=f"{table['sheet_overlap_mm'].value:.0f}"))
    turns = [turn for item in choice.backings for turn in item.turns_deg]
    if choice.layers > 1:
        turn = max(turns) - min(turns)
        said.append(say("before", "layers", layers=choice.layers, turn=f"{turn:.0f}"))
    elif turns == [TURN_DEG]:
        said.append(say("before", "turned"))
    elif turns[0]:
        said.append(say("before", "turned_by", turn=f"{turns[0]:.0f}"))
    return said


def _holding_steps(setup: Setup, choice: StackChoice) -> list[str]:
    """Return how the backing is joined to the goods, where it is, and then how the goods are held."""
    if is_lace(setup):
        return ["lace"]
    own = {setup.tables.backing(item.kind).attach for item in choice.backings}
    joined = ["fused"] if "fused" in own else []
    if "adhesive" in own and setup.holding not in _LAID_ON:
        return [*joined, "stuck", setup.holding.replace("-", "_")]
    if "adhesive" in own:
        return [*joined, "adhesive"]
    held = setup.holding.replace("-", "_")
    nothing_to_hoop = setup.holding in _LAID_ON and own <= {"fused"}
    return [*joined, f"{held}_alone" if nothing_to_hoop or not choice.backings else held]


def _sewing(setup: Setup, facts: Facts, choice: StackChoice, outcome: str, *, given: bool) -> list[str]:
    first = {"hoop-it": "usual_sample", "sample-first": "sample", "rework": "rework"}[outcome]
    if outcome == "sample-first" and is_lace(setup):
        first = "sample_lace"
    if outcome == "rework" and given:
        first = "rework_given"
    if facts.has("hoop-too-small"):
        first = "larger_hoop"
    said = [say("sewing", first)]
    said.append(say("sewing", "speed", speed=f"{speed_spm(setup):.0f}"))
    said.append(say("sewing", "watch"))
    if setup.holding == "cap-frame":
        said.append(say("sewing", "cap"))
    if choice.topping is not None:
        said.append(say("sewing", "topping_under"))
    if facts.regions.appliques:
        said += [say("sewing", "placement"), say("sewing", "tack_down")]
    if is_patch(setup, facts.regions):
        said.append(say("sewing", "patch"))
    return said


def _finishing(setup: Setup, facts: Facts, choice: StackChoice) -> list[str]:
    """Snip, topping off, backing off or trimmed, rinse before pressing, press face down."""
    said = [say("finishing", "snip")]
    over = set() if choice.topping is None else {setup.tables.topping(choice.topping).removal}
    said.extend(say("finishing", f"topping_{removal}") for removal in over)
    removals = {setup.tables.backing(item.kind).removal for item in choice.backings}
    table = constants("plan")
    open_middle = any(void.radius_mm >= table["open_void_radius_mm"].value for void in facts.cover.voids)
    if "trimmed" in removals:
        said.append(say("finishing", "trimmed", trim=f"{table['trim_mm'].value:.0f}"))
        if open_middle:
            said.append(say("finishing", "trimmed_open"))
    if "torn" in removals:
        said.append(say("finishing", "torn"))
        if choice.layers > 1:
            said.append(say("finishing", "torn_layers"))
    if is_patch(setup, facts.regions):
        said += [say("finishing", "patch_cut"), say("finishing", "patch_on")]
    if "rinsed" in removals:
        said.append(say("finishing", "rinsed_lace" if is_lace(setup) else "rinsed"))
    if needs_cover(setup, choice):
        said.append(say("finishing", "cover" if setup.cloth.heat != "none" else "cover_sewn"))
    if setup.cloth.heat != "none" and "rinsed" in removals | over:
        said.append(say("finishing", "rinse_first"))
    if is_lace(setup):
        return said
    press = {"hot-iron": "press", "cool-iron": "press_cool", "none": "no_press"}[setup.cloth.heat]
    said.append(say("finishing", press))
    return said


def steps(setup: Setup, facts: Facts, choice: StackChoice, *, outcome: str, given: bool = False) -> Steps:
    """Return everything to do, in order; ``given`` says that the user named the stack."""
    return Steps(
        before=tuple(_before(setup, facts, choice, outcome)),
        sewing=tuple(_sewing(setup, facts, choice, outcome, given=given)),
        finishing=tuple(_finishing(setup, facts, choice)),
    )
