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
from analyzer.findings.types import Finding
from analyzer.findings.verdicts import pucker_finding


def look(evidence: Evidence) -> Finding | None:
    """Report pucker around the stitching when it is likely enough."""
    return pucker_finding(
        evidence,
        RULE.name,
        inside=False,
        where="around the stitching",
        advice=(
            "Use a stronger backing that stays, or lighter stitching; "
            "ease the cloth flat in the hoop without stretching it."
        ),
    )


RULE = Rule("edge-pucker", "response", "stack", look, __doc__ or "")
