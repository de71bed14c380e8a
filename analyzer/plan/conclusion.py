"""What a plan comes to, for the lines that are read first: why it is in doubt, and what follows from it.

A finding by itself can only name what helps in general; once stacks have been searched it is known whether
one of them helps here, and the advice has to be that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, TypeAlias

from analyzer.findings import chance_words
from analyzer.goods.setup import Setup
from analyzer.plan.advice import say
from analyzer.plan.reasons import one_in
from analyzer.plan.rules import is_lace
from analyzer.plan.search import holds
from analyzer.plan.types import Conclusion, Rework, Trial

Asked: TypeAlias = Literal["open", "stock", "given"]  #: where the stacks came from


def of_a_cap(*, given: bool) -> Conclusion:
    """Return what the plan for a cap comes to: nothing is computed for it."""
    return Conclusion(why=say("conclusion", "cap"), do="" if given else say("conclusion", "cap_sample"))


def concluded(
    setup: Setup,
    trial: Trial,
    asked: Asked,
    *,
    rules_broken: Sequence[str],
    drowns: bool,
    buy: str | None,
    changes: Sequence[Rework],
) -> Conclusion:
    """Return what a plan comes to that was searched for or judged.

    Args:
        setup: the goods and everything around them.
        trial: of the stack chosen.
        asked: whether the stacks were open, those of a stock, or the one that the user named.
        rules_broken: the rules of the trade that the stack breaks, as sentences.
        drowns: whether pile closes over the stitching after the first wash.
        buy: what to buy where the stock will not do.
        changes: to the design that help, the best first.

    """
    good = holds(trial, setup.chance_accepted)
    why = say("reason", "drowns") if drowns else ""
    if rules_broken:
        why = say("conclusion", f"rules_{asked}", rules=" ".join(rules_broken))
    misses = ""
    if not good and not trial.beyond_range:
        decided = trial.decided_by or ", ".join(trial.faults)
        misses = say("conclusion", "misses", decided=decided, words=chance_words(trial.chance_of_missing))
    return Conclusion(why, misses, _what_to_do(setup, asked, good=good, why=why, buy=buy, changes=changes))


def _what_to_do(
    setup: Setup, asked: Asked, *, good: bool, why: str, buy: str | None, changes: Sequence[Rework]
) -> str:
    if is_lace(setup):
        return ""  # lace is helped by what its findings say, not by more film
    if buy is not None:
        return say("reason", "buy", buy=buy)
    if asked == "given":
        return say("reason", "given_fails") if why else ""
    if good:
        return say("conclusion", "sample") if why else say("conclusion", "holds")
    accepted = one_in(setup.chance_accepted)
    where = say("conclusion", "nowhere" if asked == "open" else "nowhere_stock", accepted=accepted)
    if not changes:
        return f"{where} {say('conclusion', 'design')}"
    first = changes[0]
    region = "" if first.region is None else f"Region {first.region}: "
    return f"{where} {say('conclusion', 'change', change=f'{region}{first.what} {first.effect}')}"
