"""Why the plan is what it is: what was computed, what the trade's rules say, and where the two differ."""

from __future__ import annotations

from analyzer.findings import Margin, chance_words
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.alternatives import named
from analyzer.plan.facts import Facts
from analyzer.plan.rules import (
    allowed,
    has_many_stitches,
    is_lace,
    is_light,
    is_patch,
    stitches_of,
)
from analyzer.plan.search import Search, holds
from analyzer.plan.types import Trial


def computed(setup: Setup, trial: Trial, *, given: bool, buy: str | None = None) -> tuple[str, ...]:
    """Return what was computed of the chosen stack: how likely it misses, what decides, what is left.

    ``buy`` is a stack that is not in the stock and holds.
    """
    words, decided = chance_words(trial.chance_of_missing), trial.decided_by
    accepted = setup.chance_accepted
    misses, good = trial.chance_of_missing >= accepted, holds(trial, accepted)
    if given:
        said = [say("reason", "single", words=words)]
    elif good:
        said = [say("reason", "lightest", accepted=one_in(accepted))]
    elif misses:
        name = "best_of_bad" if buy is None else "best_of_stock"
        helps = f" {say('reason', 'design')}" if buy is None else ""
        said = [say("reason", name, accepted=one_in(accepted), words=words) + helps]
    elif trial.beyond_range:
        said = [say("reason", "out_of_range")]
    else:
        said = [say("reason", "stack_faults", names=", ".join(trial.faults))]
    if trial.margins and not trial.beyond_range:
        said.append(room(trial.margins[0]))
    elif misses and decided:
        said.append(say("reason", "decided", decided=decided))
    if trial.beyond_range and (given or misses):
        said.append(say("reason", "beyond"))
    if given and not good:
        said.append(say("reason", "given_fails"))
    return tuple(said)


def one_in(chance: float) -> str:
    """Return a small chance as people say it: ``one piece in ten``."""
    if chance <= 0.0:
        return "no piece at all"
    number = round(1.0 / chance)
    names = {2: "two", 3: "three", 4: "four", 5: "five", 10: "ten", 20: "twenty"}
    return f"one piece in {names.get(number, str(number))}"


def room(margin: Margin) -> str:
    """Return what is left of the limit that decides, to 0.1 of its unit."""
    filled = {
        "decided": margin.name,
        "nominal": f"{max(0.0, margin.nominal):.1f}",
        "limit": f"{margin.limit:.1f}",
        "room": f"{abs(margin.room):.1f}",
        "unit": margin.unit,
    }
    return say("reason", "room" if margin.room >= 0 else "no_room", **filled)


def by_rule(setup: Setup, facts: Facts, choice: StackChoice) -> tuple[str, ...]:
    """Return what the trade's rules say of the design on these goods besides the kind of backing."""
    kinds = [setup.tables.backing(item.kind) for item in choice.backings]
    said = []
    if has_many_stitches(setup, facts.regions) and kinds:
        least = f"{constants('plan')['many_stitches_g_m2'].value:.0f}"
        said.append(say("reason", "many", stitches=f"{stitches_of(facts.regions):,}", least=least))
    rinsed = bool(kinds) and all(kind.removal == "rinsed" for kind in kinds)
    if rinsed and not is_lace(setup) and not is_light(facts.regions, facts.cover):
        said.append(say("reason", "rinses_out"))
    if facts.regions.appliques and choice.piece is not None:
        name = setup.tables.cloth(choice.piece).title
        said.append(say("reason", "piece" if setup.piece else "piece_assumed", cloth=name))
    if is_patch(setup, facts.regions):
        firm = f"{constants('plan')['patch_g_m2'].value:.0f}"
        said.append(say("reason", "patch", least=firm))
    if setup.holding_asked != setup.holding:
        said.append(say("reason", "floated"))
    if facts.has("ground-shows"):
        said.append(say("reason", "ground"))
    return tuple(said)


def disagreements(setup: Setup, facts: Facts, search: Search, chosen: StackChoice) -> tuple[str, ...]:
    """Return where the trade would take another kind first than what was computed to hold.

    That is the first kind of the goods' own that the rules leave; both are said, and what was computed is
    planned.
    """
    kinds = allowed(setup, patch=is_patch(setup, facts.regions)).kinds
    tried = {kind for choice in search.candidates for kind in _kinds(choice)}
    usual = next((kind for kind in kinds if kind in tried), None)
    if usual is None or not chosen.backings or usual in _kinds(chosen):
        return ()
    kind = chosen.backings[0].kind
    failed = [
        choice
        for choice, trial in search.trials.items()
        if usual in _kinds(choice) and not search.good(trial)
    ]
    if not failed:
        return ()
    if not search.good(search.trials[chosen]):
        return (say("reason", "against_better", usual=usual, kind=kind),)
    heaviest = max(failed, key=lambda choice: choice.total_g_m2)
    trial = search.trials[heaviest]
    names = trial.decided_by or ", ".join(trial.faults)
    return (say("reason", "against_fails", usual=usual, tried=named(heaviest), names=names, kind=kind),)


def _kinds(choice: StackChoice) -> tuple[str, ...]:
    return tuple(item.kind for item in choice.backings)
