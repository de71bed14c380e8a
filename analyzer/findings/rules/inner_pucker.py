"""inner-pucker: the cloth ripples inside the design once it is out of the hoop.

Meaning: stitching shortens the cloth; what is too long beside it must rise in waves.
Unit: mm, height of the wave that takes up the excess.
Limit: pucker_mm (guess: seen at arm's length, and does not press flat).
Known weakness: it ranks designs and backings; it is no seam grade.
Try: a stronger backing that stays, or lighter stitching; sew the enclosed part first.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding
from analyzer.findings.verdicts import pucker_finding


def look(evidence: Evidence) -> Finding | None:
    """Report pucker inside the design when it is likely enough."""
    return pucker_finding(
        evidence,
        RULE.name,
        inside=True,
        where="inside the design",
        advice="Use a stronger backing that stays, or lighter stitching; sew the enclosed part first.",
    )


RULE = Rule("inner-pucker", "response", "stack", look, __doc__ or "")
