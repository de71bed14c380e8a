"""The stacks next to the chosen one, why they were not chosen, and their numbers."""

from __future__ import annotations

from analyzer.findings import chance_words
from analyzer.goods import format_backing
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.rules import relative_cost, stiffness
from analyzer.plan.search import Search
from analyzer.plan.types import Alternative, Trial


def named(choice: StackChoice) -> str:
    """Return the backing of a stack as it may be typed: ``cutaway:85x2``, or ``none``."""
    return " + ".join(format_backing(item) for item in choice.backings) or "none"


def alternatives(setup: Setup, search: Search, chosen: StackChoice) -> tuple[Alternative, ...]:
    """Return the nearest lighter stack tried, the nearest cheaper one if it is another, and a stronger one.

    The stronger one is the next heavier of its kind, or the next stiffer one where the kind ends there; it
    is judged for its numbers.
    """
    cost = relative_cost(setup, chosen)

    def described(trial: Trial, why: str) -> Alternative:
        own = relative_cost(setup, trial.choice)
        return Alternative(
            backing=named(trial.choice),
            why_not=why,
            g_m2=trial.choice.total_g_m2,
            layers=trial.choice.layers,
            relative_cost=own / cost if cost > 0 else None,
            chance=trial.chance_of_missing,
            decided_by=next(iter(trial.margins), None),
        )

    tried = [choice for choice in search.trials if choice != chosen]
    lighter = [choice for choice in tried if choice.total_g_m2 < chosen.total_g_m2]
    cheaper = [choice for choice in tried if relative_cost(setup, choice) < cost]
    picked = []
    if lighter:
        picked.append(max(lighter, key=lambda choice: (choice.total_g_m2, -search.rank(choice))))
    if cheaper:
        nearest = max(cheaper, key=lambda choice: (relative_cost(setup, choice), -search.rank(choice)))
        if nearest not in picked:
            picked.append(nearest)
    found = [
        described(search.trials[choice], _why_not(search, search.trials[choice], chosen)) for choice in picked
    ]
    step = _step_up(setup, search, chosen)
    if step is not None and step not in picked:
        trial = search.trial(step)
        found.append(described(trial, _why_not_heavier(trial, chosen)))
    return tuple(found)


def _step_up(setup: Setup, search: Search, chosen: StackChoice) -> StackChoice | None:
    """Return the next heavier candidate of the same kind, or the next stiffer one where the kind ends."""
    heavier = [choice for choice in search.candidates if choice.total_g_m2 > chosen.total_g_m2]
    own = search.ladder(chosen)
    alike = [choice for choice in heavier if choice in own]
    stiffer = [choice for choice in heavier if stiffness(setup, choice) > stiffness(setup, chosen)]
    return next(iter(alike or stiffer), None)


def _why_not(search: Search, trial: Trial, chosen: StackChoice) -> str:
    difference = chosen.total_g_m2 - trial.choice.total_g_m2
    if search.good(trial):
        name = "stuck" if difference > 0 else "cheaper_heavier"
        return say("why_not", name, lighter=f"{difference:.0f}", heavier=f"{-difference:.0f}")
    words = chance_words(trial.chance_of_missing)
    how = (
        say("why_not", "by_weight_lighter", by=f"{difference:.0f}")
        if difference > 0
        else say("why_not", "cheaper")
    )
    if trial.beyond_range:
        return say("why_not", "lighter_beyond", how=how)
    alike = words == chance_words(search.trials[chosen].chance_of_missing)
    decided = trial.decided_by or ", ".join(trial.faults)
    return say(
        "why_not", "lighter_as_unlikely" if alike else "lighter", how=how, decided=decided, words=words
    )


def _why_not_heavier(trial: Trial, chosen: StackChoice) -> str:
    more = f"{trial.choice.total_g_m2 - chosen.total_g_m2:.0f}"
    return say("why_not", "stronger_chance", heavier=more, words=chance_words(trial.chance_of_missing))
