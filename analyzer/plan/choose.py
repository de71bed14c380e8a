"""The plan: the lightest stack that holds, its neighbours, and what it all comes to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from analyzer.cloth.types import Cover
from analyzer.findings import RULES, Findings, Level, chance_words
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan.advice import say
from analyzer.plan.alternatives import alternatives
from analyzer.plan.handling import attach, needle, sheet_mm, speed_spm
from analyzer.plan.rules import allowed
from analyzer.plan.search import Search, holds
from analyzer.plan.steps import cautions, steps
from analyzer.plan.topping import choose_topping
from analyzer.plan.types import Alternative, Plan, Rework, ToppingChoice, Trial
from analyzer.regions.types import Regions

Outcome: TypeAlias = Literal["hoop-it", "sample-first", "rework"]
ONLY_A_SEWOUT_SETTLES = ("needle-crowding", "thread-pile-up")


@dataclass(frozen=True, slots=True)
class Facts:
    """What the plan knows of the design: its regions, its cover, and the findings that need no mechanics."""

    regions: Regions
    cover: Cover
    measured: Findings


def trial_of(choice: StackChoice, findings: Findings, *, beyond_range: bool) -> Trial:
    """Return what judging one stack came to, as the search sees it."""
    return Trial(
        choice=choice,
        chance_of_missing=findings.chance_of_missing,
        decided_by=findings.decided_by,
        faults=tuple(
            item.name
            for item in findings.items
            if item.level == Level.FAULT and RULES[item.name].cure == "stack"
        ),
        beyond_range=beyond_range,
    )


def choose(
    setup: Setup,
    facts: Facts,
    candidates: tuple[StackChoice, ...],
    judge: Callable[[StackChoice], Trial],
    *,
    confirm: Callable[[StackChoice], Trial] | None = None,
    changes: Callable[[StackChoice], tuple[Rework, ...]] | None = None,
    given: bool = False,
    from_stock: bool = False,
) -> Plan:
    """Return the plan for the first of ``candidates`` that holds, or else for the best; lightest first.

    ``judge`` is asked while searching; ``confirm``, where given, judges the stack that the search ends at
    anew and in more detail, and the plan goes by that. ``changes`` tries changes to the design on the stack
    chosen, where that is not simply hooped. ``given`` says that the user named the stack: the
    one candidate is judged and nothing is searched. On caps nothing is judged: the plan goes by rules alone
    and wants a sample.
    """
    faults = tuple(
        item.name
        for item in facts.measured.items
        if item.level == Level.FAULT and RULES[item.name].cure != "stack"
    )
    unsettled = tuple(
        item.name
        for item in facts.measured.items
        if item.level == Level.CAUTION and item.name in ONLY_A_SEWOUT_SETTLES
    )
    said = [say("reason", "file_fault", names=", ".join(faults))] if faults else []
    said += [say("reason", "sewout", names=", ".join(unsettled))] if unsettled else []
    if from_stock:
        kinds = {item.kind for choice in candidates for item in choice.backings}
        said.append(say("reason", "stock" if kinds & set(setup.cloth.backings) else "stock_rules"))
    if setup.holding == "cap-frame":
        choice = candidates[0] if given else _for_a_cap(candidates)
        outcome: Outcome = "rework" if faults else "sample-first"
        return _plan(setup, facts, choice, outcome, (say("reason", "caps"), *said))
    search = Search(candidates, judge)
    place = 0 if given else search.lightest()
    if place is None:
        place = search.best()
    if confirm is not None:
        place = search.confirmed(place, confirm)
    trial = search.trial(place)
    outcome = _outcome(setup, trial, faults, unsettled)
    ruled_out = () if given else allowed(setup).reasons
    reasons = (*_why(trial, given=given), *said, *ruled_out)
    others = () if given else alternatives(search, place)
    helping = () if outcome == "hoop-it" or changes is None else changes(trial.choice)
    return _plan(setup, facts, trial.choice, outcome, reasons, others, helping, given=given)


def _for_a_cap(candidates: tuple[StackChoice, ...]) -> StackChoice:
    """Return the heaviest single layer."""
    single = [choice for choice in candidates if choice.layers <= 1]
    return (single or list(candidates))[-1]


def _plan(
    setup: Setup,
    facts: Facts,
    choice: StackChoice,
    outcome: Outcome,
    reasons: tuple[str, ...],
    others: tuple[Alternative, ...] = (),
    changes: tuple[Rework, ...] = (),
    *,
    given: bool = False,
) -> Plan:
    return Plan(
        outcome=outcome,
        choice=choice,
        attach=attach(setup, choice),
        topping=_topping(setup, facts, choice),
        holding=setup.holding,
        hoop_mm=(setup.hoop.width_mm, setup.hoop.height_mm),
        needle=needle(setup),
        speed_spm=speed_spm(setup),
        sheet_mm=sheet_mm(setup) if choice.backings else (0.0, 0.0),
        steps=steps(setup, choice, facts.cover, outcome=outcome, given=given),
        cautions=cautions(setup, choice),
        reasons=reasons,
        alternatives=others,
        rework=changes,
    )


def _outcome(
    setup: Setup, trial: Trial, measured_faults: tuple[str, ...], unsettled: tuple[str, ...]
) -> Outcome:
    """Judge the stack chosen. Lace holds its own shape once it is sewn, so beyond range it wants a sample."""
    lace = setup.cloth.family == "none"
    if measured_faults or (trial.beyond_range and not lace):
        return "rework"
    if trial.chance_of_missing > constants("plan")["chance_rework"].value:
        return "rework"
    return "hoop-it" if holds(trial) and not unsettled else "sample-first"


def _topping(setup: Setup, facts: Facts, choice: StackChoice) -> ToppingChoice | None:
    if choice.topping is None:
        return None
    by_rule = choose_topping(setup, facts.regions, facts.cover)
    if by_rule is not None and by_rule.kind == choice.topping:
        return by_rule
    return ToppingChoice(choice.topping, say("topping", "asked"))


def _why(trial: Trial, *, given: bool) -> tuple[str, ...]:
    words, decided = chance_words(trial.chance_of_missing), trial.decided_by
    misses = trial.chance_of_missing >= constants("plan")["chance_accepted"].value
    if given:
        said = [say("reason", "single", words=words)]
    elif holds(trial):
        said = [say("reason", "lightest")]
    elif misses:
        said = [say("reason", "best_of_bad", words=words)]
    elif trial.beyond_range:
        said = [say("reason", "out_of_range")]
    else:
        said = [say("reason", "stack_faults", names=", ".join(trial.faults))]
    if misses:
        said += [say("reason", "decided", decided=decided)] if decided else []
    if trial.beyond_range and (given or misses):
        said.append(say("reason", "beyond"))
    if given and not holds(trial):
        said.append(say("reason", "given_fails"))
    return tuple(said)
