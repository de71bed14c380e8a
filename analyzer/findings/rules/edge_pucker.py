"""edge-pucker: the cloth ripples around the stitching once it is out of the hoop.

Meaning: stitching shortens the cloth; what is too long beside it must rise in waves.
Unit: mm, height of the wave that takes up the excess.
Limit: pucker_mm (guess: seen at arm's length, and does not press flat).
Known weakness: it ranks designs and backings; it is no seam grade.
Try: a stronger backing that stays, or lighter stitching; ease the cloth flat in the hoop without
stretching it.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.verdicts import pucker_is_inside, pucker_verdict
from analyzer.findings.words import chance_words, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report pucker around the stitching when it is likely enough."""
    verdict = pucker_verdict(evidence)
    if verdict.chance < evidence.limit("chance_worth_saying") or pucker_is_inside(evidence):
        return None
    limit = evidence.limit("pucker_mm")
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=(),
        at=verdict.at,
        measured=verdict.amplitude_mm,
        limit=limit,
        unit="mm",
        chance=verdict.chance,
        because=(
            f"The stitching leaves cloth too long around the stitching: waves of about "
            f"{millimetres(verdict.amplitude_mm)} out of the hoop. More than {millimetres(limit)} is "
            f"{chance_words(verdict.chance)}."
        ),
        advice=(
            "Use a stronger backing that stays, or lighter stitching; "
            "ease the cloth flat in the hoop without stretching it."
        ),
    )


RULE = Rule("edge-pucker", "response", "stack", look, __doc__ or "")
