"""Looking for every finding that the evidence allows, and the one chance that the plan goes by."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from analyzer.cloth.types import Cover, Use
from analyzer.design import Design
from analyzer.findings.evidence import Evidence
from analyzer.findings.gaps import gap_verdict, judge_gap, tolerance_mm
from analyzer.findings.margins import margins
from analyzer.findings.registry import RULES
from analyzer.findings.types import Finding, Findings, Level
from analyzer.findings.verdicts import pucker_verdict
from analyzer.goods.setup import Setup
from analyzer.regions.types import Regions

_ORDER = {Level.FAULT: 0, Level.CAUTION: 1, Level.NOTE: 2}


def measure(design: Design, regions: Regions, cover: Cover, use: Use, setup: Setup | None = None) -> Findings:
    """Return the findings that need no mechanics; those on goods and hoop only with a ``setup``."""
    return judge(Evidence(design, regions, cover, use, setup))


def judge(evidence: Evidence) -> Findings:
    """Return all findings that the evidence allows, faults first, with the verdicts on gaps and pucker.

    Silenced findings are left out of ``items``; they still count in ``chance_of_missing``.
    """
    evidence = _with_gaps(evidence)
    return replace(weigh(evidence), items=_in_order(_look(evidence)))


def weigh(evidence: Evidence) -> Findings:
    """Return the verdicts on gaps and pucker and the chance of missing, without looking for findings."""
    evidence = _with_gaps(evidence)
    pucker = pucker_verdict(evidence)
    kept = margins(evidence, pucker)
    worst = kept[0] if kept and kept[0].chance > 0 else None
    return Findings(
        items=(),
        gaps=tuple(gap_verdict(gap) for gap in evidence.gaps),
        pucker=pucker,
        tolerance_mm=tolerance_mm(evidence),
        chance_of_missing=0.0 if worst is None else worst.chance,
        decided_by="" if worst is None else worst.name,
        margins=kept,
    )


def _with_gaps(evidence: Evidence) -> Evidence:
    """Return evidence whose gaps are judged."""
    if evidence.response is None or evidence.gaps:
        return evidence
    return replace(evidence, gaps=tuple(judge_gap(evidence, gap) for gap in evidence.response.gaps))


def _look(evidence: Evidence) -> Iterable[Finding]:
    silenced = () if evidence.setup is None else evidence.setup.silenced
    for rule in RULES.values():
        if rule.name in silenced or not evidence.offers(rule.needs):
            continue
        finding = rule.look(evidence)
        if finding is not None:
            yield finding


def _in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort by level, then by chance (what is measured counts as certain), else as registered."""
    return tuple(sorted(findings, key=lambda f: (_ORDER[f.level], -(1.0 if f.chance is None else f.chance))))
