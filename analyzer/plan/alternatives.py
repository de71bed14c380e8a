"""The stacks next to the chosen one, and why they were not chosen."""

from __future__ import annotations

from analyzer.findings import chance_words
from analyzer.goods import format_backing
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.search import Search
from analyzer.plan.types import Alternative, Trial


def named(choice: StackChoice) -> str:
    """Return the backing of a stack as it may be typed: ``cutaway:85x2``, or ``none``."""
    return " + ".join(format_backing(item) for item in choice.backings) or "none"


def alternatives(search: Search, place: int) -> tuple[Alternative, ...]:
    """Return the nearest lighter stack that was tried, and the next heavier one, of the same kind if any."""
    chosen = search.candidates[place]
    found = []
    lighter = [p for p in search.trials if search.candidates[p].total_g_m2 < chosen.total_g_m2]
    if lighter:
        trial = search.trials[max(lighter)]
        found.append(Alternative(named(trial.choice), _why_not_lighter(trial, search.trials[place])))
    step = _step_up(search, place)
    if step is not None:
        choice = search.candidates[step]
        why = _why_not_heavier(search.trials.get(step), choice.total_g_m2 - chosen.total_g_m2)
        found.append(Alternative(named(choice), why))
    return tuple(found)


def _step_up(search: Search, place: int) -> int | None:
    """Return the next heavier candidate of the same kind, or of any kind where the kind ends here."""
    chosen = search.candidates[place]
    kinds = {item.kind for item in chosen.backings}
    heavier = [p for p, choice in enumerate(search.candidates) if choice.total_g_m2 > chosen.total_g_m2]
    alike = [p for p in heavier if {item.kind for item in search.candidates[p].backings} == kinds]
    return next(iter(alike or heavier), None)


def _why_not_lighter(trial: Trial, chosen: Trial) -> str:
    saved = f"{chosen.choice.total_g_m2 - trial.choice.total_g_m2:.0f}"
    words = chance_words(trial.chance_of_missing)
    if trial.beyond_range:
        return say("why_not", "lighter_beyond", lighter=saved)
    return say(
        "why_not",
        "lighter_as_unlikely" if words == chance_words(chosen.chance_of_missing) else "lighter",
        lighter=saved,
        decided=trial.decided_by or ", ".join(trial.faults),
        words=words,
    )


def _why_not_heavier(trial: Trial | None, more_g_m2: float) -> str:
    if trial is None:
        return say("why_not", "stronger", heavier=f"{more_g_m2:.0f}")
    words = chance_words(trial.chance_of_missing)
    return say("why_not", "stronger_chance", heavier=f"{more_g_m2:.0f}", words=words)
