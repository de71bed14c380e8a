"""outline-gap: bare cloth shows between an outline and what it borders.

Meaning: the cloth is drawn in while later stitching is sewn, so an outline no longer lies where its
border is.
Unit: mm, + bare cloth, averaged over about 2 mm along the outline, since a single point is not
known to a tenth. Of a run it is counted from the middle line; its thread covers half its width of it.
Limit: gap_bare_mm, gap_bare_thin_mm, gap_bare_pile_mm (common practice, no source), or the
tolerance of the job. A gap that the file itself leaves is not held against the stack; then only the
movement counts.
Level: fault where the expected gap is over the limit, caution where only its upper range is.
Known weakness: the pull of a stitch has not been measured here; until sew-outs are recorded the
range is wide.
Try: a stronger backing, the outline sewn right after what it borders, or more overlap in the file.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule
from analyzer.findings.types import Finding, GapSide, Level
from analyzer.findings.words import chance_words, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the worst gap, with every outline that is likely enough to miss."""
    worth = evidence.limit("chance_worth_saying")
    missing = [gap for gap in evidence.gaps if gap.bare.chance >= worth]
    if not missing:
        return None
    gap = max(missing, key=lambda gap: (gap.bare.chance, gap.bare.excess))
    worst = gap.bare
    return Finding(
        name=RULE.name,
        level=Level.FAULT if worst.excess > 0 else Level.CAUTION,
        regions=tuple(sorted({gap.outline for gap in missing})),
        at=worst.at,
        measured=worst.worst_mm,
        limit=worst.limit_mm,
        unit="mm",
        chance=worst.chance,
        because=_cause(worst, gap.tolerance_mm),
        advice=(
            "Use a stronger backing, sew the outline right after what it borders, or let the border reach "
            f"{millimetres(max(worst.high_mm - worst.limit_mm, 0.1))} further under the outline."
        ),
    )


def _cause(side: GapSide, tolerance_mm: float) -> str:
    likely = chance_words(side.chance)
    if side.meant_mm > tolerance_mm:
        return (
            f"The file itself leaves {millimetres(side.meant_mm)} here. That later stitching draws the cloth "
            f"away by more than {millimetres(tolerance_mm)} on top of it is {likely}."
        )
    return (
        f"Later stitching draws the cloth in: expect {millimetres(side.worst_mm)} of bare cloth at the worst "
        f"place ({millimetres(side.low_mm)} to {millimetres(side.high_mm)}). "
        f"More than {millimetres(tolerance_mm)} is {likely}."
    )


RULE = Rule("outline-gap", "response", "stack", look, __doc__ or "")
