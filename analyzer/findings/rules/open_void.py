"""open-void: the design has a large open middle.

Meaning: inside a ring or wreath nothing holds the cloth to its backing; there it ripples or drapes
differently.
Unit: mm, radius of the largest circle in it.
Limit: open_void_radius_mm (guess).
Known weakness: how the cloth drapes there is not computed.
Try: leave cutaway in the middle; cutting it out makes the middle drape differently (common
practice, no source).
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, regions_near
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the largest open middle."""
    limit = evidence.limit("open_void_radius_mm")
    wide = [void for void in evidence.cover.voids if void.radius_mm >= limit]
    if not wide:
        return None
    worst = max(wide, key=lambda void: void.radius_mm)
    return Finding(
        name=RULE.name,
        level=Level.NOTE,
        regions=regions_near(evidence, worst.at, worst.radius_mm + evidence.limit("beside_mm")),
        at=worst.at,
        measured=worst.radius_mm,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"The design is open over a circle of {millimetres(2 * worst.radius_mm)} across; "
            "the cloth there is held by its backing alone."
        ),
        advice="Leave a cutaway in the open middle; do not cut it out.",
    )


RULE = Rule("open-void", "file", "job", look, __doc__ or "")
