"""The plan: the lightest stack that holds, its neighbours, and what it all comes to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from analyzer.findings import RULES, Findings, Level
from analyzer.goods.constants import constants
from analyzer.goods.setup import Setup
from analyzer.goods.types import StackChoice
from analyzer.plan import reasons
from analyzer.plan.advice import say
from analyzer.plan.alternatives import alternatives, named
from analyzer.plan.cautions import cautions
from analyzer.plan.conclusion import concluded, of_a_cap
from analyzer.plan.facts import Facts
from analyzer.plan.handling import attach, needle, sheet_mm, speed_spm
from analyzer.plan.rules import allowed, broken, is_lace, is_patch
from analyzer.plan.search import Search, holds
from analyzer.plan.steps import steps
from analyzer.plan.topping import choose_topping, wants_topping
from analyzer.plan.types import Alternative, Conclusion, Plan, Rework, ToppingChoice, Trial

Outcome: TypeAlias = Literal["hoop-it", "sample-first", "rework"]
OUTCOMES: tuple[str, ...] = get_args(Outcome)  #: the best first
#: Findings of the file that at level caution leave the plan in doubt, however good the stack.
ONLY_A_SEWOUT_SETTLES = (
    "needle-crowding",
    "thread-pile-up",
    "perforated-edge",
    "small-lettering",
)
TO_PUT_RIGHT = ("missing-stop",)


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
        margins=findings.margins,
    )


@dataclass(frozen=True, slots=True)
class _Doubts:
    """What stands against simply hooping it, besides what was computed on the stack."""

    faults: tuple[str, ...]  #: findings of file and job at level fault, which no backing cures
    unsettled: tuple[str, ...]
    to_put_right: tuple[str, ...]
    drowns: bool  #: pile will close over it after the first wash, topping or not
    broken: tuple[str, ...]  #: rules of the trade that the stack breaks, as sentences

    @property
    def any(self) -> bool:
        """Whether there is a doubt."""
        return bool(self.unsettled or self.to_put_right or self.drowns or self.broken)

    def said(self) -> tuple[str, ...]:
        """Return the doubts as sentences."""
        said = []
        if self.faults:
            said.append(say("reason", "file_fault", names=", ".join(self.faults)))
        if self.to_put_right:
            said.append(say("reason", "put_right", names=", ".join(self.to_put_right)))
        if self.unsettled:
            said.append(say("reason", "sewout", names=", ".join(self.unsettled)))
        if self.drowns:
            said.append(say("reason", "drowns"))
        said += [say("reason", "rule_broken", rule=rule) for rule in self.broken]
        return tuple(said)


def _doubts(setup: Setup, facts: Facts, choice: StackChoice, *, chosen_freely: bool) -> _Doubts:
    items = facts.measured.items
    cautions_ = {item.name for item in items if item.level == Level.CAUTION}
    washed = setup.care in ("washed-often", "industrial", "washed-gently")
    return _Doubts(
        faults=tuple(
            item.name for item in items if item.level == Level.FAULT and RULES[item.name].cure != "stack"
        ),
        unsettled=tuple(name for name in ONLY_A_SEWOUT_SETTLES if name in cautions_),
        to_put_right=tuple(name for name in TO_PUT_RIGHT if name in cautions_),
        drowns=wants_topping(setup)
        and washed
        and facts.drowned_share > setup.limits["runs_on_pile_share"].value,
        broken=() if chosen_freely else broken(setup, choice),
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
    ordinary: Callable[[], tuple[StackChoice, ...]] | None = None,
) -> Plan:
    """Return the plan for the first of ``candidates`` that holds, or else for the best; lightest first.

    ``judge`` is asked while searching; ``confirm``, where given, judges the stack that the search ends at
    anew and in more detail, and the plan goes by that. ``changes`` tries changes to the design on the stack
    chosen, where that is not simply hooped. ``given`` says that the user named the stack: the
    one candidate is judged and nothing is searched. ``ordinary`` says that the candidates come from a stock
    and gives those of the usual weights, to say what to buy. On caps nothing is judged: the plan goes by
    rules alone and wants a sample.
    """
    from_stock = ordinary is not None
    if setup.holding == "cap-frame":
        return _for_a_cap(setup, facts, candidates, given=given)
    search = Search(candidates, judge, setup.chance_accepted)
    choice = candidates[0] if given else search.lightest() or search.best()
    if confirm is not None:
        choice = search.confirmed(choice, confirm)
    trial = search.trial(choice)
    doubts = _doubts(setup, facts, choice, chosen_freely=not given and not from_stock)
    outcome = _outcome(setup, trial, doubts)
    if "hoop-too-small" in doubts.faults:
        said = [say("reason", "too_small"), *doubts.said()]
        return _plan(setup, facts, choice, outcome, tuple(said), given=given, tried=len(search.trials))
    buy = None
    if ordinary is not None and (doubts.broken or not search.good(trial)):
        buy = _to_buy(setup, ordinary(), judge, confirm)
    said = [*reasons.computed(setup, trial, given=given, buy=buy), *doubts.said()]
    if doubts.broken and search.good(trial):
        said.append(say("reason", "holds_while_sewn"))
    said += reasons.by_rule(setup, facts, choice)
    if ordinary is not None:
        kinds = {item.kind for one in candidates for item in one.backings}
        said.append(say("reason", "stock" if kinds & set(setup.cloth.backings) else "stock_rules"))
        if doubts.broken or not search.good(trial):
            said.append(say("reason", "buy_nothing") if buy is None else say("reason", "buy", buy=buy))
    others: tuple[Alternative, ...] = ()
    if not given:
        said += reasons.disagreements(setup, facts, search, choice)
        said += allowed(setup, patch=is_patch(setup, facts.regions)).reasons
        others = alternatives(setup, search, choice)
    helping = () if outcome == "hoop-it" or changes is None else changes(choice)
    return _plan(
        setup,
        facts,
        choice,
        outcome,
        tuple(said),
        trial=trial,
        buy=buy,
        others=others,
        changes=helping,
        given=given,
        tried=len(search.trials),
        conclusion=concluded(
            setup,
            trial,
            "given" if given else "stock" if from_stock else "open",
            rules_broken=doubts.broken,
            drowns=doubts.drowns,
            buy=buy,
            changes=helping,
        ),
    )


def _to_buy(
    setup: Setup,
    usual: tuple[StackChoice, ...],
    judge: Callable[[StackChoice], Trial],
    confirm: Callable[[StackChoice], Trial] | None,
) -> str | None:
    """Return the lightest stack of the usual weights that holds, None where none does.

    It is judged like the plan's own stack, or what is bought here might be refused when it is there.
    """
    search = Search(usual, judge, setup.chance_accepted)
    found = search.lightest()
    if found is not None and confirm is not None:
        found = search.confirmed(found, confirm)
    return None if found is None or not search.good(search.trial(found)) else named(found)


def _for_a_cap(setup: Setup, facts: Facts, candidates: tuple[StackChoice, ...], *, given: bool) -> Plan:
    """Return the plan for a cap, by rules alone: the heaviest single layer, and a sample."""
    single = [choice for choice in candidates if choice.layers <= 1]
    choice = candidates[0] if given else (single or list(candidates))[-1]
    doubts = _doubts(setup, facts, choice, chosen_freely=True)
    outcome: Outcome = "rework" if doubts.faults else "sample-first"
    said = (say("reason", "caps"), *doubts.said())
    return _plan(setup, facts, choice, outcome, said, given=given, conclusion=of_a_cap(given=given))


def _plan(
    setup: Setup,
    facts: Facts,
    choice: StackChoice,
    outcome: Outcome,
    said: tuple[str, ...],
    *,
    trial: Trial | None = None,
    buy: str | None = None,
    others: tuple[Alternative, ...] = (),
    changes: tuple[Rework, ...] = (),
    given: bool = False,
    tried: int = 0,
    conclusion: Conclusion = Conclusion(),  # noqa: B008 - frozen
) -> Plan:
    return Plan(
        outcome=outcome,
        choice=choice,
        attach=attach(setup, choice),
        topping=_topping(setup, facts, choice),
        holding=setup.holding,
        hoop_mm=(setup.hoop.width_mm, setup.hoop.height_mm),
        needle=needle(setup, facts.regions),
        speed_spm=speed_spm(setup),
        sheet_mm=sheet_mm(setup) if choice.backings else (0.0, 0.0),
        steps=steps(setup, facts, choice, outcome=outcome, given=given),
        cautions=cautions(setup, choice),
        reasons=said,
        decided_by=next(iter(trial.margins), None) if trial is not None else None,
        buy=buy,
        stacks_tried=tried,
        alternatives=others,
        rework=changes,
        conclusion=conclusion,
    )


def outcome_of(setup: Setup, facts: Facts, trial: Trial) -> Outcome:
    """Return the outcome of one stack that was not chosen by the user, without searching for another."""
    return _outcome(setup, trial, _doubts(setup, facts, trial.choice, chosen_freely=True))


def _outcome(setup: Setup, trial: Trial, doubts: _Doubts) -> Outcome:
    """Judge the stack chosen. Lace holds its own shape once it is sewn, so beyond range it wants a sample."""
    if doubts.faults or (trial.beyond_range and not is_lace(setup)):
        return "rework"
    if trial.chance_of_missing > constants("plan")["chance_rework"].value:
        return "rework"
    return "hoop-it" if holds(trial, setup.chance_accepted) and not doubts.any else "sample-first"


def _topping(setup: Setup, facts: Facts, choice: StackChoice) -> ToppingChoice | None:
    if choice.topping is None:
        return None
    by_rule = choose_topping(setup, facts.regions, facts.cover)
    if by_rule is not None and by_rule.kind == choice.topping:
        return by_rule
    return ToppingChoice(choice.topping, say("topping", "asked"))
