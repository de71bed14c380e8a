"""Trying changes to a design in the model: each is cut, laid out, sewn and judged like any design."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from analyzer import cloth, findings, mechanics
from analyzer.cloth import Cover
from analyzer.design import Design
from analyzer.findings import Evidence, Findings
from analyzer.goods import Draws, Setup, Stack, StackChoice
from analyzer.mechanics import Earlier, Response
from analyzer.plan import Rework, best_first, outlook, proposals, weighed
from analyzer.regions import Edges, Regions, cut


@dataclass(frozen=True, slots=True)
class Tried:
    """One design on one stack, as it was judged before any change."""

    design: Design
    regions: Regions
    cover: Cover
    setup: Setup
    choice: StackChoice
    stack: Stack
    response: (
        Response  #: by whose drift the countered copy goes, and all changes by its course over the draws
    )
    findings: Findings  #: which changes are proposed for
    earlier: Earlier  #: what was sewn of it: changes differ little
    edges: Edges  #: of its regions, most of which a change leaves as they are


def try_changes(tried: Tried, draws: Draws, tell: Callable[[str, float], None]) -> tuple[Rework, ...]:
    """Return the changes that help, best first, each with what it was computed to come to.

    Raises:
        NotConverged: a solve missed its tolerance.

    """
    drifted = None
    if not tried.response.pull_in.beyond_range:
        drifted = mechanics.against_drift(tried.design, tried.response.drift)
    before = _judged(tried, tried.design, tried.regions, draws, measured=True)
    ideas = proposals(tried.design, tried.regions, tried.findings, drifted, tried.setup.chance_accepted)
    found = []
    for number, idea in enumerate(ideas):
        tell("trying changes", number / len(ideas))
        changed = idea.change()
        if changed is None:
            continue
        after = _judged(tried, changed, cut(changed, tried.edges), draws, measured=bool(idea.measures))
        change = weighed(idea, outlook(before, idea.measures), outlook(after, idea.measures))
        if change is not None:
            found.append(change)
    return best_first(found)


def _judged(tried: Tried, changed: Design, regions: Regions, draws: Draws, *, measured: bool) -> Findings:
    """Return the findings on a changed design; only their chances where nothing is to be measured.

    They are made of nominal values on the coarse grid and the original's course over the draws: what one and
    the same stack is uncertain of hardly depends on where some stitches lie.
    """
    cover = tried.cover
    if measured and changed is not tried.design:
        cover = cloth.measure(changed, regions, thread_width_mm=tried.setup.thread.laid_width_mm.value)
    sewing = mechanics.prepare(changed, regions, tried.setup.hoop, detail="screen")
    response = mechanics.respond(
        sewing, tried.stack, draws, detail="screen", like=tried.response, earlier=replace(tried.earlier)
    )
    use = cloth.use(changed, thickness_mm=tried.stack.thickness_mm, speed_spm=tried.setup.speed_spm)
    evidence = Evidence(changed, regions, cover, use, tried.setup, tried.stack, response, tried.choice)
    return findings.judge(evidence) if measured else findings.weigh(evidence)
