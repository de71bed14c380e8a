"""A screen of one design on several goods: how it would come out, quickly, for ranking many designs."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from analyzer import findings, goods, mechanics, plan
from analyzer.cloth import Cover, Use
from analyzer.design import Design
from analyzer.findings import Evidence
from analyzer.findings.types import Finding, Findings, GapVerdict
from analyzer.goods import Draws, Setup, StackChoice
from analyzer.library.types import Noted, Verdict
from analyzer.plan import Facts
from analyzer.regions import Regions
from analyzer.report.terminal import backing_in_words

_DRAWS = 400  #: of a screen: a chance of one in ten is then known within three in a hundred


@dataclass(frozen=True, slots=True)
class Measured:
    """A design and what is measured of it."""

    design: Design
    regions: Regions
    cover: Cover
    use: Use


@dataclass(frozen=True, slots=True)
class Screened:
    """What a screen of one design on one goods gives."""

    verdict: Verdict
    choice: StackChoice
    response: mechanics.Response


def screened(of: Measured, setups: Iterable[Setup]) -> tuple[Screened, ...]:
    """Return what a design does on each goods with the backing that is usual there.

    That is one medium layer; where it does not hold, the most of that kind which check would try. A screen
    ranks designs (:func:`analyzer.mechanics.scan`); before anything is sewn, check does it in full.
    """
    done: list[Screened] = []
    for hoop, alike in itertools.groupby(setups, key=lambda setup: setup.hoop):
        sewing = mechanics.prepare(of.design, of.regions, hoop, detail="screen")
        on = tuple(alike)
        choices = [_choices(setup, of) for setup in on]
        scans, lead = _sewn(sewing, on, [usual for usual, _ in choices], None)
        best: dict[int, Screened] = {}
        for n, (setup, (usual, strong), scan) in enumerate(zip(on, choices, scans, strict=True)):
            # What is beyond range on a layer too few is not looked at further.
            if usual == strong or not scan.beyond_range:
                best[n] = _judged(of, setup, usual, scan)
        stronger = [n for n, (usual, strong) in enumerate(choices) if usual != strong]
        weak = [n for n in stronger if n not in best or not best[n].verdict.enough]
        if weak:
            scans, _ = _sewn(sewing, [on[n] for n in weak], [choices[n][1] for n in weak], lead)
            for n, scan in zip(weak, scans, strict=True):
                one = _judged(of, on[n], choices[n][1], scan)
                best[n] = min(best.get(n, one), one, key=_order)
        done += [best[n] for n in range(len(on))]
    return tuple(done)


def _order(one: Screened) -> tuple[int, float]:
    return plan.OUTCOMES.index(one.verdict.outcome), one.verdict.chance


def _choices(setup: Setup, of: Measured) -> tuple[StackChoice, StackChoice]:
    over = plan.choose_topping(setup, of.regions, of.cover)
    return plan.usual_stacks(setup, of.regions, of.cover, over.kind if over else None)


def _sewn(
    sewing: mechanics.Sewing,
    on: Sequence[Setup],
    choices: Sequence[StackChoice],
    lead: mechanics.Lead | None,
) -> tuple[tuple[mechanics.Scanned, ...], mechanics.Lead]:
    stacks = [goods.build_stack(setup, choice) for setup, choice in zip(on, choices, strict=True)]
    return mechanics.scan(sewing, stacks, draws_of_a_screen(), lead)


def _judged(of: Measured, setup: Setup, choice: StackChoice, scan: mechanics.Scanned) -> Screened:
    response = scan.response()
    flat = setup.holding != "cap-frame"
    stack = scan.begun.stack
    evidence = Evidence(
        of.design, of.regions, of.cover, of.use, setup, stack, response if flat else None, choice
    )
    verdict = screen_verdict(of, setup, choice, findings.judge(evidence), response)
    return Screened(verdict, choice, response)


@cache
def draws_of_a_screen() -> Draws:
    """Return the draws that every screen goes by."""
    return goods.draw(_DRAWS, 0)


def screen_verdict(
    of: Measured, setup: Setup, choice: StackChoice, found: Findings, response: mechanics.Response
) -> Verdict:
    """Return what a screen says of one goods on one stack: what the plan would, had it only that one."""
    trial = plan.trial_of(choice, found, beyond_range=response.pull_in.beyond_range)
    drowned = findings.drowned_share(of.design, of.regions, setup.limits)
    outcome = plan.outcome_of(setup, Facts(of.regions, of.cover, found, drowned), trial)
    holds = not trial.beyond_range and found.chance_of_missing <= setup.chance_accepted
    worst = max(found.gaps, key=lambda one: max(one.chance_bare, one.chance_overlap), default=None)
    return verdict_of(setup.cloth.name, outcome, found, worst, choice, holds=holds)


def verdict_of(
    on: str, outcome: str, found: Findings, worst: GapVerdict | None, choice: StackChoice, *, holds: bool
) -> Verdict:
    """Return what the design book keeps of a judgement."""
    return Verdict(
        goods=on,
        outcome=outcome,
        chance=found.chance_of_missing,
        decided_by=found.decided_by,
        worst_gap_mm=worst.worst_mm if worst else None,
        gap_low_mm=worst.low_mm if worst else None,
        gap_high_mm=worst.high_mm if worst else None,
        pucker_mm=found.pucker.amplitude_mm,
        stack=backing_in_words(choice),
        enough=holds,
        backing=", ".join(one.kind for one in choice.backings),
        backing_g_m2=choice.total_g_m2,
        layers=choice.layers,
        noted=noted_of(on, found.items),
    )


def noted_of(on: str, items: Iterable[Finding]) -> tuple[Noted, ...]:
    """Return what the design book keeps of findings."""
    return tuple(Noted(on, item.name, item.level.value, item.measured, item.chance) for item in items)
