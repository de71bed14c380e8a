"""outline-overlap: an outline runs over what it borders, further than the file means.

Meaning: the cloth moves so that an outline lands on its border instead of beside it.
Unit: mm, negative: overlap, averaged over about 2 mm along the outline.
Limit: gap_overlap_mm beyond what the file means (guess; stitching on stitching shows less than bare
cloth).
Known weakness: as for outline-gap; push-out is the least certain part of the computation.
Try: a stronger backing, or less compensation in the file.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import chance_words, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the worst overlap, with every outline that is likely enough to run over its border."""
    worth = evidence.limit("chance_worth_saying")
    missing = [gap for gap in evidence.gaps if gap.overlap.chance >= worth]
    if not missing:
        return None
    worst = max((gap.overlap for gap in missing), key=lambda side: (side.chance, side.excess))
    beyond = evidence.limit("gap_overlap_mm")
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=tuple(sorted({gap.outline for gap in missing})),
        at=worst.at,
        measured=worst.worst_mm,
        limit=worst.limit_mm,
        unit="mm",
        chance=worst.chance,
        because=(
            f"The outline is carried over what it borders. More than {millimetres(beyond)} beyond what the "
            f"file means is {chance_words(worst.chance)}."
        ),
        advice="Use a stronger backing, or take compensation out of the border.",
    )


RULE = Rule("outline-overlap", "response", "stack", look, __doc__ or "")
