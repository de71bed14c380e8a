"""outline-gap: bare cloth shows between an outline and what it borders.

Meaning: the cloth is drawn in while later stitching is sewn, so an outline no longer lies where its
border is.
Unit: mm, + bare cloth, averaged over about 2 mm along the outline, since a single point is not
known to a tenth.
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
from analyzer.findings.types import Finding, Level
from analyzer.findings.verdicts import meant_by_file_mm, pair_tolerance_mm
from analyzer.findings.words import chance_words, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report the worst gap, with every outline that is likely enough to miss."""
    worth = evidence.limit("chance_worth_saying")
    missing = [verdict for verdict in evidence.verdicts if verdict.chance_bare >= worth]
    if not missing or evidence.response is None:
        return None
    worst = max(missing, key=lambda verdict: (verdict.chance_bare, verdict.worst_mm))
    limit = pair_tolerance_mm(evidence, worst.outline, worst.borders)
    draws = next(
        gap for gap in evidence.response.gaps if (gap.outline, gap.borders) == (worst.outline, worst.borders)
    )
    meant = meant_by_file_mm(evidence, draws)
    if meant > limit:
        cause = (
            f"The file itself leaves {millimetres(meant)} here; the cloth is likely to move further than "
            f"{millimetres(limit)} on top of that."
        )
        level = Level.CAUTION
    else:
        cause = (
            f"Later stitching draws the cloth in: expect {millimetres(worst.worst_mm)} of bare cloth at the "
            f"worst place ({millimetres(worst.low_mm)} to {millimetres(worst.high_mm)}). "
            f"More than {millimetres(limit)} is {chance_words(worst.chance_bare)}."
        )
        level = Level.FAULT if worst.worst_mm > limit else Level.CAUTION
    return Finding(
        name=RULE.name,
        level=level,
        regions=tuple(sorted({verdict.outline for verdict in missing})),
        at=worst.at,
        measured=worst.worst_mm,
        limit=limit,
        unit="mm",
        chance=worst.chance_bare,
        because=cause,
        advice=(
            "Use a stronger backing, sew the outline right after what it borders, or let the border reach "
            f"{millimetres(max(worst.high_mm, 0.1))} under the outline."
        ),
    )


RULE = Rule("outline-gap", "response", "stack", look, __doc__ or "")
