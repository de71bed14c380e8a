"""perforated-edge: holes stand so close in a row that the cloth may tear along it like a stamp.

Meaning: along a satin's rail, an outline sewn again and again or the seam of two fills, next to no
cloth is left between one hole and the next; pulled there, or in the wash, it tears.
Unit: mm, length of the longest such row.
Limit: perforated_edge_mm (guess), for rows of holes nearer than a third of the needle's blade.
Free-standing lace has no cloth to tear.
Known weakness: a ball point parts the yarns of a knit, where the same row harms less; leather and
film are cut already by wider rows.
Try: open the satin's spacing, let the two edges overlap or part by half a millimetre, a thinner
needle.
"""

from __future__ import annotations

from analyzer.findings.evidence import Evidence, Rule, regions_near
from analyzer.findings.types import Finding, Level
from analyzer.findings.words import count_of, millimetres


def look(evidence: Evidence) -> Finding | None:
    """Report rows of near-touching holes."""
    limit = evidence.limit("perforated_edge_mm")
    rows = [row for row in evidence.cover.needling.perforations if row.length_mm >= limit]
    if not rows or evidence.is_lace:
        return None
    worst = max(rows, key=lambda row: row.length_mm)
    return Finding(
        name=RULE.name,
        level=Level.CAUTION,
        regions=regions_near(evidence, worst.at, evidence.limit("beside_mm")),
        at=worst.at,
        measured=worst.length_mm,
        limit=limit,
        unit="mm",
        chance=None,
        because=(
            f"Along {count_of(len(rows), 'row', 'rows')} the holes nearly touch; the longest runs for "
            f"{millimetres(worst.length_mm)} with {worst.per_mm:.0f} holes on a millimetre."
        ),
        advice="Open the spacing there, or let the edges that meet part or overlap; use a thinner needle.",
    )


RULE = Rule("perforated-edge", "file", "file", look, __doc__ or "")
